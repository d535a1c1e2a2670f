"""From tables of draws to what flights take: the arrays of FlightDraw. The names others import from this room's tables stand here too."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.core.draw import Draw
from sixdof.draws.drawn import path_names
from sixdof.draws.flight_draw import COMMON, OF_AIR, OF_CANOPY, OF_HARNESS, OF_JOINT, OF_STAGE, FlightDraw, stage_draw
from sixdof.draws.quantities import control_fin_count, known_item, nominal_air, nominal_value, things
from sixdof.draws.table import FAILED, draw_table, drawn_failures
from sixdof.mission.mission import Mission
from sixdof.mission.paths import PathItem
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.results.names import canopy_names
from sixdof.world.wind import wind_draw

__all__ = [
    "COLUMNS",
    "FIELDS",
    "control_fin_count",
    "draw_table",
    "drawn_failures",
    "kernel_draw",
    "nominal_draw",
    "nominal_value",
    "one_draw",
    "pack_draws",
    "things",
]
# dispersible name -> group of FlightDraw and field in it; the mean wind, which is not one number for one number, is packed apart
FIELDS = {
    "air.temperature": ("common", "temperature"),
    "air.pressure": ("common", "pressure"),
    "rail.elevation": ("common", "elevation"),
    "rail.azimuth": ("common", "azimuth"),
    "servo.speed": ("common", "servo_speed"),
    "servo.rate_limit": ("common", "servo_rate"),
    "gain.pitch": ("common", "gain_pitch"),
    "gain.yaw": ("common", "gain_yaw"),
    "gain.roll": ("common", "gain_roll"),
    "motor.impulse": ("stage", "impulse"),
    "motor.burn_time": ("stage", "burn_time"),
    "motor.tilt_y": ("stage", "tilt_y"),
    "motor.tilt_z": ("stage", "tilt_z"),
    "motor.offset_y": ("stage", "offset_y"),
    "motor.offset_z": ("stage", "offset_z"),
    "vehicle.mass": ("stage", "mass"),
    "vehicle.cg": ("stage", "cg_x"),
    "vehicle.cg_y": ("stage", "cg_y"),
    "vehicle.cg_z": ("stage", "cg_z"),
    "vehicle.inertia": ("stage", "inertia"),
    "aero.drag": ("stage", "drag"),
    "aero.normal_force": ("stage", "normal_force"),
    "aero.damping": ("stage", "damping"),
    "aero.control_force": ("stage", "control_force"),
    "aero.cp": ("stage", "cp"),
    "aero.fin_cant": ("stage", "cant"),
    "ignition.delay": ("stage", "ignition_delay"),
    "joint.impulse": ("joint", "impulse"),
    "joint.delay": ("joint", "delay"),
    "joint.tilt_y": ("joint", "tilt_y"),
    "joint.tilt_z": ("joint", "tilt_z"),
    "canopy.drag": ("canopy", "drag"),
    "canopy.delay": ("canopy", "delay"),
    "canopy.fill_time": ("canopy", "fill_time"),
    "wind.member": ("air", "member"),
    "turbulence.wind_at_20_ft": ("air", "wind_at_20_ft"),
    "harness.strength": ("harness", "strength"),
    "harness.stiffness": ("harness", "stiffness"),
    "harness.tumbling_drag": ("harness", "tumbling_drag"),
    "harness.impulse": ("harness", "impulse"),
    "vehicle.hanging_drag": ("stage", "hanging_drag"),
    "rule.delay": ("rule", None),
    "servo.centring": ("centring", None),
}
COLUMNS = {"common": COMMON, "stage": OF_STAGE, "joint": OF_JOINT, "canopy": OF_CANOPY, "harness": OF_HARNESS, "air": OF_AIR}


def pack_draws(mission: Mission, table: xr.Dataset) -> FlightDraw:
    """Return a table of draws in the form the flights take: the arrays of FlightDraw with flights in front.

    The table's attribute `seed` and its coordinate `flight` choose the random numbers of sensors in flight. What the table leaves
    out is nominal; without `failure_drawn` the failures that are certain happen.
    """
    count = table.sizes["flight"]
    packed = FlightDraw(*(np.repeat(a[None], count, axis=0) for a in nominal_draw(mission)))
    paths = path_names(mission)
    for name in table.data_vars:
        if name == FAILED:
            packed.failure[:, : len(mission.failure)] = table[name].values
            continue
        item = known_item(mission, name)
        if isinstance(item, PathItem):
            packed.path[:, paths.index(name)] = table[name].values
        elif name in FIELDS:
            group, column = FIELDS[name]
            target = getattr(packed, group)
            if column is not None:
                target = target[..., COLUMNS[group].index(column)]
            if group == "joint":
                target = target[:, 1:]  # the front stage has none
            values = table[name].values.reshape(target.shape)
            target[...] = {"factor": target * values, "offset": target + values, "value": values}[item.role]
    winds = {"speed": "wind.speed", "blows_from": "wind.blows_from", "factor": "wind.factor", "turn": "wind.turn"}
    wind = wind_draw(mission, **{argument: table[name].values for argument, name in winds.items() if name in table})
    seed = int(table.attrs.get("seed", 0))
    known = dict(zip(("wind_scale", "wind_cos", "wind_sin"), wind))
    known |= {"seed_high": seed >> 32, "seed_low": seed & 0xFFFFFFFF, "flight": table["flight"].values}
    for field, values in known.items():
        packed.common[:, COMMON.index(field)] = values
    return packed


def one_draw(packed: FlightDraw, i: int) -> FlightDraw:
    """Return row i of packed draws."""
    return FlightDraw(*(a[i] for a in packed))


def nominal_draw(mission: Mission) -> FlightDraw:
    """Return the draw that flies the mission as it is written; failures that are certain happen."""
    common = dict.fromkeys(COMMON, 0.0)
    for name, (group, field) in FIELDS.items():
        if group == "common":
            common[field] = DISPERSIBLE[name].neutral
    common |= {"elevation": mission.rail.elevation, "azimuth": mission.rail.azimuth}
    common |= dict(zip(("wind_scale", "wind_cos", "wind_sin"), wind_draw(mission)))
    counts = {"stage": len(mission.stage), "joint": len(mission.stage), "canopy": len(canopy_names(mission)), "harness": len(mission.harness)}
    groups = {}
    for group, count in counts.items():
        neutral = {field: DISPERSIBLE[name].neutral for name, (owner, field) in FIELDS.items() if owner == group}
        groups[group] = np.tile([neutral[field] for field in COLUMNS[group]], (count, 1))
    certain = [float(failure.probability >= 1.0) for failure in mission.failure]
    return FlightDraw(
        common=np.array([common[field] for field in COMMON], dtype=float),
        **groups,
        rule=np.zeros(len(mission.rule)),
        failure=np.array(certain),
        centring=np.zeros(control_fin_count(mission)),
        air=np.array(nominal_air(mission)),
        path=np.array([nominal_value(mission, known_item(mission, name)) for name in path_names(mission)], dtype=float),
    )


def kernel_draw(mission: Mission, draw: FlightDraw | None = None) -> Draw:
    """Return what one call of the kernel takes for the whole vehicle: the draw of its last stage (None: the nominal flight's)."""
    draw = nominal_draw(mission) if draw is None else draw
    return stage_draw(draw, len(mission.stage) - 1, control_fin_count(mission))
