"""The table of draws: which flight flies with which numbers. Row i depends on nothing but (seed, i).

Every dispersible name has a random stream of its own, made from the name. Adding or removing one dispersed quantity
leaves the draws of all others as they were, and any block of flights can be drawn alone.
"""

from __future__ import annotations

import operator
import zlib
from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.special import ndtri

from sixdof.core.draw import Draw
from sixdof.core.random import fill_uniform
from sixdof.legs import COMMON, OF_AIR, OF_CANOPY, OF_JOINT, OF_STAGE, FlightDraw, canopy_names, joint_names, rule_names, stage_draw
from sixdof.mission.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.schema import Fins, Mission, Spread
from sixdof.world.build import turbulence_table
from sixdof.world.wind import wind_draw

FIRST_STREAM = 1 << 31  # streams below are those of the kernels
SEEDS, FLIGHTS = 1 << 64, 1 << 32  # how many of each the generator tells apart
FARTHEST = 8.5  # standard deviations: no draw lies beyond (the smallest uniform is 2^-53), so a cut there cuts nothing

# dispersible name -> group of FlightDraw and field in it; the mean wind, which is not one number for one number, is packed apart
FIELDS = {
    "air.temperature": ("common", "temperature"), "air.pressure": ("common", "pressure"),
    "rail.elevation": ("common", "elevation"), "rail.azimuth": ("common", "azimuth"),
    "servo.speed": ("common", "servo_speed"), "servo.rate_limit": ("common", "servo_rate"),
    "gain.pitch": ("common", "gain_pitch"), "gain.yaw": ("common", "gain_yaw"), "gain.roll": ("common", "gain_roll"),
    "motor.impulse": ("stage", "impulse"), "motor.burn_time": ("stage", "burn_time"),
    "motor.tilt_y": ("stage", "tilt_y"), "motor.tilt_z": ("stage", "tilt_z"),
    "motor.offset_y": ("stage", "offset_y"), "motor.offset_z": ("stage", "offset_z"),
    "vehicle.mass": ("stage", "mass"), "vehicle.cg": ("stage", "cg_x"), "vehicle.cg_y": ("stage", "cg_y"),
    "vehicle.cg_z": ("stage", "cg_z"), "vehicle.inertia": ("stage", "inertia"),
    "aero.drag": ("stage", "drag"), "aero.normal_force": ("stage", "normal_force"), "aero.cp": ("stage", "cp"),
    "aero.fin_cant": ("stage", "cant"), "ignition.delay": ("stage", "ignition_delay"),
    "joint.impulse": ("joint", "impulse"), "joint.delay": ("joint", "delay"),
    "joint.tilt_y": ("joint", "tilt_y"), "joint.tilt_z": ("joint", "tilt_z"),
    "canopy.drag": ("canopy", "drag"), "canopy.delay": ("canopy", "delay"), "canopy.fill_time": ("canopy", "fill_time"),
    "wind.member": ("air", "member"), "turbulence.wind_at_20_ft": ("air", "wind_at_20_ft"),
    "cord.strength": ("cord", None), "rule.delay": ("rule", None), "servo.centring": ("centring", None),
}  # fmt: skip
COLUMNS = {"common": COMMON, "stage": OF_STAGE, "joint": OF_JOINT, "canopy": OF_CANOPY, "air": OF_AIR}


def stream_of(name: str) -> int:
    """Return the random stream of a dispersible name: fixed for good, whatever else exists."""
    return FIRST_STREAM | (zlib.crc32(name.encode()) & (FIRST_STREAM - 1))


def control_fins(mission: Mission) -> int:
    """Return how many fins of the mission have an actuator."""
    return sum(p.count for stage in mission.stage for p in stage.part if isinstance(p, Fins) and p.control)


def uniforms(seed: int, first: int, count: int, columns: Sequence[tuple[str, int]]) -> np.ndarray:
    """Return uniforms on (0, 1), shape (count, columns), of the flights first, first + 1, ...

    columns : (dispersible name, index) each; the index tells apart the draws of one name, such as one a fin. Raises
    ValueError for a seed outside 0..2^64-1 or flights outside 0..2^32-1.
    """
    seed, first, count = operator.index(seed), operator.index(first), operator.index(count)
    if not 0 <= seed < SEEDS:
        raise ValueError(f"seed = {seed} must be a whole number from 0 to {SEEDS - 1}")
    if first < 0 or count < 0 or first + count > FLIGHTS:
        raise ValueError(f"flights {first} to {first + count - 1} must lie within 0 to {FLIGHTS - 1}")
    out = np.empty((count, len(columns)))
    streams = np.array([stream_of(name) for name, _ in columns], dtype=np.uint64)
    indices = np.array([index for _, index in columns], dtype=np.uint64)
    fill_uniform(np.uint64(seed), np.uint64(first), streams, indices, out)
    return out


