"""Under canopies: opening loads, reefing, harnesses, terminal velocity and descent time against closed forms."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
import staged
from dividing_by_hand import pieces
from falls import G0, RHO, fall, terminal

from sixdof.core import types as ct
from sixdof.core.columns import AirColumn, CanopyColumn
from sixdof.core.layout import Ending, Log, Outcome
from sixdof.draws.flight_draw import OF_HARNESS, OF_STAGE
from sixdof.results.facts import CANOPY_FACTS
from sixdof.results.names import body_names, failure_names
from sixdof.vehicle.geometry import shape_of


@pytest.mark.parametrize(
    # reference/parachutes_flutter_safety.md, section 1 (computed): CD0 on pi D^2/4
    ("mass", "diameter", "coefficient", "speed"),
    [(5.0, 1.5, 0.75, 7.771869), (1.5, 0.9, 0.75, 7.094713), (10.0, 2.4, 0.80, 6.651294)],
)
def test_terminal_velocity(mass, diameter, coefficient, speed):
    area = coefficient * math.pi * diameter**2 / 4.0
    status, log, *_ = fall([models.canopy(area)], mass=mass, height=300.0)
    assert status == Ending.LANDED
    assert -log[-1, Log.VELOCITY_UP] == pytest.approx(speed, rel=1e-6)


def test_opening_load__of_a_very_large_mass_is_factor_times_drag():
    """Knacke: F = CdS q Cx at infinite mass. reference/parachutes_flutter_safety.md: 1.5 m, CD 0.75, 25 m/s, Cx 1.7: 862.519 N."""
    area = 0.75 * math.pi * 1.5**2 / 4.0
    opening = models.canopy(area, 0.5, factor=1.7)
    world = models.world(gravity=0.0)
    pull = fall([opening], mass=1e7, height=500.0, speed=25.0, world=world, time_limit=2.0).pull
    assert pull[0] == pytest.approx(862.5190, rel=1e-4)  # 1e7 kg slow down by 1e-5 of their speed


@pytest.mark.parametrize("mass", [1.5, 5.0])
def test_opening_load__of_a_small_mass_is_the_closed_form_peak(mass):
    """Filling as (t/tf)^2 and drag alone: v = v0/(1 + k t^3/3), k = rho CdS v0/(2 m tf^2); the drag's peak follows from it.

    With x = k t^3/3 the pull goes as t^2/(1 + x)^2, largest at x = 1/2, if the canopy is not full before.
    """
    area, fill, v0 = 1.2, 0.8, 30.0
    k = RHO * area * v0 / (2.0 * mass * fill**2)
    t = (1.5 / k) ** (1.0 / 3.0)
    assert t < fill
    peak = 0.5 * RHO * area * (t / fill) ** 2 * (v0 / 1.5) ** 2
    pull = fall([models.canopy(area, fill)], mass=mass, speed=v0, world=models.world(gravity=0.0), time_limit=2.0).pull
    # the load is looked at after every step, a tenth of the time constant apart: near the peak the pull is level
    assert pull[0] == pytest.approx(peak, rel=2e-3) and pull[0] <= peak * (1.0 + 1e-9)


def test_deceleration__after_an_instant_opening_follows_the_closed_form():
    """Drag alone, area constant: v = v0/(1 + rho CdS v0 t/(2 m)), s = (2 m/(rho CdS)) ln(1 + ...)."""
    mass, area, v0 = 2.0, 0.9, 40.0
    log = fall([models.canopy(area)], mass=mass, speed=v0, world=models.world(gravity=0.0), time_limit=3.0).log
    t = log[:, Log.TIME]
    growth = 1.0 + RHO * area * v0 * t / (2.0 * mass)
    np.testing.assert_allclose(-log[:, Log.VELOCITY_UP], v0 / growth, rtol=5e-6)  # RK4 at a tenth of the time constant: 3e-6 measured
    np.testing.assert_allclose(2000.0 - log[:, Log.HEIGHT], 2.0 * mass / (RHO * area) * np.log(growth), rtol=1e-5, atol=1e-6)


def test_waiting__the_canopy_does_nothing_before_line_stretch():
    log = fall([models.canopy(1.0, 0.0, wait=1.0)], mass=2.0, world=models.world(density=1e-12), time_limit=1.5).log
    free = log[log[:, Log.TIME] <= 1.0]
    np.testing.assert_allclose(free[:, Log.HEIGHT], 2000.0 - 0.5 * G0 * free[:, Log.TIME] ** 2, atol=1e-6)
    assert (log[:, Log.DRAG_AREA][log[:, Log.TIME] > 1.01] == 1.0).all()


def test_reefing__falls_at_the_reefed_terminal_velocity_until_it_is_cut():
    mass, area, share, cut = 3.0, 1.5, 0.25, 40.0
    _, log, pull, *_ = fall([models.canopy(area, 0.3, reef_share=share, reef_time=cut)], mass=mass, height=1200.0)
    t, speed = log[:, Log.TIME], -log[:, Log.VELOCITY_UP]
    assert np.interp(39.0, t, speed) == pytest.approx(terminal(mass, share * area), rel=1e-6)
    assert speed[-1] == pytest.approx(terminal(mass, area), rel=1e-6)
    # the second opening, at twice the terminal velocity of the full canopy, pulls less than opening at once at the first speed would
    assert pull[0] > mass * G0 and pull[0] < 0.5 * RHO * area * (2.0 * terminal(mass, area)) ** 2


def test_two_canopies__add_their_drag_areas():
    log = fall([models.canopy(0.4), models.canopy(0.9)], mass=4.0, height=400.0, hanging=0.1).log
    assert -log[-1, Log.VELOCITY_UP] == pytest.approx(terminal(4.0, 1.4), rel=1e-6)


def test_descent_time__in_an_isothermal_atmosphere():
    """At terminal velocity v = v0 exp(z/2H) in rho0 exp(-z/H): t = (2H/v0) (1 - exp(-h/2H)), to (v0^2/(2 g H)) of itself."""
    scale, top, mass, area = 8000.0, 6000.0, 2.0, 3.0
    z = np.linspace(-1000.0, 9000.0, 10001)
    rows = np.tile(models.world().air[0], (len(z), 1))
    rows[:, AirColumn.DENSITY] = RHO * np.exp(-z / scale)
    world = models.world()._replace(air=np.ascontiguousarray(rows), air_z0=-1000.0, air_per_metre=1.0)
    v0 = terminal(mass, area)
    status, log, *_ = fall([models.canopy(area)], mass=mass, height=top, speed=v0 * math.exp(top / (2.0 * scale)), world=world, time_limit=4000.0)
    expected = 2.0 * scale / v0 * -math.expm1(-top / (2.0 * scale))
    assert status == Ending.LANDED
    assert log[-1, Log.TIME] == pytest.approx(expected, rel=2.0 * v0**2 / (2.0 * G0 * scale))


def test_strength__a_canopy_that_is_too_weak_is_lost_and_the_airframe_falls_on():
    weak = models.canopy(1.0, 0.2, strength=50.0)
    status, log, pull, work, *_ = fall([weak], mass=3.0, height=800.0, speed=25.0, hanging=0.08)
    assert work.deployed[0] == ct.LOST and pull[0] > 50.0
    assert -log[-1, Log.VELOCITY_UP] == pytest.approx(terminal(3.0, 0.08), rel=1e-4)
    assert status == Ending.LANDED


# ------------------------------------------------------------------ harnesses

HARNESS = {"canopy": "drogue", "separation_station": 0.7, "length": 6.0, "strength": 2000.0, "stiffness": 13e3, "impulse": 3.0}


def facts_of(mission, flown, canopy):
    from sixdof.results.names import canopy_names

    return dict(zip(CANOPY_FACTS, flown.canopy[canopy_names(mission).index(canopy)]))


def test_snatch__is_the_energy_of_the_charge_in_the_harness_as_a_spring(demo_mission):
    """Two pieces thrown apart by J reach J/mu against each other; a spring k takes that up at F = v sqrt(k mu)."""
    mission = staged.stack(demo_mission, harnesses=[HARNESS])
    runner = staged.runner(mission)
    kept, loose = pieces(runner.plan, 0, 0, 0, set(), staged.drawn(mission))
    flown = runner.run(staged.drawn(mission))
    mu = kept.mass * loose.mass / (kept.mass + loose.mass)
    k = 13e3 / 6.0
    speed = 3.0 / mu
    energy = 0.5 * mu * speed**2
    stretch = math.sqrt(2.0 * energy / k)
    assert facts_of(mission, flown, "drogue")["snatch_load"] == pytest.approx(k * stretch, rel=1e-9)
    whole = runner.plan.model(0, 0).mass
    assert kept.mass + loose.mass == pytest.approx(whole.dry, rel=1e-12)  # the pieces are the burnt-out stage


def test_harness__too_weak_for_the_charge_leaves_two_bodies(demo_mission):
    mission = staged.stack(demo_mission, harnesses=[HARNESS | {"strength": 5.0}])
    runner = staged.runner(mission)
    flown = runner.run(staged.drawn(mission))
    names = body_names(mission)
    loose = names.index("thistledown: loose by drogue")
    assert dict(zip(failure_names(mission), flown.failure))["harness_breaks: drogue"] == 1.0
    fallen = flown.body[[0, loose]]
    assert fallen[:, 5].sum() == pytest.approx(runner.plan.model(0, 0).mass.dry, rel=1e-9)
    assert (fallen[:, 7] == 1.0).all()  # the drogue stays on the fore piece, the main goes with the aft piece and opens there
    # and a harness that holds leaves none
    assert flown.summary[Outcome.OPENING_AIRSPEED] == dict(zip(CANOPY_FACTS, flown.canopy[0]))["line_stretch_airspeed"]
    held = staged.flown(staged.stack(demo_mission, harnesses=[HARNESS]))
    assert np.isnan(held.body[loose, 0]) and held.failure.sum() == 0.0


@pytest.mark.parametrize("gone_wrong", [(), ("no_ignition: thistledown",), ("no_separation: booster",)])
def test_harness__parted_pieces_weigh_what_hung_together(demo_mission, gone_wrong):
    """Whatever is still there, propellant or a whole booster, is in one of the two pieces."""
    failures = [
        {"kind": kind, "of": of, "probability": 0.1}
        for kind, of in (("harness_breaks", "drogue"), ("no_ignition", "thistledown"), ("no_separation", "booster"))
    ]
    mission = staged.stack(demo_mission, harnesses=[HARNESS], failures=failures)
    runner = staged.runner(mission)
    names = [failure.name for failure in mission.failure]
    draw = staged.drawn(mission, failure=[(i, 1.0) for i, name in enumerate(names) if name in gone_wrong or i == 0])
    draw.stage[:, OF_STAGE.index("mass")] = 1.1, 0.9
    flown = runner.run(draw)
    loose = body_names(mission).index("thistledown: loose by drogue")
    hung = staged.runner(mission).run(draw._replace(failure=np.where(np.arange(3) == 0, 0.0, draw.failure)))
    assert flown.body[[0, loose], 5].sum() == pytest.approx(hung.body[0, 5], rel=1e-12)


def test_harness__carries_a_booster_that_did_not_part(demo_mission):
    """The opening load a harness takes is that of the mass behind it: with the booster still on, most of it."""
    mission = staged.stack(demo_mission, harnesses=[HARNESS], failures=[{"kind": "no_separation", "of": "booster", "probability": 0.1}])
    runner = staged.runner(mission)
    shares = []
    for stuck in (0.0, 1.0):
        runner.run(staged.drawn(mission, failure=[(0, stuck)]))
        work = runner.works[0, 1 if stuck else 0]
        shares.append(work.canopy[0, CanopyColumn.HARNESS_SHARE])
    whole, alone = runner.plan.model(0, 1).mass, runner.plan.model(0, 0).mass
    behind = shares[0] * alone.dry
    with_booster = behind + whole.dry - alone.dry  # the stack's table holds the sustainer's full grain, which lies behind as well
    assert shares[1] == pytest.approx(with_booster / whole.dry, rel=1e-9)


# ------------------------------------------------------------------ harnesses and drags of a draw of their own

SNATCH = CANOPY_FACTS.index("snatch_load")


def side_area(mission, stage=0):
    """Return the side area of a stage's bodies of revolution ahead of its fins, m^2, by a sum over stations."""
    shape = shape_of([mission.stage[stage]])
    x = np.linspace(0.0, shape.length, 20001)
    width = 2.0 * np.array([shape.radius(float(each)) for each in x])
    return float(np.sum(0.5 * (width[1:] + width[:-1]) * np.diff(x)))


