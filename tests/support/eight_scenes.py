"""Eight different flights flown at once through the very kernels, and each alone: run with NUMBA_DISABLE_JIT=1.

    python eight_scenes.py FILE

writes what came of every scene to a JSON file: the count of numbers compared, or what went wrong.
"""

from __future__ import annotations

import json
import math
import sys
import traceback
from functools import cache
from pathlib import Path

import eight
import gusts
import numpy as np

import sixdof
from sixdof.core.algebra import matrix_of, to_world
from sixdof.core.body import body_at, burn_segment
from sixdof.core.columns import TALLY_COLUMNS, TURBULENCE_COLUMNS, CanopyColumn, FinRow, MotorRow
from sixdof.core.computer import control
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, Gain, GainRow, Noticed, Switch
from sixdof.core.computer.sensing import sense
from sixdof.core.computer.sensors import Chance, draw_constants
from sixdof.core.constants import CANOPY, FREE, NO
from sixdof.core.flight import canopy, free, rk4
from sixdof.core.flight.canopy import Rig
from sixdof.core.forces import loads, stability, turbulence
from sixdof.core.layout import DEMAND_SIZE, MEMORY_SIZE, Sensed
from sixdof.core.leg.drawing import draw_model, drawn_gains
from sixdof.core.leg.work import make_summary, make_work
from sixdof.core.observe import incidence_of, joint_force, tilt_of, watch, watch_servos
from sixdof.core.types import Quat, State, Station, Vec3
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

ROOT = Path(__file__).resolve().parents[2]
VEHICLES = {
    "four control fins": "configs/sampler.toml",
    "two stages in each other's wake": "configs/two-stage.toml",
    "canard": "tests/vehicles/canard.toml",
    "three passive fins over a round Earth": "tests/vehicles/slender.toml",
}
# what the flights are at: small incidence, beyond the stall, about broadside, backwards, almost at rest
SPEEDS = (60.0, 150.0, 320.0, 460.0, 740.0, 90.0, 200.0, 1e-3)  # m/s
INCIDENCES = (0.02, 0.5, 1.5, 1.62, 2.9, math.pi, 0.0, 0.3)
LANES = range(eight.COUNT)


@cache
def model_of(vehicle):
    mission = sixdof.load_mission(ROOT / VEHICLES[vehicle])
    return build_model(mission), kernel_draw(mission)


def drawn_of(model, draw, rng):
    """Return (draw, scratch, DrawnModel) of one flight, everything drawn."""
    k = rng.uniform(0.9, 1.1, 12)
    small = rng.normal(0.0, 0.005, 6)
    turn = rng.uniform(-0.3, 0.3)
    draw = draw._replace(
        impulse=k[0], burn_time=k[1], mass=k[2], inertia=k[3], drag=k[4], normal_force=k[5], servo_speed=k[6], servo_rate=k[7], gain_pitch=k[8],
        gain_yaw=k[9], gain_roll=k[10], pressure=k[11], temperature=rng.uniform(-8.0, 8.0), wind_scale=2.0 * k[0] * math.cos(turn),
        wind_cos=math.cos(turn), wind_sin=math.sin(turn), tilt_y=small[0], tilt_z=small[1], offset_y=small[2], offset_z=small[3], cp=small[4],
        cant=small[5], cg_x=small[1], cg_y=small[0], cg_z=small[3],
    )  # fmt: skip
    work = make_work(model)
    work.fins[: FinRow.CARRIED] = rng.uniform(-0.2, 0.2, work.fins[: FinRow.CARRIED].shape)
    work.fins[FinRow.CARRIED] = rng.uniform(0.0, 1.0, work.fins.shape[1]) > 0.2
    work.gust[:] = rng.normal(0.0, 2.0, (3, 3))
    work.cant[:] += rng.normal(0.0, 0.01, len(work.cant))
    work.airframe[:] *= rng.uniform(0.99, 1.01, len(work.airframe))
    drawn = draw_model(model, draw, work)
    wind = drawn.wind.table + rng.normal(0.0, 2.0, drawn.wind.table.shape)
    return draw, work, drawn._replace(wind=drawn.wind._replace(table=wind))


