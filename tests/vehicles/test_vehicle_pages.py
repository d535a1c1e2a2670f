"""Pages about vehicles nobody tuned: what they say agrees with the flights and with the tunnel; what cannot be is refused in one sentence."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from strangers import FILES

import sixdof
from sixdof.study.aero import authority
from sixdof.study.aero.report import aero_report
from sixdof.study.aero.tables import drag_against_mach, stability_against_mach
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.reading.control_metrics import control_report
from sixdof.vehicle.describe import describe

EVERY = pytest.mark.parametrize("name", FILES)
SMALL = math.radians(0.02)


@EVERY
def test_check__names_every_part_and_stage(missions, name):
    mission, text = missions[name], describe(missions[name])
    for stage in mission.stage:
        assert f'stage "{stage.name}"' in text
    assert text.startswith("Invented: ") and "nan" not in text and "REVERSED" not in text
    whole = [line for line in text.splitlines() if "mass" in line and "cg" in line and "loaded" in line]
    assert len(whole) == len(mission.stage)


@EVERY
def test_aero__page_of_every_configuration(missions, name):
    mission, text = missions[name], aero_report(missions[name])
    names = [stage.name for stage in mission.stage]
    for count in range(1, len(names) + 1):
        assert f"{' + '.join(names[:count])}: axial force" in text
    assert "nan" not in text
    assert ("trimmed by a steady pitch demand" in text) == (name == "canard")


@EVERY
def test_summary__of_one_and_of_many(flights, ensembles, name):
    for ds in (flights[name], ensembles[name]):
        text = sixdof.report(ds)
        assert "Landing place" in text and " S, 136." in text and "nan" not in text
        assert ("no live fins in this result" in text) == (name != "canard")
    bearing = math.degrees(math.atan2(float(flights[name].landing_east), float(flights[name].landing_north))) % 360.0
    assert f"bearing {bearing:.0f} deg true" in sixdof.report(flights[name])


@EVERY
def test_control__report(flights, name):
    assert ("the fins were never live" in control_report(flights[name])) == (name != "canard")


# ---------------------------------------------------------------- the tunnel


def stages_of(mission):
    return [list(range(count)) for count in range(1, len(mission.stage) + 1)]


@pytest.mark.parametrize("name", ["slender", "canard"])
def test_tunnel__three_fins_or_four_are_round_at_small_incidence(missions, name):
    """Force and moment turn with the flow, and nothing rolls: sum over a ring of n >= 3 of cos^2 is n/2 from any side."""
    roll = xr.DataArray(np.radians([0.0, 17.0, 45.0, 90.0, 131.0]), dims="roll")
    ds = wind_tunnel(missions[name], mach=0.4, incidence=SMALL, roll=roll)
    force, moment = np.hypot(ds.C_Y, ds.C_Z), np.hypot(ds.C_m, ds.C_n)
    np.testing.assert_allclose(force, force[0], rtol=1e-4)
    np.testing.assert_allclose(moment, moment[0], rtol=1e-4)
    assert np.abs(ds.C_l).max() < 1e-4 * float(force[0])
    assert float(ds.C_m[0] / ds.C_Z[0]) > 1.5  # stable, in calibres, canards' vortices on the tail included


def test_tunnel__odd_fins_in_a_plane_of_their_own_do_not_roll(missions):
    """Every configuration of the stack is its own mirror image in the x-z plane: flow in it makes neither roll, nor yaw, nor side force."""
    for stages in stages_of(missions["stack"]):
        ds = wind_tunnel(missions["stack"], stages=stages, mach=0.5, incidence=xr.DataArray(np.radians([0.5, 1.0, 4.0]), dims="a"))
        for key in ("C_Y", "C_l", "C_n"):
            assert np.abs(ds[key]).max() < 1e-9, (stages, key)
        assert (ds.C_m / ds.C_Z > 1.5).all()


def test_tunnel__opposite_flow_sees_odd_fins_from_the_other_side(missions):
    """At small incidence the force is odd in it even where the fins are not opposite each other."""
    for stages in stages_of(missions["stack"]):
        sides = xr.DataArray([0.0, math.pi], dims="side")
        ds = wind_tunnel(missions["stack"], stages=stages, mach=0.5, incidence=SMALL, roll=sides)
        assert float(ds.C_Z[0]) == pytest.approx(-float(ds.C_Z[1]), rel=5e-3)  # vortices wander with the square of it
        assert float(ds.C_m[0]) == pytest.approx(-float(ds.C_m[1]), rel=5e-3)  # vortices wander with the square of it


@EVERY
def test_tables__against_mach(missions, name):
    for stages in stages_of(missions[name]):
        drag, stability = drag_against_mach(missions[name], stages), stability_against_mach(missions[name], stages)
        assert np.isfinite(drag.axial).all() and (drag.axial > 0.0).all()
        assert np.isfinite(stability.slope).all() and (stability.slope > 0.0).all() and (stability.pitch_damping < 0.0).all()


# ---------------------------------------------------------------- what the controls do


def test_authority__of_canards(missions):
    mission = missions["canard"]
    ds = authority.moment_slopes(mission)
    calm = ds.sel(incidence=0.0)
    assert (calm.pitch_moment > 0.0).all() and (calm.roll_moment > 0.0).all()
    share = authority.survival(mission).sel(incidence=0.0)
    assert (share.roll_moment > 0.1).all() and (share.pitch_moment > 1.0).all()  # the tail answers the canards' wake nose up as well
    found = authority.trim(mission)
    assert (found.incidence.isel(demand=2) > 0.0).all()
    assert np.isfinite(authority.hinge_moments(mission)).all()


@pytest.mark.parametrize("name", ["slender", "stack"])
@pytest.mark.parametrize("function", [authority.moment_slopes, authority.trim, authority.hinge_moments, authority.roll_coupling])
def test_authority__without_controls_is_refused(missions, name, function):
    with pytest.raises(ValueError, match="the vehicle has no control fins"):
        function(missions[name])
