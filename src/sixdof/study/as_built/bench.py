"""What the readings of a stage start from, and how its quantities follow: statics of two scales, swings, rolling, fins, thrust line."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Stage
from sixdof.mission.units import shown
from sixdof.study.as_built.propagation import DRAWS, Input, Propagated, mean_of, propagate, unexplained
from sixdof.study.as_built.swings import amplitude_factor, bifilar, compound, string_factor, trifilar
from sixdof.study.as_built.tables import Bifilar, Compound, FinAngles, Readings, Scales, StageReadings, Trifilar
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import full_grain
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import combine, cylinder
from sixdof.world.gravity import normal_gravity

AXES = ("roll", "pitch", "yaw")
TILTS = ("tilt_y", "tilt_z")
GRAVITY = "gravity at the bench"
At = Mapping[str, Any]


class Extra(NamedTuple):
    """Something to take off: names of the inputs for its mass (kg) and station (m), its place off the axis (m), and its own inertia over its mass (m^2)."""

    mass: str
    station: str
    y: float
    z: float
    radii: tuple[float, float, float]


class Bench(NamedTuple):
    """The measurement of one stage. inputs : all numbers it starts from. extras : what was aboard, by measurement. remarks : scatter beyond what was stated."""

    stage: StageReadings
    inputs: dict[str, Input]
    extras: dict[str, tuple[Extra, ...]]
    sets: list[Fins]
    remarks: list[str]

    def swings(self, at: At) -> dict[str, Any]:
        """Return the moment of inertia of each swing by itself, of the stage about its own centre of mass."""
        mass, cg = self.balance(at)
        return {swing_name(k, one): self._inertia(k, one, at, mass, cg) for k, one in enumerate(self.stage.swing)}

    def balance(self, at: At) -> tuple[Any, Any]:
        """Return mass (kg) and station of the centre of mass (m) of the stage: moments about the fore end, what was aboard taken off."""
        loads = [at[f"{end} scale"] * (1.0 + at[calibration(self.stage.scales, end)]) for end in ("fore", "aft")]
        tares = [at[f"{end} tare"] * (1.0 + at[calibration(self.stage.scales, end)]) for end in ("fore", "aft")]
        fore, aft = loads[0] - tares[0], loads[1] - tares[1]
        mass, moment = fore + aft, fore * at["fore support"] + aft * at["aft support"]
        for one in self.extras["scales"]:
            mass, moment = mass - at[one.mass], moment - at[one.mass] * at[one.station]
        return mass, moment / mass

    def _inertia(self, k: int, swing, at: At, mass, cg):
        """Return what the k-th swing says: that of all that swung, less what was aboard, moved to the stage's own centre of mass."""
        extras, axis = self.extras[f"swing {k + 1}"], AXES.index(swing.about)
        whole = mass + sum(at[one.mass] for one in extras)
        middle = (mass * cg + sum(at[one.mass] * at[one.station] for one in extras)) / whole
        inertia = _swung(swing, f"swing {k + 1}", at, whole, middle)
        for one in extras:
            across = (one.y**2 + one.z**2, one.z**2, one.y**2)[axis]
            along = 0.0 if swing.about == "roll" else (at[one.station] - middle) ** 2
            inertia = inertia - at[one.mass] * (one.radii[axis] + across + along)
        return inertia if swing.about == "roll" else inertia - mass * (cg - middle) ** 2

    def solve(self, weights: Mapping[str, float]):
        """Return the function from inputs to all quantities of the stage. weights : of each swing among those about the same axis."""

        def results(at: At) -> dict[str, Any]:
            found: dict[str, Any] = {}
            if self.stage.scales is not None:
                found["mass"], found["cg"] = self.balance(at)
            if self.stage.rolling is not None:
                off = at["trim mass"] * at["trim radius"] / found["mass"]
                found["cg_y"], found["cg_z"] = -off * np.sin(at["heavy side"]), off * np.cos(at["heavy side"])
            alone = self.swings(at) if self.stage.swing else {}
            for axis in AXES:
                own = [swing_name(k, one) for k, one in enumerate(self.stage.swing) if one.about == axis]
                if own:
                    found[f"inertia_{axis}"] = sum(weights[name] * alone[name] for name in own)
            for part in self.sets:
                panels = [at[_panel(part, j)] for j in range(part.count)]
                found[cant_name(part)] = sum(panels) / part.count + at[f"zero of the fin gauge, {set_name(part)}"]
            found |= {axis: at[mount_angle(axis)] for axis in TILTS if mount_angle(axis) in at}
            return found

        return results


