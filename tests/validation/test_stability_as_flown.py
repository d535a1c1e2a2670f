"""Static margin, slope and centre of pressure as flown, against forces that other code computes, and against an independent lattice.

Second statement of the forces: tests/support/independent_vehicle.py, in numpy, which shares the tables and no line of the kernel. The downwash itself:
a vortex lattice of a general aircraft-design library (AeroSandbox 4.2.10, 6 by 10 panels on each part, Mach 0, 1 deg, wakes along the free
stream; computed for this purpose; fins in the plane of incidence only, no body of revolution), and our own (tests/support/independent_lattice.py).
"""

from __future__ import annotations

import math

import independent_lattice as lattice
import numpy as np
import pytest
import xarray as xr
from canards import with_canards
from independent_vehicle import Vehicle
from masses import mass_now
from scipy.linalg import eigh
from tunnel import coefficients

from sixdof.core.forces.stability import static_margin
from sixdof.core.leg.drawing import draw_model
from sixdof.core.leg.work import make_work
from sixdof.core.types import Station
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Tube
from sixdof.study.aero.margins import margins_by_hand
from sixdof.study.aero.tables import stability_against_mach
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.loops.linear import linearise
from sixdof.vehicle.aero.table import aero_table, centre_of_pressure
from sixdof.vehicle.describe import balance, describe

LINEAR = 0.01  # calibres: incidence of a thousandth of a radian and less, where vortices have moved by a millimetre
SMALL = 1e-7  # rad: cross-flow and wandering vortices are some 1e-5 of the slope there
AGREE = 1e-4  # calibres, and relative for slopes: twice that
BETWEEN = 2e-3  # calibres between the table's rows, where products of straight lines are not straight (worst near Mach 1)
PLANES = np.radians(np.arange(0.0, 180.0, 0.5))  # the least over half-degrees is above the true one by less than 1e-4 of the spread


def by_hand(model, draw, mach):
    """Return (slope, centre) of the plane with the foremost centre of pressure: forces of the independent vehicle in many planes."""
    vehicle, controls = Vehicle(model, draw), model.computer.mixer.shape[0]
    air = np.array([1.2, 1e5, 100.0 / max(mach, 1e-9), 1.8e-5, 9.8])
    still = np.zeros(3)
    found = []
    for plane in PLANES:
        ahead = np.array([0.0, math.sin(plane), math.cos(plane)])
        u = 100.0 * (np.array([1.0, 0.0, 0.0]) + SMALL * ahead)
        speed = math.sqrt(u @ u)
        force, moment = vehicle.body_loads(u, still, np.zeros(3), speed, mach, air)
        more, turning, _ = vehicle.panel_loads(u, still, np.zeros(3), mach, air, np.zeros(controls), np.ones(controls))
        scale = 0.5 * air[0] * speed**2 * model.aero.area * SMALL
        slope = -(force + more) @ ahead / scale
        # M = r x F with r = (-x, 0, 0): along y cos - z sin it is x times the force along the plane, which is against the cross flow
        across = np.array([0.0, ahead[2], -ahead[1]])
        found.append((-(moment + turning) @ across / scale / slope, slope))
    centre, slope = min(found)
    return slope, centre


CASES = {
    "one set": {"semispan": 0.0},
    "four behind four": {},
    "between the planes": {"clocking": math.pi / 4.0},
    "clocked": {"clocking": 0.3},
    "three ahead of four": {"count": 3, "clocking": 0.2},
    "three ahead of three": {"count": 3, "clocking": 0.2, "tail": {"count": 3}},
    "two ahead of three": {"count": 2, "clocking": math.pi / 2.0, "tail": {"count": 3}},
    "two ahead of four, clocked": {"count": 2, "clocking": 0.5},
    "five ahead of three": {"count": 5, "tail": {"count": 3}},
    "three in a row": {"more": [{"name": "strakes", "station": 0.7, "semispan": 0.03, "count": 3}]},
    "large": {"semispan": 0.11, "root_chord": 0.1},
}


def case(demo, name):
    change = CASES[name]
    return demo if name == "one set" else with_canards(demo, **change)


