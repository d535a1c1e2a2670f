"""From release to a full canopy: the body flies on until line stretch, then the load at finite mass after Knacke (1992)."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
import staged
from falls import G0, NOSE_DOWN, RHO, fall
from scipy.integrate import solve_ivp

import sixdof
from sixdof.core import layout as ly
from sixdof.core.columns import Handover
from sixdof.core.constants import CANOPY, FREE
from sixdof.core.layout import Ending, Event, Log, Outcome
from sixdof.results.names import event_names

# the drogue of the two-stage demo: 0.75 on a disc of 32 cm, filling in 0.3 s, 0.4 s to line stretch, Cx 1.7
AREA, FILL, WAIT, CX = 0.75 * math.pi * 0.32**2 / 4.0, 0.3, 0.4, 1.7
SPEEDS = (20.0, 50.0, 104.0, 135.0, 150.0)  # m/s
FLAT_OUT = 0.4 * models.aero().area  # m^2, drag area of the falling body along its axis
SAMPLED = 2e-3  # the load is looked at after every step, a tenth of the slowing-down time apart: near its peak it is level


def dive(mass, speed, *, wait=WAIT, fill=FILL, hanging=0.09, gravity=G0, time_limit=2.0):
    """A body in a dive, nose first, its drogue released at t = 0."""
    return fall(
        [models.canopy(AREA, fill, wait=wait, factor=CX)],
        mass=mass,
        height=1000.0,
        speed=speed,
        hanging=hanging,
        phase=FREE,
        attitude=NOSE_DOWN,
        world=models.world(gravity=gravity),
        aero=models.aero(ca=0.4),
        time_limit=time_limit,
    )


def opening_by_scipy(mass, speed, *, wait=WAIT, fill=FILL, hanging=0.09, gravity=G0):
    """Return (speed at line stretch, largest load) of a vertical dive: m v' = m g - rho v^2 A(t)/2, stated again."""

    def slow(area):
        return lambda t, y: [gravity - RHO * y[0] * abs(y[0]) * area(t) / (2.0 * mass)]

    options = {"rtol": 1e-10, "atol": 1e-12, "dense_output": True}
    v = solve_ivp(slow(lambda t: FLAT_OUT), (0.0, wait), [speed], **options).y[0, -1] if wait else speed
    filling = solve_ivp(slow(lambda t: FLAT_OUT + (AREA + hanging - FLAT_OUT) * (t / fill) ** 2), (0.0, fill), [v], **options)
    t = np.linspace(0.0, fill, 20001)
    return v, float((CX * 0.5 * RHO * filling.sol(t)[0] ** 2 * AREA * (t / fill) ** 2).max())


@pytest.mark.parametrize("speed", SPEEDS)
def test_opening_load__infinite_mass(speed):
    """Knacke (1992): F = CdS q Cx X1, X1 = 1. Ten thousand tonnes reach line stretch at the speed of release."""
    fell = dive(1e7, speed, gravity=0.0)
    assert fell.pull[0] == pytest.approx(CX * 0.5 * RHO * speed**2 * AREA, rel=1e-5)


def test_opening_load__infinite_mass_by_numbers():
    """Worked out by hand at 0.925 kg/m^3: 512.95 N at 104 m/s; the catalogue's Cx of a flat circular canopy."""
    fell = fall([models.canopy(AREA, FILL, factor=CX)], mass=1e7, speed=104.0, world=models.world(gravity=0.0, density=0.925), time_limit=1.0)
    assert fell.pull[0] == pytest.approx(512.95, rel=1e-4)


@pytest.mark.parametrize("mass", [2.0, 8.0])
@pytest.mark.parametrize("speed", SPEEDS)
def test_opening_load__finite_mass(speed, mass):
    """A dive, then a filling canopy: the largest load by an integration of its own; weight aside it is below that of infinite mass."""
    fell = dive(mass, speed)
    v, load = opening_by_scipy(mass, speed)
    stretched = fell.events[len(ly.EVENTS) + 1]
    assert stretched[ly.EVENT_COLUMNS.index("airspeed")] == pytest.approx(v, rel=1e-6)
    assert fell.summary[Outcome.OPENING_AIRSPEED] == pytest.approx(v, rel=1e-6)
    assert fell.pull[0] == pytest.approx(load, rel=SAMPLED) and fell.pull[0] <= load * (1.0 + 1e-6)
    assert speed < 50.0 or fell.pull[0] < CX * 0.5 * RHO * v**2 * AREA