def test_harness__weaker_in_the_mission_or_by_its_draw_snatches_alike_and_parts(demo_mission):
    """Stiffness is not a matter of strength: the charge's snatch stays, and what is below it parts."""
    strong = staged.stack(demo_mission, harnesses=[HARNESS])
    snatch = facts_of(strong, staged.flown(strong), "drogue")["snatch_load"]
    assert 100.0 < snatch < 1000.0
    weak = staged.flown(staged.stack(demo_mission, harnesses=[HARNESS | {"strength": 0.9 * snatch}]))
    drawn_weak = staged.flown(strong, staged.drawn(strong, harness=[(0, OF_HARNESS.index("strength"), 0.9 * snatch / 2000.0)]))
    drawn_sound = staged.flown(strong, staged.drawn(strong, harness=[(0, OF_HARNESS.index("strength"), 1.1 * snatch / 2000.0)]))
    parted = failure_names(strong).index("harness_breaks: drogue")
    assert [flown.failure[parted] for flown in (weak, drawn_weak, drawn_sound)] == [1.0, 1.0, 0.0]
    for flown in (weak, drawn_weak, drawn_sound):
        assert flown.canopy[0, SNATCH] == pytest.approx(snatch, rel=1e-12)


def test_harness__snatch_goes_with_the_root_of_a_drawn_stiffness(demo_mission):
    mission = staged.stack(demo_mission, harnesses=[HARNESS])
    loads = [staged.flown(mission, staged.drawn(mission, harness=[(0, OF_HARNESS.index("stiffness"), k)])).canopy[0, SNATCH] for k in (1.0, 4.0)]
    assert loads[1] == pytest.approx(2.0 * loads[0], rel=1e-12)