@pytest.mark.parametrize("name", CASES)
def test_margin__is_that_of_independent_forces(demo_mission, name):
    mission = case(demo_mission, name)
    model = build_model(mission)
    for mach in (0.3, 1.8):
        slope, centre = by_hand(model, kernel_draw(mission), mach)
        state = balance(mission, [0], mach)
        assert state.slope == pytest.approx(slope, rel=2 * AGREE)
        assert state.cp == pytest.approx(centre, abs=AGREE * model.aero.length)
        assert state.margin_loaded == pytest.approx((centre - state.loaded.centre[0]) / model.aero.length, abs=AGREE)


@pytest.mark.parametrize("stages", [[0], [0, 1]])
def test_margin__of_the_stack_and_what_is_left_of_it(stack_mission, stages):
    model = build_model(stack_mission, stages=stages)
    draw = kernel_draw(stack_mission)
    for mach in (0.1, 0.3, 0.6, 1.3):
        _, centre = by_hand(model, draw, mach)
        state = balance(stack_mission, stages, mach)
        for each, margin in ((state.loaded, state.margin_loaded), (state.burnt, state.margin_burnt)):
            assert margin == pytest.approx((centre - each.centre[0]) / model.aero.length, abs=AGREE)


def test_margin__between_the_rows_of_the_table(stack_mission):
    model = build_model(stack_mission)
    for mach in (0.31, 0.953, 1.117):
        centre = by_hand(model, kernel_draw(stack_mission), mach)[1]
        assert float(centre_of_pressure(model.aero, mach)[1]) == pytest.approx(centre, abs=BETWEEN * model.aero.length)


@pytest.mark.parametrize("name", ["four behind four", "three in a row"])
@pytest.mark.parametrize("normal", [0.7, 1.4])
def test_margin__drawn_normal_force_and_centre_of_pressure(demo_mission, name, normal):
    """A factor on the normal force acts on the vortices too: downwash goes with its square, and behind two sets with its cube."""
    mission = case(demo_mission, name)
    model = build_model(mission)
    draw = kernel_draw(mission)._replace(normal_force=normal, cp=0.013)
    work = make_work(model)
    drawn = draw_model(model, draw, work)
    _, centre = by_hand(model, draw, 0.3)  # the draw's shift is in its forces
    assert static_margin(drawn, 0.3, Station(0.8, 0.0, 0.0)) == pytest.approx((centre - 0.8) / model.aero.length, abs=AGREE)


@pytest.mark.parametrize("span", [0.05, 0.08, 0.11, 0.125])
def test_margin__is_moment_over_force_in_the_tunnel(demo_mission, span):
    """C_m/C_Z at small incidence, over roll angles: what a flight feels. Canards large enough make it unstable, and the page says so."""
    mission = with_canards(demo_mission, semispan=span, root_chord=0.1, tip_chord=0.06)
    flow = [wind_tunnel(mission, mach=0.3, incidence=math.radians(0.001), roll=roll) for roll in np.radians([0.0, 30.0, 45.0])]
    felt = [
        float((f.C_m * math.cos(a) - f.C_n * math.sin(a)) / (f.C_Z * math.cos(a) + f.C_Y * math.sin(a))) for f, a in zip(flow, np.radians([0.0, 30.0, 45.0]))
    ]
    state = balance(mission, [0])
    assert state.margin_loaded == pytest.approx(min(felt), abs=2e-3)  # at 0.001 deg the vortices have moved by some 1e-5 m
    table = stability_against_mach(mission, mach=[0.3])
    assert float(table["margin"].sel(state="loaded").squeeze()) == pytest.approx(state.margin_loaded, abs=1e-9)
    if span > 0.1:
        assert state.margin_loaded < 0.0 and "unstable" in describe(mission)