def quantile(spread: Spread, u, nominal: float, least: float | None = None) -> np.ndarray:
    """Return the value below which a share `u` (array, 0..1 exclusive) of a spread's draws lie.

    spread : as a loaded mission holds it, its numbers complete, in order and in SI. nominal : the mean where the spread
    leaves it out. least : a normal spread is cut there, renormalised as at its own `low`. Raises ValueError if a cut
    leaves nothing.
    """
    u = np.asarray(u, dtype=float)
    mean = nominal if spread.mean is None else spread.mean
    if spread.kind == "normal":
        return _normal(spread, u, mean, least)
    if spread.kind == "uniform":
        return spread.low + u * (spread.high - spread.low)
    if spread.kind == "triangular":
        return _triangular(spread.low, spread.mode, spread.high, u)
    return np.full(u.shape, mean)


def _normal(spread: Spread, u: np.ndarray, mean: float, least: float | None) -> np.ndarray:
    low = -np.inf if spread.low is None else spread.low
    low = low if least is None else max(low, least)
    high = np.inf if spread.high is None else spread.high
    if not low < high:
        raise ValueError(f"no draw lies above {low:g} and below high = {high:g}; raise high")
    if spread.sd == 0.0:
        return np.full(u.shape, np.clip(mean, low, high))
    a, b = (low - mean) / spread.sd, (high - mean) / spread.sd
    if a < -FARTHEST and b > FARTHEST:
        return mean + spread.sd * ndtri(u)
    from scipy.stats import truncnorm  # half a second to import, and most flights need no cut

    return np.clip(mean + spread.sd * truncnorm.ppf(u, a, b), low, high)  # clip: rounding may step over a cut


def _triangular(low: float, mode: float, high: float, u: np.ndarray) -> np.ndarray:
    rising = low + np.sqrt(u * (high - low) * (mode - low))
    falling = high - np.sqrt((1.0 - u) * (high - low) * (high - mode))
    return np.where(u * (high - low) < mode - low, rising, falling)


def _drawn(spread: Spread, u: np.ndarray, nominal: float, item: Dispersible) -> np.ndarray:
    """Return the draws of an item; whole numbers of a uniform spread each have the same share of (0, 1)."""
    if item.whole and spread.kind == "uniform":
        return np.minimum(spread.low + np.floor(u * (spread.high - spread.low + 1.0)), spread.high)  # minimum: rounding
    return quantile(spread, u, nominal, item.least)


def things(mission: Mission, each: str) -> list:
    """Return the names of what a dispersible is drawn for one by one: stages, joints, rules, cords, canopies, control fins."""
    if each == "fin":
        return list(range(1, control_fins(mission) + 1))
    return {
        "": [""],
        "stage": [stage.name for stage in mission.stage],
        "joint": joint_names(mission),
        "rule": rule_names(mission)[: len(mission.rule)],
        "cord": [cord.canopy for cord in mission.cord],
        "canopy": canopy_names(mission),
    }[each]


def draw_table(mission: Mission, seed: int, first: int, count: int) -> xr.Dataset:
    """Return the draws of flights first .. first + count - 1: one variable for each entry of `mission.disperse`.

    Dims: flight (coordinate: the flight's number), and what the quantity is drawn for one by one (stage, joint, rule, cord,
    canopy, fin), where there are more of them than one. Values are SI or rad; a "factor" multiplies the mission's quantity, an
    "offset" is added, a "value" replaces it. Raises ValueError for a name that cannot be dispersed and for a spread that cannot
    be drawn.
    """
    variables = {}
    coords = {"flight": ("flight", np.arange(first, first + count), {"long_name": "number of the flight"})}
    for name, spread in mission.disperse.items():
        item = _item(name)
        names = things(mission, item.each)
        u = uniforms(seed, first, count, [(name, k) for k in range(len(names))])
        try:
            values = _drawn(spread, u, nominal_value(mission, item), item)
        except ValueError as error:
            raise ValueError(f'disperse."{name}": {error}') from None
        dims = ("flight", item.each)
        if item.each == "fin" or len(names) != 1:
            coords[item.each] = (item.each, names, {"long_name": _CALLED[item.each]})
        else:
            dims, values = dims[:1], values[:, 0]
        variables[name] = (dims, values, {"units": item.unit, "long_name": item.doc, "role": item.role})
    happened = failure_table(mission, seed, first, count)
    if mission.failure:
        coords["failure"] = ("failure", [f.name for f in mission.failure], {"long_name": "what may go wrong"})
        variables["failure_drawn"] = (("flight", "failure"), happened, {"units": "1", "long_name": "1 where it was drawn to happen"})
    return xr.Dataset(variables, coords, {"seed": str(operator.index(seed))})


