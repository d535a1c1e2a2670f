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

from sixdof.core.draw import DRAW_COLUMNS, DRAW_SCALARS, Draw
from sixdof.core.random import fill_uniform
from sixdof.mission.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.schema import Fins, Mission, Spread
from sixdof.world.wind import wind_draw

FIRST_STREAM = 1 << 31  # streams below are those of the kernels
SEEDS, FLIGHTS = 1 << 64, 1 << 32  # how many of each the generator tells apart
FARTHEST = 8.5  # standard deviations: no draw lies beyond (the smallest uniform is 2^-53), so a cut there cuts nothing

# dispersible name -> field of Draw; wind and centring, which are not one number for one number, are packed apart
FIELDS = {
    "air.temperature": "temperature", "air.pressure": "pressure",
    "motor.impulse": "impulse", "motor.burn_time": "burn_time", "motor.tilt_y": "tilt_y", "motor.tilt_z": "tilt_z",
    "motor.offset_y": "offset_y", "motor.offset_z": "offset_z",
    "vehicle.mass": "mass", "vehicle.cg": "cg_x", "vehicle.cg_y": "cg_y", "vehicle.cg_z": "cg_z",
    "vehicle.inertia": "inertia", "aero.drag": "drag", "aero.normal_force": "normal_force", "aero.cp": "cp",
    "aero.fin_cant": "cant", "rail.elevation": "elevation", "rail.azimuth": "azimuth",
    "servo.speed": "servo_speed", "servo.rate_limit": "servo_rate",
    "gain.pitch": "gain_pitch", "gain.yaw": "gain_yaw", "gain.roll": "gain_roll",
    "canopy.drag": "canopy_drag", "canopy.delay": "canopy_delay",
}  # fmt: skip


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


def draw_table(mission: Mission, seed: int, first: int, count: int) -> xr.Dataset:
    """Return the draws of flights first .. first + count - 1: one variable for each entry of `mission.disperse`.

    Dims: flight (coordinate: the flight's number), and fin (1..n, the control fins) for servo.centring alone. Values
    are SI or rad; a "factor" multiplies the mission's quantity, an "offset" is added, a "value" replaces it. Raises
    ValueError for a name that cannot be dispersed and for a spread that cannot be drawn.
    """
    fins = np.arange(control_fins(mission))
    variables = {}
    for name, spread in mission.disperse.items():
        item = _item(name)
        per_fin = name == "servo.centring"
        u = uniforms(seed, first, count, [(name, int(k)) for k in (fins if per_fin else (0,))])
        try:
            values = quantile(spread, u, nominal_value(mission, item), item.least)
        except ValueError as error:
            raise ValueError(f'disperse."{name}": {error}') from None
        dims, values = (("flight", "fin"), values) if per_fin else (("flight",), values[:, 0])
        variables[name] = (dims, values, {"units": item.unit, "long_name": item.doc, "role": item.role})
    coords = {"flight": ("flight", np.arange(first, first + count), {"long_name": "number of the flight"})}
    if "servo.centring" in variables:
        coords["fin"] = ("fin", fins + 1, {"long_name": "number of the control fin"})
    return xr.Dataset(variables, coords, {"seed": str(operator.index(seed))})


def _item(name: str) -> Dispersible:
    if name not in DISPERSIBLE:
        raise ValueError(f'disperse."{name}" cannot be dispersed; use one of {", ".join(DISPERSIBLE)}')
    return DISPERSIBLE[name]


def nominal_value(mission: Mission, item: Dispersible) -> float:
    """Return the draw that changes nothing: the mission's own value, 1 for a factor, 0 for an offset."""
    own = {"wind.speed": mission.air.wind.speed, "wind.blows_from": mission.air.wind.blows_from}
    return own[item.name] if item.role == "value" else item.neutral


def pack_draws(mission: Mission, table: xr.Dataset) -> np.ndarray:
    """Return the kernel's form of a table of draws: (flights, DRAW_SCALARS + control fins), C-contiguous float64.

    The table's attribute `seed` and its coordinate `flight` choose the random numbers of sensors in flight.

    Columns are those of DRAW_COLUMNS, then the centring error of each control fin. What `table` leaves out is nominal.
    """
    rows = np.tile(_nominal_row(mission), (table.sizes["flight"], 1))
    for name in table.data_vars:
        item, column = _item(name), DRAW_COLUMNS.get(FIELDS.get(name))
        if column is None:
            continue
        if item.role == "factor":
            rows[:, column] *= table[name].values
        else:
            rows[:, column] += table[name].values
    speed, blows_from = (table[name].values if name in table else None for name in ("wind.speed", "wind.blows_from"))
    for field, values in zip(("wind_scale", "wind_cos", "wind_sin"), wind_draw(mission, speed, blows_from)):
        rows[:, DRAW_COLUMNS[field]] = values
    seed = int(table.attrs.get("seed", 0))
    rows[:, DRAW_COLUMNS["seed_high"]], rows[:, DRAW_COLUMNS["seed_low"]] = seed >> 32, seed & 0xFFFFFFFF
    rows[:, DRAW_COLUMNS["flight"]] = table["flight"].values
    if "servo.centring" in table:
        rows[:, DRAW_SCALARS:] = table["servo.centring"].transpose("flight", "fin").values
    return rows


def nominal_draw(mission: Mission) -> Draw:
    """Return the draw that flies the mission as it is written."""
    return unpack_draw(_nominal_row(mission))


def unpack_draw(row: np.ndarray) -> Draw:
    """Return the Draw of one row of `pack_draws`, for use from Python (kernels have `core.draw.draw_of`)."""
    return Draw(*(float(value) for value in row[:DRAW_SCALARS]), row[DRAW_SCALARS:])


def _nominal_row(mission: Mission) -> np.ndarray:
    row = np.zeros(DRAW_SCALARS + control_fins(mission))
    for name, field in FIELDS.items():
        row[DRAW_COLUMNS[field]] = DISPERSIBLE[name].neutral
    row[DRAW_COLUMNS["elevation"]] = mission.rail.elevation
    row[DRAW_COLUMNS["azimuth"]] = mission.rail.azimuth
    for field, value in zip(("wind_scale", "wind_cos", "wind_sin"), wind_draw(mission)):
        row[DRAW_COLUMNS[field]] = value
    return row
