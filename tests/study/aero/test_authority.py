"""What the control fins can do: slopes, trim, coupling, hinge moments, and what survives a booster behind them."""

from __future__ import annotations

import numpy as np
import pytest
from stream import DENSITY, SPEED, panels
from two_stages import on_booster

from sixdof.core.columns import SeenColumn
from sixdof.study.aero import authority as au
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.vehicle.derivatives import derivatives
from sixdof.vehicle.geometry import shape_of

BALANCE = 0.02  # of the moment of 1 deg of demand: straight lines between incidences a degree apart
SLOPE = 2e-3  # relative: 1 deg is small, not zero
PRESSURE = 0.5 * DENSITY * SPEED**2


@pytest.fixture(scope="module")
def stack(demo_mission):
    return on_booster(demo_mission)


@pytest.fixture(scope="module")
def plus(demo_mission):
    """The demo with its fins in the planes of pitch and yaw: fin 2 to port (-y), fin 4 to starboard."""
    return demo_mission.change({"stage.0.part.tail.clocking": 0.0})


# ---------------------------------------------------------------- slopes


def test_slopes__roll_is_the_table_of_derivatives(demo_mission):
    ds = au.moment_slopes(demo_mission, mach=[0.3, 2.0], incidence=[0.0])
    from sixdof.flight.model import build_model

    forcing = derivatives(build_model(demo_mission).aero, [0.3, 2.0], 0.0).fin_roll_forcing[0]
    assert ds.roll_moment.values[:, 0] == pytest.approx(np.radians(forcing), rel=SLOPE)


def test_slopes__demand_turns_the_vehicle_its_own_way(demo_mission):
    ds = au.moment_slopes(demo_mission, mach=[0.3, 0.9, 1.5])
    for channel in au.CHANNELS:
        assert (ds[f"{channel}_moment"].sel(incidence=slice(0.0, 0.2)) > 0.0).all()
    level = ds.sel(incidence=0.0)
    np.testing.assert_allclose(level.pitch_moment, level.yaw_moment, rtol=1e-9)  # a cruciform does not know which is which


def test_slopes__stall_takes_authority(demo_mission):
    ds = au.moment_slopes(demo_mission, mach=[0.3], incidence=np.radians([0.0, 35.0]))
    pitch = ds.pitch_moment.values[0]
    assert abs(pitch[1]) < 0.7 * pitch[0]


def test_slopes__no_control_fins_is_one_sentence(demo_mission):
    fixed = demo_mission.change({"stage.0.part.tail.control": False})
    for function in (au.moment_slopes, au.trim, au.roll_coupling, au.hinge_moments, au.survival):
        with pytest.raises(ValueError, match="no control fins; set control = true"):
            function(fixed)


# ---------------------------------------------------------------- trim


def test_trim__the_pitching_moment_is_zero_there(demo_mission):
    demand = np.radians([1.0, 2.0, 3.0])
    ds = au.trim(demo_mission, mach=[0.3, 0.7], demand=demand)
    from sixdof.flight.model import build_model

    model = build_model(demo_mission)
    for mach in (0.3, 0.7):
        for angle in demand:
            found = ds.incidence.sel(mach=mach, demand=angle)
            flow = wind_tunnel(demo_mission, mach=mach, incidence=float(found), fin_angle=au.demand_angles(model, "pitch", angle), model=model)
            one = wind_tunnel(demo_mission, mach=mach, fin_angle=au.demand_angles(model, "pitch", np.radians(1.0)), model=model)
            assert abs(float(flow.C_m)) < BALANCE * float(one.C_m)
            assert float(flow.C_Z) < 0.0 < float(ds.load_factor.sel(mach=mach, demand=angle))


def test_trim__no_demand_no_incidence_and_nothing_where_it_is_unstable(demo_mission):
    ds = au.trim(demo_mission, mach=[0.3, 3.0], demand=[0.0])
    assert float(ds.incidence[0, 0]) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(float(ds.incidence[1, 0]))  # the centre of pressure has moved ahead of the centre of mass


def test_trim__small_demand_is_the_ratio_of_slopes(demo_mission):
    small = np.radians(0.2)
    ds = au.trim(demo_mission, mach=[0.3], demand=[small])
    up, level = (wind_tunnel(demo_mission, mach=0.3, incidence=np.radians(a)).C_m for a in (1.0, 0.0))
    stiffness = float(level - up)  # per degree, and straight over the first degree as `trim` sees it
    per_degree = float(au.moment_slopes(demo_mission, mach=[0.3], incidence=[0.0]).pitch_moment.squeeze())
    assert float(np.degrees(ds.incidence.squeeze())) == pytest.approx(0.2 * per_degree / stiffness, rel=0.01)


# ---------------------------------------------------------------- coupling


def test_coupling__cruciform_has_none_without_a_set_behind_and_three_fins_have(demo_mission):
    four = au.roll_coupling(demo_mission, demand=np.radians(6.0))
    assert np.abs(four.rolling_moment).max() < 1e-9
    assert (four.roll_authority.sel(incidence=0.0) > 0.0).all()
    three = au.roll_coupling(demo_mission.change({"stage.0.part.tail.count": 3}), demand=np.radians(6.0))
    assert np.abs(three.rolling_moment).max() > 1e-3