def test_order_of_the_file__makes_no_difference(demo_mission):
    """The air meets the canards first wherever they stand in the file: not one number of the tunnel changes, whatever was asked before it."""
    first, last = (with_canards(demo_mission, first=order) for order in (True, False))
    grid = xr.DataArray(np.radians([3.0, 0.5, 8.0]), dims="incidence")
    one, other = (wind_tunnel(m, mach=0.4, incidence=grid, roll=0.3, fin_angle=0.02, cg=0.8) for m in (first, last))
    alone = wind_tunnel(last, mach=0.4, incidence=grid[1], roll=0.3, fin_angle=0.02, cg=0.8)
    for name in ("C_Y", "C_Z", "C_l", "C_m", "C_n"):
        np.testing.assert_allclose(other[name], one[name], rtol=1e-12)
        assert float(alone[name]) == pytest.approx(float(other[name][1]), rel=1e-12)


# ---------------------------------------------------------------- independent lattices

SHARE_LOST = {(0.060, 0.030, 0.015, 0.050): 0.170, (0.100, 0.060, 0.020, 0.080): 0.329, (0.100, 0.060, 0.020, 0.110): 0.421}
LATTICE = 0.15  # of the share: a rolled-up vortex with its image against a flat sheet without a body


def _vehicle(*fins):
    body = Nose(mass=0.1, length=0.4, diameter=0.1), Tube(mass=0.1, length=1.5, diameter=0.1)
    return aero_table(Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=(*body, *fins)),)), [0])


def _pair(shape):
    root, tip, sweep, span = shape
    tail = Fins(mass=0.1, count=4, station=1.68, root_chord=0.2, tip_chord=0.1, semispan=0.12, tip_offset=0.06, thickness=0.003)
    return tail, Fins(mass=0.1, count=4, station=0.5, root_chord=root, tip_chord=tip, semispan=span, tip_offset=sweep, thickness=0.003)


@pytest.mark.parametrize(("shape", "lost"), SHARE_LOST.items())
def test_downwash__against_the_library_lattice(shape, lost):
    """Share of the tail's force lost = (tail alone + forward set alone - both)/tail alone, without the body's own, at 1 deg."""
    tail, ahead = _pair(shape)
    body, of_tail, of_ahead, both = (-coefficients(_vehicle(*fins), 0.1, math.radians(1.0))[2] for fins in ((), (tail,), (ahead,), (ahead, tail)))
    assert (of_tail + of_ahead - body - both) / (of_tail - body) == pytest.approx(lost, rel=LATTICE)


@pytest.mark.parametrize("shape", SHARE_LOST)
def test_downwash__of_the_slopes_against_our_lattice(shape):
    """The same share in the limit of no incidence, wakes straight aft and the body between: tests/support/independent_lattice.py."""
    tail, ahead = _pair(shape)
    body, of_tail, of_ahead, both = (float(centre_of_pressure(_vehicle(*fins), 0.0)[0]) for fins in ((), (tail,), (ahead,), (ahead, tail)))
    found = (of_tail + of_ahead - body - both) / (of_tail - body)
    sets = [
        lattice.Fins(part.station, part.root_chord, part.tip_chord, part.semispan, part.tip_offset, 0.05, rows=12, edges=edges)
        for part, edges in zip((ahead, tail), _edges(ahead.semispan, tail.semispan))
    ]
    wind = [-np.sin(f.angle)[:, None] * (1.0 + (f.r / f.control[1]) ** 2)[None, :] for f in sets]  # incidence with the body's upwash

    def lift(fins, circulation):
        return float(lattice.force(fins, circulation) @ np.sin(fins.angle))

    alone, (_, behind) = lattice.solve(sets[1:], wind[1:])[0], lattice.solve(sets, wind)
    assert found == pytest.approx(1.0 - lift(sets[1], behind) / lift(sets[1], alone), rel=LATTICE)


def _edges(front, back):
    """Return the edges of the strips of both sets, equal where both have them: wakes of the one pass between points of the other."""
    step = front / 12
    return 0.05 + step * np.arange(13), 0.05 + np.append(step * np.arange(int(back / step + 0.5)), back)


# ---------------------------------------------------------------- flights and linear models