def state_of(k, rng):
    q = rng.normal(size=4)
    q = Quat(*(q / np.linalg.norm(q)).tolist())
    side, roll = SPEEDS[k] * math.sin(INCIDENCES[k]), rng.uniform(-3.0, 3.0)
    u = Vec3(SPEEDS[k] * math.cos(INCIDENCES[k]), side * math.cos(roll), side * math.sin(roll))
    place = Vec3(*rng.uniform(-300.0, 300.0, 2).tolist(), float(rng.uniform(-5.0, 4000.0)))
    return State(place, to_world(matrix_of(q), u), q, Vec3(*(rng.normal(size=3) * (9.0, 1.0, 1.0)).tolist()))


def rig_of(model, work, k, rng):
    """Return canopies at all stages of their opening: not deployed, filling, reefed, disreefed, full; one fills at once."""
    work.canopy[:, CanopyColumn.DRAG_AREA] *= rng.uniform(0.8, 1.2, len(work.canopy))
    work.canopy[:, CanopyColumn.FILL_TIME] = 0.0 if k == 3 else rng.uniform(0.3, 1.0)
    work.canopy[:, CanopyColumn.REEFING_RATIO] = 0.3 if k % 2 else 1.0
    work.canopy[:, CanopyColumn.REEFING_TIME] = rng.uniform(1.0, 2.0)
    work.canopy[:, CanopyColumn.OPENING_COEFFICIENT] = rng.uniform(1.0, 1.8)
    work.canopy[:, CanopyColumn.STRENGTH] = rng.uniform(20.0, 2000.0)
    work.deployed[:] = -1.0
    work.deployed[0] = 100.0 - (0.1, 0.5, 0.9, 1.5, 2.5, 4.0, 101.0, 0.0)[k]
    return Rig(work.canopy, work.deployed, model.tumble_area * rng.uniform(0.9, 1.1), rng.uniform(0.01, 0.02), model.leg.nose_x * rng.uniform(0.9, 1.1))


def packed_drawn(drawns):
    """Return eight DrawnModels as one, each flight's own air and wind."""
    worlds, winds = [d.world for d in drawns], [d.wind for d in drawns]
    world = eight.pack([w._replace(air=None) for w in worlds])._replace(air=eight.Each([w.air for w in worlds]))
    wind = eight.pack([w._replace(table=None) for w in winds])._replace(table=eight.Each([w.table for w in winds]))
    return eight.pack([d._replace(world=None, wind=None) for d in drawns])._replace(world=world, wind=wind)


def compare(together, alone) -> int:
    """Return how many numbers eight flights at once and each alone have in common, to the bit."""
    count = 0
    for k in LANES:
        a, b = eight.lane(together, k), eight.lane(alone[k], k)
        assert a.shape == b.shape
        differing = np.flatnonzero(~((a == b) | (np.isnan(a) & np.isnan(b))))
        assert not len(differing), f"flight {k}: {len(differing)} of {len(a)} numbers differ, the first {a[differing[0]]!r} and {b[differing[0]]!r}"
        count += len(a)
    return count


class Scene:
    """Eight flights of one vehicle: `flights` alone, and `together`."""

    def __init__(self, vehicle, seed=1, **parts):
        rng = np.random.default_rng(seed)
        self.model, draw = model_of(vehicle)
        self.model = self.model._replace(**parts)
        made = [drawn_of(self.model, draw, rng) for _ in LANES]
        self.draws, self.works, self.drawns = (list(column) for column in zip(*made))
        self.states = [state_of(k, rng) for k in LANES]
        self.rigs = [rig_of(self.model, self.works[k], k, rng) for k in LANES]
        self.times = [0.3 + 0.01 * k for k in LANES]
        self.steps = rng.uniform(1e-3, 5e-3, 8).tolist()
        self.bodies = [[self._body(k, share) for share in (0.0, 0.5, 1.0)] for k in LANES]
        self.drawn = packed_drawn(self.drawns)

    def _body(self, k, share):
        segment = -1 if k == 5 else (len(self.model.thrust.time) if k == 6 else 1)
        draw = self.draws[k]
        burn = burn_segment(self.model.thrust, segment, 0.0, draw.impulse, draw.burn_time)
        return body_at(self.times[k] + share * self.steps[k], burn, self.drawns[k].grains)

    def scratch(self):
        """Return the arrays that kernels write, a copy of each flight's."""
        return [(w.fins.copy(), w.seen.copy()) for w in self.works]


# ---------------------------------------------------------------- the scenes


