"""The static margin as flown: held against the tables over Mach, hand-made quantiles of flights flown again, and lengths from the mission file."""

from __future__ import annotations

import numpy as np
import pytest
from strangers import stranger

import sixdof

FLIGHTS, SEED = 6, 3


@pytest.fixture(scope="module")
def found(stack_mission):
    return sixdof.preflight.stability(stack_mission, FLIGHTS, seed=SEED)


def test_stability__at_events_is_the_flight_s_own(found, stack_flight):
    for name in ("rail_departure", "burnout", "separation drayhorse", "ignition whinchat"):
        own = float(stack_flight.event_static_margin.isel(body=0).sel(event=name))
        assert float(found.margin_at.sel(event=name)) == own
    assert list(np.diff(found.time_at)) == sorted(np.diff(found.time_at), key=lambda step: step < 0.0) and (np.diff(found.time_at) > 0.0).all()


def test_stability__share_of_the_length_by_the_file(found):
    """98 mm over 1.30 m + 0.62 m with the booster; 75 mm over 1.30 m alone."""
    stack, alone = found.sel(event="rail_departure"), found.sel(event="ignition whinchat")
    assert float(stack.margin_share_at) == pytest.approx(float(stack.margin_at) * 0.098 / 1.92)
    assert float(alone.margin_share_at) == pytest.approx(float(alone.margin_at) * 0.075 / 1.30)
    late = found.isel(time=-1)
    assert float(late.margin_share) == pytest.approx(float(late.margin) * 0.075 / 1.30)


def test_stability__bands_are_quantiles_of_the_flights(found, stack_mission):
    flown = [sixdof.fly(stack_mission, flight=number, seed=SEED) for number in range(FLIGHTS)]
    own = [float(one.event_static_margin.isel(body=0).sel(event="burnout")) for one in flown]
    np.testing.assert_allclose(found.band_at.sel(event="burnout"), np.quantile(own, [0.05, 0.5, 0.95]))
    time = float(found.time[20])
    at = [float(one.static_margin.interp(time=time)) for one in flown]
    np.testing.assert_allclose(found.margin_band.isel(time=20), np.quantile(at, [0.05, 0.5, 0.95]), rtol=1e-9)


def test_stability__small_incidence_is_the_table_s_margin(stack_mission):
    """Two ways to the same number: moments over forces in the tunnel, and centres of pressure and mass of the tables over Mach."""
    ds = sixdof.preflight.stability(stack_mission, 1, mach=0.3, incidence=[1e-4, 0.1])
    table = sixdof.aero.stability_against_mach(stack_mission, mach=[0.3])
    for state in ("loaded", "burnt"):
        own = float(ds.margin_over_incidence.sel(configuration="whinchat + drayhorse", state=state).isel(incidence=0))
        centres = float(table.centre_of_pressure[0] - table.centre_of_mass.sel(state=state)) / 0.098
        assert own == pytest.approx(centres, abs=2e-3)  # cross-flow lift at 1e-4 rad is a thousandth of the slope's


def test_stability__the_margin_over_mach_is_that_over_time(found):
    """Burning with the booster the Mach number rises all the way: each margin over time lies on the curve over Mach."""
    part = found.sel(time=slice(0.3, 1.0))
    own = found.margin_over_mach.sel(configuration="whinchat + drayhorse", motor="burning")
    np.testing.assert_allclose(np.interp(part.mach_number, own.mach, own), part.margin, atol=0.01)  # straight lines between 60 points


def test_stability__page_says_where_it_is_thin(found):
    page = " ".join(str(sixdof.report(found)).split())
    assert "Static margin as flown" in page and "ignition whinchat" in page and "whinchat, loaded: the margin falls below 1 calibre at" in page
    assert "beyond 15 deg of incidence it is an estimate" in page and "not a clearance to fly" in page


def test_stability__page_of_a_vehicle_that_is_not_stable_says_so_of_it_as_written():
    bad = stranger("slender").change({"stage.0.part.fins.semispan": "9 mm"})
    page = " ".join(str(sixdof.report(sixdof.preflight.stability(bad, 2))).split())
    assert "NOT STABLE: at" in page and "calibres as written" in page and "do not let a gust" not in page


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"flights": 0}, "flights = 0 must be a whole number from 1 on"),
        ({"incidence": [0.0, 0.1]}, "incidence must lie above 0 and below 90 deg"),
        ({"seed": -1}, "seed"),
    ],
)
def test_stability__says_what_is_wrong(demo_mission, options, message):
    with pytest.raises(ValueError, match=message):
        sixdof.preflight.stability(demo_mission, **({"flights": 1} | options))


def test_stability__share_of_the_length_has_the_spread_of_the_margin(found):
    """Stack 1.92 m of 98 mm, sustainer 1.30 m of 75 mm: at one event all drawn flights fly the same configuration, so its band is the margin's, scaled."""
    for event, share in (("rail_departure", 0.098 / 1.92), ("separation drayhorse", 0.098 / 1.92), ("burnout whinchat", 0.075 / 1.30)):
        here = found.sel(event=event)
        assert here.share_band_at.values == pytest.approx(here.band_at.values * share, rel=1e-12)
    late = found.isel(time=-1)
    assert late.margin_share_band.values == pytest.approx(late.margin_band.values * 0.075 / 1.30, rel=1e-12, nan_ok=True)
    assert found.calibres_long.values == pytest.approx([1.92 / 0.098, 1.30 / 0.075, (1.92 - 1.30) / 0.098])