def test_flight__margin_at_every_tick_and_its_least(stack_flight, stack_mission):
    """The stack before it parts, its front stage after: cp of independent forces at the flight's own Mach, cg of its own log."""
    ds, length = stack_flight, build_model(stack_mission).aero.length
    parted = float(ds["separation_time"][0])
    for stages, t in (([0, 1], 0.6), ([0, 1], parted - 0.2), ([0], parted + 1.5), ([0], 8.0)):
        row = ds.sel(time=t, method="nearest")
        model = build_model(stack_mission, stages=stages)
        _, centre = by_hand(model, kernel_draw(stack_mission), float(row["mach"]))
        assert float(row["static_margin"]) == pytest.approx((centre - float(row["cg"])) / model.aero.length, abs=BETWEEN)
    climb = ds.sel(time=slice(0.0, float(ds["apogee_time"])))
    fast = climb["static_margin"].values[(climb["airspeed"].values > 20.0) & (climb["phase"].values == 3)]
    assert length > 0.0 and float(ds["static_margin_min"]) == pytest.approx(fast.min(), abs=0.01)  # every tick against the log's rows


@pytest.mark.filterwarnings("ignore:linearise")  # fins in line stand at a kink of the wakes' table; its slope enters with the incidence only
@pytest.mark.parametrize("name", ["one set", "four behind four", "clocked", "two ahead of three"])
def test_linear_models__moment_over_force_is_the_margin(demo_mission, name):
    """M_w I/(Z_w m d) of the linear models, in calm air straight up with fins still: the margin in the least stable plane."""
    mission = case(demo_mission, name).change({"air.wind.speed": 0.0, "rail.elevation": "90 deg", "rule": []})
    models, model = linearise(mission, at=[0.9, 2.5]), build_model(mission)
    for k in range(2):
        point = models.isel(point=k)
        assert float(point["incidence"]) < 2e-3
        mass, _, _, _, _, yy, zz, *_ = mass_now(model, kernel_draw(mission), float(point["time"]), 0.0)
        cross = point["state_matrix"].sel(state=["v", "w"])
        force = -mass * cross.sel(rate_of=["v", "w"]).values
        pitch, yaw = cross.sel(rate_of="q").values / yy, cross.sel(rate_of="r").values / zz  # moments per v and w
        arm = np.array([[yaw[0], 0.5 * (yaw[1] - pitch[0])], [0.0, -pitch[1]]])
        least = eigh(arm, 0.5 * (force + force.T), lower=False, eigvals_only=True)[0]
        assert float(point["static_margin"]) == pytest.approx(least / model.aero.length, abs=LINEAR)


def test_by_hand__what_carry_over_gives():
    """Three fins on a tube, by a hand calculation after Barrowman (1967) in plain numbers: 1 + x against (1 + x)^2."""
    d, s, root, tip, sweep, at = 0.06, 0.06, 0.12, 0.06, 0.06, 0.88
    fins = Fins(mass=0.1, count=3, station=at, root_chord=root, tip_chord=tip, semispan=s, tip_offset=sweep, thickness=0.003)
    parts = Nose(mass=0.2, length=0.25, diameter=d, shape="tangent-ogive"), Tube(mass=0.3, length=0.75, diameter=d), fins
    mission = Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=parts, measured=None),))
    found = margins_by_hand(mission, [0], 0.0)
    middle = math.hypot(s, sweep + 0.5 * tip - 0.5 * root)
    panels = 4.0 * 3 * (s / d) ** 2 / (1.0 + math.sqrt(1.0 + (2.0 * middle / (root + tip)) ** 2))
    centre = at + sweep / 3.0 * (root + 2.0 * tip) / (root + tip) + (root + tip - root * tip / (root + tip)) / 6.0
    x = 0.5 * d / (0.5 * d + s)
    nose = float(centre_of_pressure(aero_table(mission.model_copy(update={"stage": (mission.stage[0].model_copy(update={"part": parts[:2]}),)}), [0]), 0.0)[1])

    def cp(carry):
        return (2.0 * nose + panels * carry * centre) / (2.0 + panels * carry)

    assert found.without_downwash - found.by_hand == pytest.approx((cp((1.0 + x) ** 2) - cp(1.0 + x)) / d, rel=1e-3)
    assert found.flown == pytest.approx(found.without_downwash, abs=1e-6)