def step_of(vehicle, phase=FREE):
    scene = Scene(vehicle)
    zero = State(Vec3(0.0, 0.0, 0.0), Vec3(0.0, 0.0, 0.0), Quat(0.0, 0.0, 0.0, 0.0), Vec3(0.0, 0.0, 0.0))

    def step(t, s, h, bodies, rig, drawn, scratch):
        return rk4.rk4_step(phase, t, s, h, zero, NO, *bodies, rig, drawn, *scratch), scratch

    def at_tick(t, s, h, bodies, rig, drawn, scratch):
        load = loads.loads(s, bodies[0], drawn, scratch[0], FinRow.START, scratch[1])
        rate = rk4.rate_at_tick(phase, t, s, bodies[0], drawn, load, rig)
        return load, rate, free.felt_force(s, rate, drawn, load), loads.climb_of(drawn.world, s.r, s.v), loads.height_of(drawn.world, s.r)

    count = 0
    times = [100.0] * 8 if phase == CANOPY else scene.times
    for run in (step, at_tick):
        own = [times, scene.states, scene.steps, [tuple(b) for b in scene.bodies], scene.rigs]
        together = run(*(eight.pack(x, own=True) for x in own), scene.drawn, eight.pack(scene.scratch(), own=True))
        alone = [run(*(x[k] for x in own), scene.drawns[k], scene.scratch()[k]) for k in LANES]
        count += compare(together, alone)
    return count


def burning():
    scene = Scene("four control fins")
    burns = [burn_segment(scene.model.thrust, k % 3, 0.0, d.impulse, d.burn_time) for k, d in enumerate(scene.draws)]
    together = body_at(eight.pack(scene.times), eight.pack(burns), scene.drawn.grains)
    return compare(together, [body_at(scene.times[k], burns[k], scene.drawns[k].grains) for k in LANES])


def recovery():
    scene = Scene("two stages in each other's wake")

    def fall(t, s, body, rig, drawn, most):
        lines, airframe = canopy.drag_areas(t, rig)
        pressure = canopy.canopy_pressure(s, drawn)
        return (
            lines,
            airframe,
            canopy.next_change(t, rig.canopy, rig.deployed),
            canopy.opens(t, rig.canopy, rig.deployed),
            canopy.longest_fall_step(s, drawn, body, lines, airframe, rig.fore_x),
            canopy.note_pulls(t, pressure, rig, most),
            most,
        )

    own = [[100.0 + 0.01 * k for k in LANES], scene.states, [b[0] for b in scene.bodies], scene.rigs]
    together = fall(*(eight.pack(x, own=True) for x in own), scene.drawn, eight.pack([w.pull.copy() for w in scene.works], own=True))
    return compare(together, [fall(*(x[k] for x in own), scene.drawns[k], scene.works[k].pull.copy()) for k in LANES])