@pytest.mark.parametrize("mass", [0.5, 2.0, 30.0])
@pytest.mark.parametrize("speed", SPEEDS)
def test_opening_load__reduction_is_a_function_of_the_ballistic_parameter(speed, mass):
    """X1 over Knacke's A = 2 W/(CdS rho g v t_f), weight aside: with x = (t/t_f)^3/(3 A), v = v0/(1 + x), the load peaks at x = 1/2.

    X1 = (3 A/2)^(2/3) (2/3)^2 if that comes before the canopy is full, else 1/(1 + 1/(3 A))^2. A is unity at 41 m/s for 0.3 s and 0.5 kg.
    """
    a = 2.0 * mass / (AREA * RHO * speed * FILL)
    x1 = (1.5 * a) ** (2.0 / 3.0) / 2.25 if 1.5 * a < 1.0 else (1.0 + 1.0 / (3.0 * a)) ** -2
    fell = fall([models.canopy(AREA, FILL, factor=CX)], mass=mass, speed=speed, height=500.0, world=models.world(gravity=0.0), time_limit=1.0)
    assert fell.pull[0] == pytest.approx(x1 * CX * 0.5 * RHO * speed**2 * AREA, rel=SAMPLED)


def test_ballistic_parameter__of_the_reference():
    """reference/parachutes_flutter_safety.md (computed): 5 kg, 1.5 m, CD 0.75, 25 m/s, n = 8 (0.48 s): A = 0.5132737, X1 = 0.3733."""
    area, fill = 0.75 * math.pi * 1.5**2 / 4.0, 0.48
    assert 2.0 * 5.0 / (area * RHO * 25.0 * fill) == pytest.approx(0.5132737, rel=1e-6)
    fell = fall([models.canopy(area, fill, factor=1.7)], mass=5.0, speed=25.0, world=models.world(gravity=0.0), time_limit=1.0)
    assert fell.pull[0] / 862.5190 == pytest.approx((1.5 * 0.5132737) ** (2.0 / 3.0) / 2.25, rel=SAMPLED)


# ------------------------------------------------------------------ until line stretch


def test_release__the_body_flies_on_until_line_stretch():
    """In a dive at 104 m/s half a second of its own drag is 2 m/s; broadside it would have lost half its speed."""
    with_canopy, without = dive(2.0, 104.0), dive(2.0, 104.0, wait=5.0)
    phase, t = with_canopy.log[:, Log.PHASE], with_canopy.log[:, Log.TIME]
    assert (phase[t < WAIT - 1e-9] == FREE).all() and (phase[(t > WAIT - 1e-9) & (t < 1.9)] == CANOPY).all()
    waiting = t < WAIT - 1e-9
    np.testing.assert_array_equal(with_canopy.log[waiting], without.log[: waiting.sum()])
    v, _ = opening_by_scipy(2.0, 104.0)
    assert with_canopy.events[len(ly.EVENTS) + 1, 7] == pytest.approx(v, rel=1e-6) and v > 101.0


def test_line_stretch__between_two_ticks():
    fell = dive(2.0, 104.0, wait=0.1234567)
    assert fell.events[len(ly.EVENTS) + 1, 0] == 0.1234567
    v, load = opening_by_scipy(2.0, 104.0, wait=0.1234567)
    assert fell.pull[0] == pytest.approx(load, rel=SAMPLED)


def test_drag_area__goes_from_the_flown_to_the_hanging_one_without_a_jump():
    fell = dive(2.0, 60.0)
    t, area = fell.log[:, Log.TIME], fell.log[:, Log.DRAG_AREA]
    first = area[t >= WAIT - 1e-9][0]
    assert first == pytest.approx(FLAT_OUT, rel=1e-9)
    filling = (t >= WAIT - 1e-9) & (t <= WAIT + FILL + 1e-9)
    assert area[filling] == pytest.approx(FLAT_OUT + (AREA + 0.09 - FLAT_OUT) * ((t[filling] - WAIT) / FILL) ** 2, rel=1e-8)
    assert area[t > WAIT + FILL + 1e-9][0] == pytest.approx(AREA + 0.09, rel=1e-12)


def test_ground__before_line_stretch_is_a_ballistic_return():
    """Released 30 m up in a dive: there is no canopy to slow it."""
    fell = fall(
        [models.canopy(AREA, FILL, wait=WAIT)], mass=2.0, height=30.0, speed=100.0, hanging=0.09, phase=FREE, attitude=NOSE_DOWN, aero=models.aero(ca=0.4)
    )
    assert fell.status == Ending.LANDED and fell.log[-2, Log.PHASE] == FREE and fell.work.handover[Handover.PHASE] == FREE
    assert fell.log[-1, Log.TIME] < WAIT and np.isnan(fell.events[len(ly.EVENTS) + 1]).all() and fell.pull[0] == 0.0
    assert np.isnan(fell.summary[Outcome.OPENING_AIRSPEED])


