"""Under canopies: opening loads, reefing, cords, terminal velocity and descent time against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

import models
import staged
from falls import G0, RHO, fall, terminal

from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.legs import CANOPY_FACTS, OF_STAGE, body_names, failure_names

@pytest.mark.parametrize(
    # reference/parachutes_flutter_safety.md, section 1 (computed): CD0 on pi D^2/4
    ("mass", "diameter", "coefficient", "speed"),
    [(5.0, 1.5, 0.75, 7.771869), (1.5, 0.9, 0.75, 7.094713), (10.0, 2.4, 0.80, 6.651294)],
)
def test_terminal_velocity(mass, diameter, coefficient, speed):
    area = coefficient * math.pi * diameter**2 / 4.0
    status, log, *_ = fall([models.canopy(area)], mass=mass, height=300.0)
    assert status == ly.LANDED_OK
    assert -log[-1, ly.L_VU] == pytest.approx(speed, rel=1e-6)


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
    t = log[:, ly.L_TIME]
    growth = 1.0 + RHO * area * v0 * t / (2.0 * mass)
    np.testing.assert_allclose(-log[:, ly.L_VU], v0 / growth, rtol=5e-6)  # RK4 at a tenth of the time constant: 3e-6 measured
    np.testing.assert_allclose(2000.0 - log[:, ly.L_HEIGHT], 2.0 * mass / (RHO * area) * np.log(growth), rtol=1e-5, atol=1e-6)


def test_waiting__the_canopy_does_nothing_before_line_stretch():
    log = fall([models.canopy(1.0, 0.0, wait=1.0)], mass=2.0, world=models.world(density=1e-12), time_limit=1.5).log
    free = log[log[:, ly.L_TIME] <= 1.0]
    np.testing.assert_allclose(free[:, ly.L_HEIGHT], 2000.0 - 0.5 * G0 * free[:, ly.L_TIME] ** 2, atol=1e-6)
    assert (log[:, ly.L_DRAG_AREA][log[:, ly.L_TIME] > 1.01] == 1.0).all()


def test_reefing__falls_at_the_reefed_terminal_velocity_until_it_is_cut():
    mass, area, share, cut = 3.0, 1.5, 0.25, 40.0
    _, log, pull, *_ = fall([models.canopy(area, 0.3, reef_share=share, reef_time=cut)], mass=mass, height=1200.0)
    t, speed = log[:, ly.L_TIME], -log[:, ly.L_VU]
    assert np.interp(39.0, t, speed) == pytest.approx(terminal(mass, share * area), rel=1e-6)
    assert speed[-1] == pytest.approx(terminal(mass, area), rel=1e-6)
    # the second opening, at twice the terminal velocity of the full canopy, pulls less than opening at once at the first speed would
    assert pull[0] > mass * G0 and pull[0] < 0.5 * RHO * area * (2.0 * terminal(mass, area)) ** 2


def test_two_canopies__add_their_drag_areas():
    log = fall([models.canopy(0.4), models.canopy(0.9)], mass=4.0, height=400.0, hanging=0.1).log
    assert -log[-1, ly.L_VU] == pytest.approx(terminal(4.0, 1.4), rel=1e-6)


def test_descent_time__in_an_isothermal_atmosphere():
    """At terminal velocity v = v0 exp(z/2H) in rho0 exp(-z/H): t = (2H/v0) (1 - exp(-h/2H)), to (v0^2/(2 g H)) of itself."""
    scale, top, mass, area = 8000.0, 6000.0, 2.0, 3.0
    z = np.linspace(-1000.0, 9000.0, 10001)
    rows = np.tile(models.world().air[0], (len(z), 1))
    rows[:, ct.AIR_DENSITY] = RHO * np.exp(-z / scale)
    world = models.world()._replace(air=np.ascontiguousarray(rows), air_z0=-1000.0, air_per_metre=1.0)
    v0 = terminal(mass, area)
    status, log, *_ = fall([models.canopy(area)], mass=mass, height=top, speed=v0 * math.exp(top / (2.0 * scale)), world=world, time_limit=4000.0)
    expected = 2.0 * scale / v0 * -math.expm1(-top / (2.0 * scale))
    assert status == ly.LANDED_OK
    assert log[-1, ly.L_TIME] == pytest.approx(expected, rel=2.0 * v0**2 / (2.0 * G0 * scale))


def test_strength__a_canopy_that_is_too_weak_is_lost_and_the_airframe_falls_on():
    weak = models.canopy(1.0, 0.2, strength=50.0)
    status, log, pull, work, *_ = fall([weak], mass=3.0, height=800.0, speed=25.0, hanging=0.08)
    assert work.opened[0] == ct.LOST and pull[0] > 50.0
    assert -log[-1, ly.L_VU] == pytest.approx(terminal(3.0, 0.08), rel=1e-4)
    assert status == ly.LANDED_OK


# ------------------------------------------------------------------ cords

CORD = {"canopy": "drogue", "parts_at": 0.7, "length": 6.0, "strength": 2000.0, "stiffness": 13e3, "impulse": 3.0}


def facts_of(mission, flown, canopy):
    from sixdof.legs import canopy_names

    return dict(zip(CANOPY_FACTS, flown.canopy[canopy_names(mission).index(canopy)]))


def test_snatch__is_the_energy_of_the_charge_in_the_cord_as_a_spring(demo_mission):
    """Two pieces thrown apart by J reach J/mu against each other; a spring k takes that up at F = v sqrt(k mu)."""
    mission = staged.stack(demo_mission, cords=[CORD])
    flier = staged.flier(mission)
    kept, loose = flier.plan.pieces(0, 0, 0, set(), staged.drawn(mission))
    flown = flier.fly(staged.drawn(mission))
    mu = kept.mass * loose.mass / (kept.mass + loose.mass)
    k = 13e3 / 6.0
    speed = 3.0 / mu
    energy = 0.5 * mu * speed**2
    stretch = math.sqrt(2.0 * energy / k)
    assert facts_of(mission, flown, "drogue")["snatch_load"] == pytest.approx(k * stretch, rel=1e-9)
    whole = flier.plan.model(0, 0).mass
    assert kept.mass + loose.mass == pytest.approx(whole.dry, rel=1e-12)  # the pieces are the burnt-out stage


def test_cord__too_weak_for_the_charge_leaves_two_bodies(demo_mission):
    mission = staged.stack(demo_mission, cords=[CORD | {"strength": 5.0}])
    flier = staged.flier(mission)
    flown = flier.fly(staged.drawn(mission))
    names = body_names(mission)
    loose = names.index("thistledown: loose by drogue")
    assert dict(zip(failure_names(mission), flown.failure))["cord_parts: drogue"] == 1.0
    fallen = flown.body[[0, loose]]
    assert fallen[:, 5].sum() == pytest.approx(flier.plan.model(0, 0).mass.dry, rel=1e-9)
    assert (fallen[:, 7] == 1.0).all()  # the drogue stays on the fore piece, the main goes with the aft piece and opens there
    # and a cord that holds leaves none
    held = staged.flown(staged.stack(demo_mission, cords=[CORD]))
    assert np.isnan(held.body[loose, 0]) and held.failure.sum() == 0.0


@pytest.mark.parametrize("gone_wrong", [(), ("no_ignition: thistledown",), ("no_separation: booster",)])
def test_cord__parted_pieces_weigh_what_hung_together(demo_mission, gone_wrong):
    """Whatever is still there, propellant or a whole booster, is in one of the two pieces."""
    failures = [{"kind": kind, "of": of, "probability": 0.1} for kind, of in
                (("cord_parts", "drogue"), ("no_ignition", "thistledown"), ("no_separation", "booster"))]  # fmt: skip
    mission = staged.stack(demo_mission, cords=[CORD], failures=failures)
    flier = staged.flier(mission)
    names = [failure.name for failure in mission.failure]
    draw = staged.drawn(mission, failure=[(i, 1.0) for i, name in enumerate(names) if name in gone_wrong or i == 0])
    draw.stage[:, OF_STAGE.index("mass")] = 1.1, 0.9
    flown = flier.fly(draw)
    loose = body_names(mission).index("thistledown: loose by drogue")
    hung = staged.flier(mission).fly(draw._replace(failure=np.where(np.arange(3) == 0, 0.0, draw.failure)))
    assert flown.body[[0, loose], 5].sum() == pytest.approx(hung.body[0, 5], rel=1e-12)


def test_cord__carries_a_booster_that_did_not_part(demo_mission):
    """The opening load a cord takes is that of the mass behind it: with the booster still on, most of it."""
    mission = staged.stack(demo_mission, cords=[CORD], failures=[{"kind": "no_separation", "of": "booster", "probability": 0.1}])
    flier = staged.flier(mission)
    shares = []
    for stuck in (0.0, 1.0):
        flier.fly(staged.drawn(mission, failure=[(0, stuck)]))
        work = flier.works[0, 0, 1 if stuck else 0]
        shares.append(work.canopy[0, ct.CANOPY_CORD_SHARE])
    whole, alone = flier.plan.model(0, 1).mass, flier.plan.model(0, 0).mass
    behind = shares[0] * alone.dry
    with_booster = behind + whole.dry - alone.dry  # the stack's table holds the sustainer's full grain, which lies behind as well
    assert shares[1] == pytest.approx(with_booster / whole.dry, rel=1e-9)