def gusty():
    pulse = {"east": 3.0, "north": 1.0, "up": 0.5, "start": 100.0, "length": 400.0}
    rise = {"east": 1.0, "north": 2.0, "start": 300.0, "length": 500.0, "rise": 1.0}
    world = gusts.world(turbulence=True, aloft=1.5, gusts=[pulse, rise])
    rng = np.random.default_rng(2)
    states, ways = rng.normal(size=(8, TURBULENCE_COLUMNS)), rng.normal(size=(8, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    heights, speeds, w20 = rng.uniform(0.0, 900.0, 8), [0.0, 1e-3, 10.0, 50.0, 100.0, 300.0, 500.0, 700.0], rng.uniform(1.0, 9.0, 8)

    def blown(state, w, height, speed, way, chance):
        turbulence.advance_gust(state, world, w, height, 0.3 * speed, speed, way, 0.01, np.int64(7), chance)
        turbulence.arrive(state)
        gust = np.empty((3, 3), dtype=state.dtype)
        turbulence.blow(gust, state, 0.0, 0.5)
        return state, gust

    chances = [Chance(np.uint64(3), np.uint64(k)) for k in LANES]
    own = [w20.tolist(), heights.tolist(), speeds, [Vec3(*w.tolist()) for w in ways]]
    together = blown(eight.pack([s.copy() for s in states], own=True), *(eight.pack(x) for x in own), eight.pack(chances))
    return compare(together, [blown(states[k].copy(), *(x[k] for x in own), chances[k]) for k in LANES])


def sensors_and_estimate():
    scene = Scene("two stages in each other's wake", seed=5)
    computer = scene.model.computer
    magnetometer = computer.sensors.magnetometer._replace(fitted=1, noise=0.01, field=Vec3(0.0, 0.8, -0.6))
    gnss = computer.sensors.gnss._replace(every=5, latency=3, position=2.0, velocity=0.3, specific_force_limit=60.0, speed_limit=500.0)
    sensors = computer.sensors._replace(ideal=0, magnetometer=magnetometer, gnss=gnss, gyro_lag=0.004)
    model = scene.model._replace(computer=computer._replace(sensors=sensors))
    chances = [Chance(np.uint64(9), np.uint64(k)) for k in LANES]
    forces = [Vec3(*v) for v in np.random.default_rng(6).normal(0.0, 40.0, (8, 3)).tolist()]

    def scratch(k):
        work = make_work(model)._replace(air=np.zeros(0), trace=np.zeros(0))
        draw_constants(sensors, chances[k], work.constants)
        work.notice[Noticed.LIFTOFF] = -1.0 if k < 3 else 0.4
        work.estimate[:4] = scene.states[k].q
        work.estimate[:] += 0.01 * np.random.default_rng(k).normal(size=len(work.estimate))
        return work

    def ticks(s, force, chance, work):
        for tick in range(12):
            sense(0.01 * tick, np.int64(tick), np.int64(1), s, force, matrix_of(s.q), model, Quat(1.0, 0.0, 0.0, 0.0), chance, work)
        return work.sensed, work.estimate, work.history

    own = [scene.states, forces]
    together = ticks(*(eight.pack(x, own=True) for x in own), eight.pack(chances), eight.pack([scratch(k) for k in LANES], own=True))
    return compare(together, [ticks(*(x[k] for x in own), chances[k], scratch(k)) for k in LANES])


def steering(**head):
    """The built-in law and the mixer: fins live in some flights, saturated in some, on a schedule of three rows."""
    scene = Scene("four control fins", seed=8)
    rng = np.random.default_rng(4)
    gains = np.zeros(GAIN_HEAD + 6 * GAIN_ROW)
    gains[:GAIN_HEAD] = scene.model.computer.gains[:GAIN_HEAD]
    options = {"OVER": 2.0, "ROWS": 3.0, "PRESSURE": 8000.0, "LOW": 0.2, "HIGH": 3.0, "INTEGRAL": 0.05, "FILTER": 0.02, "DEMAND_LIMIT": 0.2, "RATE_LIMIT": 1.0}
    for name, value in (options | head).items():
        gains[Gain[name]] = value
    for row in range(6):
        gains[GAIN_HEAD + row * GAIN_ROW :][:GAIN_ROW] = rng.uniform(0.1, 0.6, GAIN_ROW)
        gains[GAIN_HEAD + row * GAIN_ROW + GainRow.VALUE] = 0.4 * (row % 3)

    def own_gains(k):
        out = gains.copy()
        drawn_gains(gains, scene.draws[k], out)
        return out

    sensed = rng.normal(size=(8, len(Sensed)))
    sensed[:, [Sensed.MACH, Sensed.DYNAMIC_PRESSURE]] = np.column_stack([np.linspace(-0.1, 1.1, 8), np.geomspace(1e-3, 1e5, 8)])
    sensed[:, Sensed.ENABLED], sensed[:, Sensed.SATURATED] = np.arange(8) % 3 > 0, np.arange(8) % 2
    sensed[:, Sensed.BOOSTER], sensed[:, Sensed.PERIOD] = 1.0, 0.01
    memory = 0.03 * rng.normal(size=(8, MEMORY_SIZE))
    mixer = scene.model.computer.mixer

    def steered(sensed, memory, gains):
        kind = sensed.dtype
        command, fins = np.array([0.0] * DEMAND_SIZE, dtype=kind), np.empty(len(mixer), dtype=kind)
        control.built_in_control(0.0, sensed, memory, gains, command)
        cut = control.mix(command, mixer, 0.15, int(head.get("ROWS", 0.0)) % 2, fins)
        return command[:3], memory, fins, cut

    own = [list(sensed), [m.copy() for m in memory], [own_gains(k) for k in LANES]]
    together = steered(*(eight.pack(x, own=True) for x in own))
    return compare(together, [steered(sensed[k], memory[k].copy(), own_gains(k)) for k in LANES])


def observers():
    scene = Scene("four control fins", seed=11)
    rng = np.random.default_rng(12)
    n = scene.works[0].fins.shape[1]
    noise = rng.normal(size=(8, len(Sensed)))
    tallies = rng.uniform(0.0, 2.0, (8, TALLY_COLUMNS))
    forces = [Vec3(*v) for v in rng.normal(0.0, 40.0, (8, 3)).tolist()]
    climbing = [k % 4 != 3 for k in LANES]

    def scratch(k):
        work = make_work(scene.model)._replace(air=np.zeros(0), trace=np.zeros(0))
        work.sensed[:], work.tally[:] = noise[k], tallies[k]
        work.fins[:] = scene.works[k].fins
        work.motors[MotorRow.RATE_END] = np.linspace(-9.0, 9.0, n) * (k + 1) / 8.0
        work.hinge[:], work.switches[Switch.FINS] = noise[k][:n], k % 3 > 0
        return work

    def watched(s, body, force, up, drawn, work, summary):
        load = loads.loads(s, body, drawn, work.fins, FinRow.START, work.seen)
        for tick in range(3):
            watch(summary, FREE, up, 0.01 * tick, s, body, drawn, load, force, Quat(1.0, 0.0, 0.0, 0.0), 0.7, np.zeros((0, 0)), work)
            watch_servos(work, drawn.servo, 0.005)
        return summary, work.tally

    own = [scene.states, [b[0] for b in scene.bodies], forces, climbing]
    packed = [eight.pack(x, own=True) for x in own]
    summaries = [np.zeros_like(make_summary()) for _ in LANES]
    together = watched(*packed, scene.drawn, eight.pack([scratch(k) for k in LANES], own=True), eight.pack([s.copy() for s in summaries], own=True))
    return compare(together, [watched(*(x[k] for x in own), scene.drawns[k], scratch(k), summaries[k]) for k in LANES])


def joint():
    """The push of a joint: of a stack's booster, which has stages ahead, in some flights none."""
    scene = Scene("two stages in each other's wake", seed=13)
    drawns = [d._replace(fore_mass=0.0 if k == 2 else d.fore_mass + k) for k, d in enumerate(scene.drawns)]
    forces = [Vec3(*v) for v in np.random.default_rng(14).normal(0.0, 40.0, (8, 3)).tolist()]

    def pushed(s, force, body, drawn, scratch):
        load = loads.loads(s, body, drawn, scratch[0], FinRow.START, scratch[1])
        return joint_force(scene.model.leg, drawn, load, force), incidence_of(load), tilt_of(load)

    bodies = [b[0] for b in scene.bodies]
    together = pushed(*(eight.pack(x, own=True) for x in (scene.states, forces, bodies)), packed_drawn(drawns), eight.pack(scene.scratch(), own=True))
    return compare(together, [pushed(scene.states[k], forces[k], bodies[k], drawns[k], scene.scratch()[k]) for k in LANES])


def margins(vehicle):
    scene = Scene(vehicle)
    mach = [0.0, 0.3, 0.8, 0.97, 1.1, 1.9, 2.4, 9.0]

    def judged(m, x, normal, drawn):
        cg = Station(x, 0.0, 0.0)
        return stability.static_margin(drawn, m, cg), stability.least_stable(drawn.aero, m, normal)

    own = [mach, [1.0 + 0.1 * k for k in LANES], [d.normal for d in scene.drawns]]
    together = judged(*(eight.pack(x) for x in own), scene.drawn)
    return compare(together, [judged(*(x[k] for x in own), scene.drawns[k]) for k in LANES])


SCENES = {
    **{f"step: {name}": (step_of, name) for name in VEHICLES},
    "step: under canopies": (step_of, "two stages in each other's wake", CANOPY),
    **{f"margin: {name}": (margins, name) for name in VEHICLES},
    "mass and thrust": (burning,),
    "recovery": (recovery,),
    "gusts": (gusty,),
    "sensors and estimate": (sensors_and_estimate,),
    "control: schedule and notch": (lambda: steering(NOTCH_C0=0.1, NOTCH_C1=-0.2, NOTCH_C2=0.1, NOTCH_A1=-0.5, NOTCH_A2=0.2),),
    "control: cascade": (lambda: steering(CASCADE=1.0, ROWS=1.0),),
    "control: derivative of the error": (lambda: steering(ON_ERROR=1.0, OVER=1.0, ROWS=2.0),),
    "observers": (observers,),
    "joint": (joint,),
}


def main(path):
    eight.teach()
    found = {}
    for name, (scene, *arguments) in SCENES.items():
        try:
            with np.errstate(all="ignore"):
                found[name] = scene(*arguments)
        except Exception:
            found[name] = traceback.format_exc()
    Path(path).write_text(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1])