def test_harness__snatch_goes_with_a_drawn_impulse_of_its_own_ejection(demo_mission):
    mission = staged.stack(demo_mission, harnesses=[HARNESS])
    loads = [staged.flown(mission, staged.drawn(mission, harness=[(0, OF_HARNESS.index("impulse"), k)])).canopy[0, SNATCH] for k in (1.0, 1.5)]
    assert loads[1] == pytest.approx(1.5 * loads[0], rel=1e-12)


@pytest.mark.parametrize(("key", "factor"), [(1.0, 1.0), (0.6, 1.0), (0.6, 1.5)])
def test_hanging_drag__is_the_coefficient_times_the_side_area(demo_mission, key, factor):
    """Falling under the drogue alone, the drag area beyond the drogue's is CD times the side area, times its draw."""
    mission = demo_mission.change({"stage.0.hanging_drag": key, "recovery": [demo_mission.recovery[0].model_dump()]})
    flown = staged.flown(mission, staged.drawn(mission, stage=[(0, OF_STAGE.index("hanging_drag"), factor)]), log_every=5)
    drogue = next(part for part in mission.stage[0].part if getattr(part, "name", "") == "drogue")
    lines = drogue.drag_coefficient * math.pi * drogue.diameter**2 / 4.0
    area = flown.logs[0][-5, Log.DRAG_AREA]
    assert area - lines == pytest.approx(key * factor * side_area(mission), rel=1e-6)
    # and it slows the fall: near the ground drag is weight, but for the wind's shear
    speed = np.linalg.norm(flown.logs[0][-100, [Log.VELOCITY_EAST, Log.VELOCITY_NORTH, Log.VELOCITY_UP]])
    assert speed > 0.0
    weight = flown.logs[0][-100, Log.MASS] * G0
    assert flown.logs[0][-100, Log.DYNAMIC_PRESSURE] * area == pytest.approx(weight, rel=5e-3)