def measured_stage(mission: Mission, readings: Readings, stage: StageReadings, draws: int = DRAWS) -> tuple[Bench, Propagated, Propagated | None]:
    """Return the measurement of a stage, its quantities with errors, and each swing by itself (None where nothing swung). draws : see `propagate`."""
    bench = bench_of(mission, readings, stage)
    alone = propagate(bench.swings, bench.inputs, draws=2) if stage.swing else None
    weights: dict[str, float] = {}
    for axis in AXES if alone is not None else ():
        own = [k for k, one in enumerate(stage.swing) if one.about == axis]
        worth = 1.0 / np.maximum(np.diag(alone.covariance)[own], 1e-300)
        weights |= {alone.names[k]: float(share) for k, share in zip(own, worth / worth.sum())} if own else {}
    return bench, propagate(bench.solve(weights), bench.inputs, draws), alone


# ---------------------------------------------------------------- one swing


def _swung(swing: Bifilar | Trifilar | Compound, name: str, at: At, mass, cg):
    """Return the moment of inertia of all that swung, about its own centre of mass."""
    gravity, period, amplitude = at[GRAVITY], at[f"period, {name}"], at[f"amplitude, {name}"]
    if isinstance(swing, Compound):
        return compound(mass, gravity, np.abs(cg - at[f"pivot, {name}"]), period / amplitude_factor(amplitude))
    length = at[f"strings, {name}"]
    if isinstance(swing, Trifilar):
        radius, empty = at[f"radius, {name}"], at[f"empty period, {name}"]
        small, small_empty = (t / string_factor(amplitude, radius**2, length, gravity, t) for t in (period, empty))
        return trifilar(mass, gravity, radius, length, small, at[f"platform, {name}"], small_empty, at[f"offset, {name}"])
    if swing.about == "roll":
        arms = 0.25 * at[f"spacing, {name}"] ** 2
    else:
        arms = (cg - at[f"fore string, {name}"]) * (at[f"aft string, {name}"] - cg)
    return bifilar(mass, gravity, arms, length, period / string_factor(amplitude, arms, length, gravity, period))


def swing_name(k: int, swing) -> str:
    """Return what the k-th swing of a stage is called."""
    return f"swing {k + 1}: {swing.kind}, {swing.about}"


def calibration(scales: Scales, end: str) -> str:
    """Return the name of the input for the calibration of the scale at an end: one of both where one scale was used in turn."""
    return "calibration of the scale" if scales.one_scale else f"calibration of the {end} scale"


def set_name(part: Fins) -> str:
    """Return what a set of fins is called."""
    return part.name or "fins"


def cant_name(part: Fins) -> str:
    """Return the name of the quantity for the mean angle of a set of fins."""
    return f"fin_cant of {set_name(part)}"


def mount_angle(axis: str) -> str:
    """Return the name of the input for the angle of the motor mount about an axis."""
    return f"motor mount, {axis.replace('_', ' about ')}"


def _panel(part: Fins, j: int) -> str:
    return f"{set_name(part)}, fin {j + 1}"


# ---------------------------------------------------------------- inputs