def test_apogee__between_release_and_line_stretch_is_that_of_free_flight():
    with_canopy, without = (
        fall(
            [models.canopy(AREA, FILL, wait=wait)],
            mass=2.0,
            height=300.0,
            speed=-3.0,
            hanging=0.09,
            phase=FREE,
            climbing=True,
            aero=models.aero(ca=0.4),
            time_limit=1.5,
        )
        for wait in (0.5, 50.0)
    )
    assert with_canopy.events[Event.APOGEE, 0] == without.events[Event.APOGEE, 0] < 0.5
    assert with_canopy.summary[Outcome.APOGEE_HEIGHT] == without.summary[Outcome.APOGEE_HEIGHT]


def test_second_canopy__until_its_line_stretch_the_body_hangs_on_under_the_first():
    both = [models.canopy(0.3, 0.2), models.canopy(2.0, 0.3, wait=1.5)]
    fell = fall(both, mass=3.0, height=900.0, speed=14.0, hanging=0.09, flown=0.002, time_limit=3.0)
    t, area, phase = (fell.log[:, k] for k in (Log.TIME, Log.DRAG_AREA, Log.PHASE))
    assert (phase == CANOPY).all() and area[(t > 0.2 + 1e-9) & (t < 1.5)] == pytest.approx(0.39, rel=1e-12)
    filling = (t > 1.5) & (t < 1.8)
    assert area[filling] == pytest.approx(0.39 + 2.0 * ((t[filling] - 1.5) / 0.3) ** 2, rel=1e-9)
    assert area[t > 1.8 + 1e-9] == pytest.approx(2.39, rel=1e-12)
    assert list(fell.events[len(ly.EVENTS) + 2 : len(ly.EVENTS) + 4, 0]) == [0.0, 1.5]


# ------------------------------------------------------------------ whole missions


FAST = {  # the sustainer's drogue is thrown out in the climb, a second after the second burn
    "stage.whinchat.part.drogue.strength": None,
    "recovery.drogue.when": "burnout",
    "recovery.drogue.delay": "4 s",
    "recovery.drogue.backup_time": None,
    "recovery.drogue.motor_delay": None,
    "failure": [],
    "disperse": {},
    "correlation": [],
    "harness": [],
}


@pytest.fixture(scope="module")
def fast(demo_path):
    return sixdof.load_mission(demo_path.with_name("two-stage.toml")).change(FAST)


@pytest.mark.parametrize("site", [{}, {"site.earth": "wgs84", "site.latitude": "-33 deg"}])
def test_mission__drogue_in_the_climb(fast, site):
    """Up to line stretch the flight is that without recovery; the load is that of a finite mass from the speed there."""
    ds = sixdof.fly(fast.change(site))
    ballistic = sixdof.fly(fast.change(site | {"recovery.drogue.delay": "300 s"}))
    release, stretch = (float(ds["event_time"].sel(event=f"{what} drogue", body="whinchat")) for what in ("deployment", "line stretch"))
    assert stretch - release == pytest.approx(0.4, abs=1e-9)
    upto = ds.time.values[ds.time.values <= stretch]
    for name in ("height", "airspeed"):
        np.testing.assert_array_equal(ds[name].sel(time=upto), ballistic[name].sel(time=upto))
    row = {name: float(ds[f"event_{name}"].sel(event="line stretch drogue", body="whinchat")) for name in ("airspeed", "dynamic_pressure")}
    assert row["airspeed"] == float(ds["line_stretch_airspeed"].sel(canopy="drogue")) > 100.0
    infinite = CX * row["dynamic_pressure"] * AREA
    assert 0.3 < float(ds["opening_load"].sel(canopy="drogue")) / infinite < 1.0


def test_mission__parts_between_release_and_line_stretch(demo_mission):
    """A drogue is thrown out as the stack climbs; it parts before line stretch: both bodies go on free, and one is caught later."""
    rules = [*staged.RULES[:1], {"name": "early", "when": "burnout", "delay": 0.3, "action": "deploy", "target": "drogue"}, staged.NEVER_LIT]
    mission = staged.stack(demo_mission, rules=rules)
    k = next(i for i, part in enumerate(mission.stage[0].part) if getattr(part, "name", "") == "drogue")
    mission = mission.change({f"stage.0.part.{k}.deployment_delay": 0.8})
    flown = staged.flown(mission)
    names = event_names(mission)
    released, stretched, parted = (flown.events[0, names.index(name), 0] for name in ("deployment drogue", "line stretch drogue", "separation booster"))
    assert released < parted < stretched == pytest.approx(released + 0.8, abs=1e-9)
    log = flown.logs[0]
    t, phase = log[:, Log.TIME], log[:, Log.PHASE]
    assert (phase[(t > 1.0) & (t < stretched - 1e-9)] == FREE).all() and (phase[t > stretched][:-1] == CANOPY).all()
    assert (flown.logs[1][:-1, Log.PHASE] == FREE).any()