_CALLED = {
    "stage": "stage", "joint": "joint, by the stage behind it", "rule": "event rule", "cord": "cord, by its canopy", "canopy": "canopy",
    "fin": "number of the control fin",
}  # fmt: skip


def failure_table(mission: Mission, seed: int, first: int, count: int) -> np.ndarray:
    """Return which of the mission's failures happen in each flight, int8 (count, failures): a draw of its own for each."""
    names = [(f"failure {failure.name}", 0) for failure in mission.failure]
    u = uniforms(seed, first, count, names)
    return (u < np.array([failure.probability for failure in mission.failure])).astype(np.int8)


def _item(name: str) -> Dispersible:
    if name not in DISPERSIBLE:
        raise ValueError(f'disperse."{name}" cannot be dispersed; use one of {", ".join(DISPERSIBLE)}')
    return DISPERSIBLE[name]


def nominal_value(mission: Mission, item: Dispersible) -> float:
    """Return the draw that changes nothing: the mission's own value, 1 for a factor, 0 for an offset."""
    own = {"wind.speed": mission.air.wind.speed, "wind.blows_from": mission.air.wind.blows_from}
    own |= dict(zip(("wind.member", "turbulence.wind_at_20_ft"), _nominal_air(mission)))
    return own[item.name] if item.role == "value" else item.neutral


def pack_draws(mission: Mission, table: xr.Dataset) -> FlightDraw:
    """Return a table of draws in the form the flights take: the arrays of FlightDraw with flights in front.

    The table's attribute `seed` and its coordinate `flight` choose the random numbers of sensors in flight. What the table leaves
    out is nominal; without `failure_drawn` the failures that are certain happen.
    """
    count = table.sizes["flight"]
    packed = FlightDraw(*(np.repeat(a[None], count, axis=0) for a in nominal_draw(mission)))
    for name in table.data_vars:
        if name == "failure_drawn":
            packed.failure[:, : len(mission.failure)] = table[name].values
            continue
        item = _item(name)
        if name in FIELDS:
            group, column = FIELDS[name]
            target = getattr(packed, group)
            if column is not None:
                target = target[..., COLUMNS[group].index(column)]
            if group == "joint":
                target = target[:, 1:]  # the front stage has none
            values = table[name].values.reshape(target.shape)
            target[...] = {"factor": target * values, "offset": target + values, "value": values}[item.role]
    speed, blows_from = (table[name].values if name in table else None for name in ("wind.speed", "wind.blows_from"))
    seed = int(table.attrs.get("seed", 0))
    known = dict(zip(("wind_scale", "wind_cos", "wind_sin"), wind_draw(mission, speed, blows_from)))
    known |= {"seed_high": seed >> 32, "seed_low": seed & 0xFFFFFFFF, "flight": table["flight"].values}
    for field, values in known.items():
        packed.common[:, COMMON.index(field)] = values
    return packed


def _nominal_air(mission: Mission) -> tuple[float, float]:
    return 0.0, turbulence_table(mission).w20


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
    counts = {"stage": len(mission.stage), "joint": len(mission.stage), "canopy": len(canopy_names(mission))}
    groups = {}
    for group, count in counts.items():
        neutral = {field: DISPERSIBLE[name].neutral for name, (owner, field) in FIELDS.items() if owner == group}
        groups[group] = np.tile([neutral[field] for field in COLUMNS[group]], (count, 1))
    certain = [float(failure.probability >= 1.0) for failure in mission.failure]
    return FlightDraw(
        common=np.array([common[field] for field in COMMON], dtype=float), **groups, cord=np.ones(len(mission.cord)),
        rule=np.zeros(len(mission.rule)), failure=np.array(certain), centring=np.zeros(control_fins(mission)),
        air=np.array(_nominal_air(mission)),
    )  # fmt: skip


def kernel_draw(mission: Mission, draw: FlightDraw | None = None) -> Draw:
    """Return what one call of the kernel takes for the whole vehicle: the draw of its last stage (None: the nominal flight's)."""
    draw = nominal_draw(mission) if draw is None else draw
    return stage_draw(draw, len(mission.stage) - 1, control_fins(mission))