def bench_of(mission: Mission, readings: Readings, stage: StageReadings) -> Bench:
    """Return the measurement of a stage. Raises MissionError where the readings do not fit the mission."""
    number = stage_number(mission, stage)
    inputs: dict[str, Input] = {}
    remarks: list[str] = []
    extras = {"scales": ()} if stage.scales is None else {"scales": tuple(_extras(mission, number, stage, stage.scales, inputs))}
    if stage.scales is not None:
        inputs |= _of_scales(stage.scales, remarks)
    if stage.rolling is not None:
        one = stage.rolling
        inputs |= {"heavy side": Input(one.heavy_side, one.heavy_side_error), "trim mass": Input(one.trim_mass, one.trim_mass_error)}
        inputs |= {"trim radius": Input(one.trim_radius, one.trim_radius_error)}
    if stage.swing:
        inputs[GRAVITY] = Input(_gravity(mission, readings), readings.gravity_error)
    for k, swing in enumerate(stage.swing):
        extras[f"swing {k + 1}"] = tuple(_extras(mission, number, stage, swing, inputs))
        inputs |= _of_swing(swing, f"swing {k + 1}", remarks)
    sets = [_set_of(mission.stage[number], fins) for fins in stage.fins]
    for fins, part in zip(stage.fins, sets):
        inputs[f"zero of the fin gauge, {set_name(part)}"] = Input(0.0, fins.datum_error)
        inputs |= {_panel(part, j): _mean(panel, fins.error, 0.0, _panel(part, j), remarks, "deg") for j, panel in enumerate(fins.panels)}
    for axis in TILTS:
        angles = getattr(stage.thrust_line, axis, ())
        if angles:
            inputs[mount_angle(axis)] = _mean(angles, stage.thrust_line.error, 0.0, mount_angle(axis), remarks, "deg")
    bench = Bench(stage, inputs, extras, sets, remarks)
    _check_places(bench)
    return bench


def stage_number(mission: Mission, stage: StageReadings) -> int:
    """Return which stage of the mission readings are of. Raises MissionError where there is none of that name."""
    names = [one.name for one in mission.stage]
    if stage.name not in names:
        hint = f"stages: {', '.join(names)}"
        raise MissionError([Fault("", "stage.name", stage.name, f"the mission has no stage {shown(stage.name)}", hint, "readings, key stage.name")])
    return names.index(stage.name)


def _gravity(mission: Mission, readings: Readings) -> float:
    return float(normal_gravity(mission.site.latitude, mission.site.altitude)) if readings.gravity is None else readings.gravity


def _mean(readings: Sequence[float], stated: float, step: float, name: str, remarks: list[str], unit: str) -> Input:
    """Return the mean of readings, and remark on a scatter that is more than was stated."""
    scatter = unexplained(readings, stated, step)
    if scatter is not None:
        size = {"g": 1e3, "deg": 180.0 / math.pi, "s": 1.0}[unit]
        told = math.hypot(stated, step / math.sqrt(12.0))
        remarks.append(f"readings of {name} scatter by {size * scatter:.2g} {unit}, more than the {size * told:.2g} {unit} stated: their own scatter was taken")
    return mean_of(readings, stated, step)


def _of_scales(scales: Scales, remarks: list[str]) -> dict[str, Input]:
    found = {"fore support": Input(scales.fore_support, scales.support_error), "aft support": Input(scales.aft_support, scales.support_error)}
    for end in ("fore", "aft"):
        found[f"{end} scale"] = _mean(getattr(scales, end), scales.error, scales.resolution, f"the {end} scale", remarks, "g")
        tare = getattr(scales, f"{end}_tare")
        found[f"{end} tare"] = Input(tare, scales.resolution / math.sqrt(12.0) if tare else 0.0)
        found[calibration(scales, end)] = Input(0.0, scales.calibration)
    return found


def _of_swing(swing, name: str, remarks: list[str]) -> dict[str, Input]:
    def period(times: Sequence[float], what: str) -> Input:
        mean = _mean(times, swing.time_error, 0.0, what, remarks, "s")
        return Input(mean.value / swing.swings, mean.sd / swing.swings)

    found = {f"period, {name}": period(swing.times, f"the time of {name}"), f"amplitude, {name}": Input(swing.amplitude, swing.amplitude_error)}
    if isinstance(swing, Compound):
        return found | {f"pivot, {name}": Input(swing.pivot, swing.pivot_error)}
    found[f"strings, {name}"] = Input(swing.length, swing.length_error)
    if isinstance(swing, Trifilar):
        found[f"empty period, {name}"] = period(swing.platform_times, f"the time of the empty platform, {name}")
        found[f"radius, {name}"] = Input(swing.radius, swing.radius_error)
        found[f"platform, {name}"] = Input(swing.platform_mass, swing.platform_mass_error)
        return found | {f"offset, {name}": Input(swing.offset, swing.offset_error)}
    if swing.about == "roll":
        return found | {f"spacing, {name}": Input(swing.spacing, swing.spacing_error)}
    ends = ("fore_string", "aft_string")
    return found | {f"{end.replace('_', ' ')}, {name}": Input(getattr(swing, end), swing.string_error) for end in ends}