@pytest.mark.parametrize(("key", "factor"), [(1.0, 1.0), (0.5, 1.0), (0.5, 1.2)])
def test_loose_drag__of_the_piece_that_a_parted_harness_lets_go(demo_mission, key, factor):
    """Behind the cut at 0.7 m; without its main it falls at sqrt(2 m g/(rho CD S)), and the rest still hangs by the stage's own."""
    harness = HARNESS | {"strength": 5.0, "tumbling_drag": key}
    mission = staged.stack(demo_mission, harnesses=[harness])
    mission = mission.change({"recovery": [each.model_dump() for each in mission.recovery if each.canopy != "main"]})
    flown = staged.flown(mission, staged.drawn(mission, harness=[(0, OF_HARNESS.index("tumbling_drag"), factor)]))
    loose = flown.logs[body_names(mission).index("thistledown: loose by drogue")]
    radius = 0.5 * max(part.diameter for part in mission.stage[0].part if part.kind in ("nose", "tube"))
    length = sum(part.length for part in mission.stage[0].part if part.kind in ("nose", "tube"))
    area = key * factor * 2.0 * radius * (length - 0.7)
    assert loose[-5, Log.DRAG_AREA] == pytest.approx(area, rel=1e-3)
    assert loose[-100, Log.DYNAMIC_PRESSURE] * area == pytest.approx(loose[-100, Log.MASS] * G0, rel=1e-2)
    assert flown.logs[0][-5, Log.DRAG_AREA] > loose[-5, Log.DRAG_AREA]


def test_loose_pieces__swing_only_below_a_canopy(demo_mission):
    """The piece that keeps the drogue ends upright; that without one goes on turning as it was let go."""
    mission = staged.stack(demo_mission, harnesses=[HARNESS | {"strength": 5.0}])
    mission = mission.change({"recovery": [each.model_dump() for each in mission.recovery if each.canopy != "main"]})
    flown = staged.flown(mission)
    kept, loose = flown.logs[0], flown.logs[body_names(mission).index("thistledown: loose by drogue")]
    assert np.degrees(kept[-200, Log.TILT]) < 5.0
    rates = loose[:, Log.RATE_X : Log.RATE_Z + 1]
    assert np.ptp(np.linalg.norm(rates, axis=1)) < 1.0 and np.isfinite(rates).all()