# ---------------------------------------------------------------- hinge moments


def test_hinge__sign_and_line(plus):
    """Load ahead of the hinge drives the angle up (destabilises), behind it back; zero with the hinge at the load."""
    moments, loads = [], []
    fin = shape_of(plus.stage).fins[0]
    quarter = fin.x_mac_le + 0.25 * fin.mac
    for hinge in (quarter - 0.01, quarter, quarter + 0.01):
        _, seen, _ = panels(plus.change({"stage.0.part.tail.hinge": hinge}), angles=[0.0, 0.05, 0.0, 0.0])
        moments.append(seen[1, SeenColumn.HINGE])
        loads.append(seen[1, SeenColumn.LOAD])
    assert loads[0] > 0.0
    assert moments[0] == pytest.approx(-0.01 * loads[0], rel=1e-6)
    assert moments[1] == pytest.approx(0.0, abs=1e-7 * loads[0])
    assert moments[2] == pytest.approx(0.01 * loads[0], rel=1e-6)


def test_hinge__a_stalled_panel_carries_its_load_at_its_area_centroid(plus):
    fin = shape_of(plus.stage).fins[0]
    chords = FRONT_ROOT, FRONT_TIP = 0.080, 0.045  # of the demo; sweep 25 mm
    share = (FRONT_ROOT + 2.0 * FRONT_TIP) / (3.0 * sum(chords))  # of the span, where the mean chord's centroid lies
    across = (FRONT_ROOT**2 + FRONT_ROOT * FRONT_TIP + FRONT_TIP**2) / (3.0 * sum(chords))
    centroid = fin.x0 + across + 0.025 * share  # trapezoid with the leading edge swept back by 25 mm
    _, seen, _ = panels(plus, incidence=np.radians(60.0))
    assert seen[1, SeenColumn.STALL] == 1.0 and seen[1, SeenColumn.X] == pytest.approx(centroid, rel=1e-9)
    _, seen, _ = panels(plus, incidence=np.radians(2.0))
    assert seen[1, SeenColumn.STALL] == 0.0 and seen[1, SeenColumn.X] == pytest.approx(fin.x0 + fin.x_mac_le + 0.25 * fin.mac, rel=1e-9)


def test_hinge__tunnel_reports_the_kernels_and_grows_with_pressure(plus):
    slow, fast = (au.hinge_moments(plus, mach=[m], incidence=[0.05], deflection=[0.05]) for m in (0.1, 0.2))
    assert float(fast.squeeze()) == pytest.approx(4.0 * float(slow.squeeze()), rel=0.01)  # compressibility does the rest
    thin = au.hinge_moments(plus, mach=[0.2], incidence=[0.05], deflection=[0.05], altitude=5000.0)
    # 54 020/101 325 Pa at 5000 m (U.S. Standard Atmosphere 1976); the Mach number is the same
    assert float(thin.squeeze() / fast.squeeze()) == pytest.approx(54020.0 / 101325.0, rel=1e-3)
    flow = wind_tunnel(plus, mach=0.2, fin_angle=0.05)
    assert flow.hinge_moment.dims == ("fin",) and (np.abs(flow.hinge_moment - flow.hinge_moment[0]) < 1e-12).all()


# ---------------------------------------------------------------- the stack


def test_survival__untouched_where_no_vortex_is_shed(stack, demo_mission):
    with pytest.raises(ValueError, match="nothing is shed onto anything"):
        au.survival(demo_mission)
    ds = au.survival(stack)
    assert set(ds.data_vars) == {"roll_moment", "pitch_moment", "yaw_moment"} and ds.roll_moment.dims == ("incidence", "demand")
    assert float(np.degrees(ds.demand.max())) == pytest.approx(12.0)  # the servo's travel


def test_survival__pitch_is_reversed_when_the_fins_stand_near_the_stacks_centre_of_mass(stack):
    """The load they induce far aft has the longer arm: the authority itself has changed its sign."""
    alone, both = (au.moment_slopes(stack, stages=s, mach=[0.3], incidence=[0.0]) for s in ([0], [0, 1]))
    assert float(alone.pitch_moment.squeeze()) > 0.0 > float(both.pitch_moment.squeeze())
    assert float(au.survival(stack, incidence=[0.0]).pitch_moment.max()) < 0.0


def test_survival__mach_axis(stack):
    ds = au.survival(stack, mach=[0.3, 1.5], incidence=[0.0, 0.1])
    assert ds.roll_moment.sizes["mach"] == 2 and np.isfinite(ds.roll_moment).all()


@pytest.mark.parametrize("share, word", [(-0.1, "REVERSED"), (0.1, "lost"), (0.5, "weakened"), (0.9, "kept")])
def test_word__reversal_is_called_reversal(share, word):
    assert au.survival_word(share).startswith(word)