def _extras(mission: Mission, number: int, stage: StageReadings, measurement, inputs: dict[str, Input]) -> Iterator[Extra]:
    """Yield what was aboard at a measurement, its inputs noted: motors of the mission, and what the readings name."""
    motors = placed_motors(mission, [number], shape_of([mission.stage[number]]))[0] if measurement.motors != "out" else []
    for k, placed in enumerate(motors):
        lump = case_lump(placed) if measurement.motors == "cases" else combine([case_lump(placed), full_grain(placed)])
        what = f"{'case' if measurement.motors == 'cases' else 'motor'} {k + 1} ({placed.name})"
        inputs[f"mass of {what}"] = Input(float(lump.mass), stage.motor_error)
        inputs[f"station of {what}"] = Input(float(lump.place[0]), 0.0)
        yield Extra(f"mass of {what}", f"station of {what}", float(lump.place[1]), float(lump.place[2]), tuple(np.diag(lump.inertia) / lump.mass))
    for one in (one for one in stage.aboard if one.name in measurement.aboard):
        inputs[f"mass of {one.name}"] = Input(one.mass, one.mass_error)
        inputs[f"station of {one.name}"] = Input(one.middle, one.middle_error)
        roll, transverse = cylinder(1.0, one.length, 0.5 * one.diameter)
        yield Extra(f"mass of {one.name}", f"station of {one.name}", 0.0, 0.0, (roll, transverse, transverse))


def _set_of(stage: Stage, fins: FinAngles) -> Fins:
    """Return the set of fins that angles were measured of. Raises MissionError where the stage has no such set, or not as many fins."""
    sets = [part for part in stage.part if isinstance(part, Fins)]
    own = [part for part in sets if part.name == fins.name] if fins.name else sets
    place = f'readings, stage "{stage.name}", fins'
    if len(own) != 1:
        hint = f"sets of fins: {', '.join(set_name(part) for part in sets) or 'none'}"
        what = f"there is no set {shown(fins.name)}" if fins.name else f"the stage has {len(sets)} sets of fins and no name says which"
        raise MissionError([Fault("", "fins.name", fins.name, what, hint, place)])
    if len(fins.panels) != own[0].count:
        what = f"there are readings of {len(fins.panels)} panels, and {set_name(own[0])} has {own[0].count}"
        raise MissionError([Fault("", "fins.panels", None, what, "write a list of readings for each fin, fin 1 first", place)])
    return own[0]


def _check_places(bench: Bench) -> None:
    """Raise MissionError for strings that do not hold the centre of mass between them, a pivot in it, and more aboard than was weighed."""
    at = {name: one.value for name, one in bench.inputs.items()}
    if bench.stage.scales is None:
        return
    mass, cg = bench.balance(at)
    place = f'readings, stage "{bench.stage.name}"'
    if not mass > 0.0:
        raise MissionError([Fault("", "scales", mass, "what was aboard weighs more than the scales show", "check masses, tares and what was aboard", place)])
    found = bench.swings(at) if bench.stage.swing else {}
    for name, inertia in found.items():
        if not inertia > 0.0:
            hint = "check period, strings or pivot, and that the centre of mass lies between the strings"
            what = f"{name}: its moment of inertia comes out as {inertia:.3g} kg m^2 (centre of mass at {cg:.3f} m)"
            raise MissionError([Fault("", "swing", float(inertia), what, hint, place)])
