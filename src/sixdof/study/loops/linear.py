"""Linear models of a vehicle along a flight, from the kernel that flies it, and what they say of its modes."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.numbers import check_numbers
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.linear_flight import Track, fly_track, moments_at, moving, pick_rows
from sixdof.study.loops.linear_slopes import GUSTS, STATES, slopes
from sixdof.study.probes.columns import POINT_COLUMNS, Log, PointColumn, RateColumn, Sensed
from sixdof.study.reading.result import need_table

CHANNELS = ("roll", "pitch", "yaw")  # in the order of the mixer's columns
DEMANDS = tuple(f"{channel}_demand" for channel in CHANNELS)
STEP = 1e-5  # of the differences: large against rounding (1e-16 over it), small against everything that bends
SMOOTH = 1e-3  # a derivative that changes by more than this share as the step is halved is that of a kink
# states, inputs and outputs of each channel alone; what belongs to "full" is everything
OF_CHANNEL = {
    "roll": (("p", "roll_angle"), ("roll_demand",)),
    "pitch": (("w", "q", "pitch_angle"), ("pitch_demand", "gust_w")),
    "yaw": (("v", "r", "yaw_angle"), ("yaw_demand", "gust_v")),
}
_UNITS = dict(zip(STATES, ("m/s",) * 3 + ("rad/s",) * 3 + ("rad",) * 3 + ("m",)))
_TRIM = (
    ("height", "m", "height above ground", Log.HEIGHT),
    ("airspeed", "m/s", "speed through the air", Log.AIRSPEED),
    ("incidence", "rad", "incidence", Log.INCIDENCE),
    ("incidence_pitch", "rad", "incidence in the pitch plane", Log.INCIDENCE_PITCH),
    ("incidence_yaw", "rad", "incidence in the yaw plane", Log.INCIDENCE_YAW),
    ("tilt", "rad", "tilt from the vertical", Log.TILT),
    ("static_margin", "1", "static margin, calibres", Log.STATIC_MARGIN),
    ("mass", "kg", "mass", Log.MASS),
    ("cg", "m", "station of the centre of mass", Log.CG),
    ("thrust", "N", "thrust", Log.THRUST),
)


def linearise(
    mission: Mission,
    *,
    at: float | Sequence[float] | None = None,
    mach: float | Sequence[float] | None = None,
    dynamic_pressure: float | Sequence[float] | None = None,
    points: int = 30,
    flight: int | None = None,
    seed: int = 0,
    draw: FlightDraw | None = None,
    step: float = STEP,
) -> xr.Dataset:
    """Fly a mission and return linear models of its front body along the climb, from the equations that the flight integrates.

    Deviations x from the moving flight obey x' = A x + B u for a while: each model is frozen at its moment. Where the flight is not in
    equilibrium (it mostly is not), the rates that remain are those of the flight itself; `trim_rate` states them.

    Parameters
    ----------
    at : times since ignition, s. mach, dynamic_pressure : values (1, Pa): models wherever the flight passes them, going up and going
        down again. Without any of these: `points` models, evenly spread over the time in which the fins are live.
    flight, seed : a flight of `disperse(mission, ..., seed=seed)` in place of the mission as written. draw : any other draw.
    step : of the central differences, see `study.linear_slopes.slopes`.

    Returns
    -------
    Dataset
        Dims point, state (u v w, p q r, small turns about the body axes, height), input (demands, fins, gusts along the body axes);
        `state_matrix` (point, rate_of, state), `input_matrix` (point, rate_of, input); the trim; modes: short period of pitch and yaw,
        roll time constant, effectiveness of the controls. Attribute `mission` is that of the draw.

    Raises
    ------
    ValueError
        For times or values that the climb does not have, a flight or seed that is not such a number, or a flight that never left the rail.

    Examples
    --------
    >>> models = sixdof.loops.linearise(mission, points=6)
    >>> models.sizes["point"], bool((models.time.diff("point") > 0.0).all())
    (6, True)
    """
    check_mission(mission, "linearise")
    given = [name for name, value in (("at", at), ("mach", mach), ("dynamic_pressure", dynamic_pressure)) if value is not None]
    if len(given) > 1:
        raise ValueError(f"linearise takes one of at, mach and dynamic_pressure, and was given {' and '.join(given)}")
    if isinstance(step, bool) or not isinstance(step, (int, float)) or not 1e-9 <= step <= 1e-2:
        raise ValueError(f"linearise: step = {shown(step)} must be between 1e-9 and 1e-2; {STEP:g} suits")
    draw = _draw_of(mission, flight, seed, draw)
    track = fly_track(mission, draw, "linearise")
    return models_along(track, pick_rows(track, "linearise", at, mach, dynamic_pressure, points), step)


def _draw_of(mission: Mission, flight: int | None, seed: int, draw: FlightDraw | None) -> FlightDraw:
    """Return the draw that is to be flown. Raises ValueError for two of them, or a flight or seed that is not such a number."""
    if draw is not None and flight is not None:
        raise ValueError("linearise takes one of flight and draw, and was given both")
    check_numbers("linearise", flight, seed)
    if draw is not None and not isinstance(draw, FlightDraw):
        raise TypeError(f"linearise: draw = {shown(draw)} must be a FlightDraw; the number of a flight is given as flight=3")
    if draw is not None:
        return draw
    return nominal_draw(mission) if flight is None else one_draw(pack_draws(mission, draw_table(mission, seed, flight, 1)), 0)


def models_along(track: Track, rows: Sequence[int], step: float = STEP) -> xr.Dataset:
    """Return the linear models of a flown draw at rows of its log (see `linearise`)."""
    moments = moments_at(track, rows)
    found = slopes(moments, step)
    time = moments.row[:, PointColumn.TIME]
    if found.error.max(initial=0.0) > SMOOTH:
        k = int(found.error.argmax())
        warnings.warn(
            f"linearise: at {time[k]:.2f} s a derivative changes by {100.0 * found.error[k]:.2g} % as the step is halved: "
            "the flight stands at a kink of its tables there; take a point beside it",
            stacklevel=3,
        )
    names = [*DEMANDS, *(f"fin_{i + 1}" for i in range(track.fins)), *GUSTS]
    fin_part = found.b[:, :, : track.fins] * moving(track, time)[:, None, :]
    mixed = np.zeros((len(time), len(STATES), len(DEMANDS)))
    for k, (model, _) in enumerate(moments.legs):
        if model.computer.mixer.shape[0] == track.fins:
            mixed[moments.leg == k] = fin_part[moments.leg == k] @ model.computer.mixer
    b = np.concatenate([mixed, found.b], axis=2)
    ds = xr.Dataset(
        {
            "state_matrix": (("point", "rate_of", "state"), found.a, {"units": "1", "long_name": "state matrix A, SI units of its states"}),
            "input_matrix": (("point", "rate_of", "input"), b, {"units": "1", "long_name": "input matrix B, SI units of states and inputs"}),
            "step_error": ("point", found.error, {"units": "1", "long_name": "largest change of a derivative as the step is halved"}),
            **_trim(track, moments, found),
        },
        {
            "time": ("point", time, {"units": "s", "long_name": "time since ignition"}),
            "mach": ("point", found.base[:, RateColumn.MACH], {"units": "1", "long_name": "Mach number"}),
            "dynamic_pressure": ("point", found.base[:, RateColumn.DYNAMIC_PRESSURE], {"units": "Pa", "long_name": "dynamic pressure"}),
            "state": ("state", list(STATES)),
            "rate_of": ("rate_of", list(STATES)),
            "input": ("input", names),
            "axis": ("axis", list("xyz")),
            "fin": ("fin", np.arange(1, track.fins + 1)),
        },
    )
    ds.attrs = {"title": track.mission.title, "mission": track.mission.to_toml()}
    return ds.merge(modes(ds)).assign_attrs(ds.attrs)


def _trim(track: Track, moments, found) -> dict:
    log, sensed = moments.log, moments.sensed
    draw = dict(zip(("roll", "pitch", "yaw"), (f"gain_{c}" for c in CHANNELS)))
    own = moments.legs[-1][1]
    entries = {name: ("point", log[:, column], {"units": units, "long_name": text}) for name, units, text, column in _TRIM}
    return entries | {
        "fin_angle": (("point", "fin"), moments.row[:, POINT_COLUMNS : POINT_COLUMNS + track.fins], {"units": "rad", "long_name": "fin angle"}),
        "body_rate": (("point", "axis"), moments.row[:, PointColumn.RATE : PointColumn.RATE + 3], {"units": "rad/s", "long_name": "body rate"}),
        "trim_rate": (("point", "rate_of"), found.rest, {"units": "1", "long_name": "rate of the state in the flight itself, SI units"}),
        "stages": ("point", track.joined[np.searchsorted(track.log[:, Log.TIME], log[:, Log.TIME])], {"units": "1", "long_name": "stages that fly together"}),
        "sensed_pressure": ("point", sensed[:, Sensed.DYNAMIC_PRESSURE], {"units": "Pa", "long_name": "dynamic pressure as the computer knows it"}),
        "sensed_mach": ("point", sensed[:, Sensed.MACH], {"units": "1", "long_name": "Mach number as the computer knows it"}),
        "booster": ("point", sensed[:, Sensed.BOOSTER], {"units": "1", "long_name": "a booster is attached, as the computer knows it"}),
        "gain_factor": ("channel", [getattr(own, draw[c]) for c in CHANNELS], {"units": "1", "long_name": "drawn factor on the gains"}),
        "servo_factor": ((), own.servo_speed, {"units": "1", "long_name": "drawn factor on the servos' natural frequency"}),
        "channel": ("channel", list(CHANNELS)),
    }


# ---------------------------------------------------------------- modes


def modes(models: xr.Dataset) -> xr.Dataset:
    """Return what the linear models say of the open-loop modes, dims point, plane (pitch, yaw), channel.

    Short period: the pair of the two states w, q (v, r); natural frequency sqrt(det), damping -trace/(2 frequency) (e.g. B. Etkin,
    L. D. Reid, Dynamics of Flight, 1996, section 6.3). A statically unstable plane has no frequency (NaN); `divergence` is the largest
    real part either way. Roll: -1/(dp'/dp). Effectiveness: turning acceleration for a unit demand.

    models : as `linearise` returns them.

    Examples
    --------
    >>> own = sixdof.loops.modes(models)
    >>> own.short_period_frequency.attrs["units"], own.short_period_frequency.dims
    ('rad/s', ('point', 'plane'))
    """
    a, b = models["state_matrix"], models["input_matrix"]
    planes = {"pitch": ["w", "q"], "yaw": ["v", "r"]}
    pairs = np.stack([a.sel(rate_of=names, state=names).values for names in planes.values()], axis=1)
    det, trace = np.linalg.det(pairs), np.trace(pairs, axis1=-2, axis2=-1)
    frequency = np.sqrt(np.where(det > 0.0, det, np.nan))
    damping_rate = a.sel(rate_of="p", state="p").values
    effect = [b.sel(rate_of=rate, input=f"{channel}_demand").values for channel, rate in zip(CHANNELS, "pqr")]
    of_plane = ("point", "plane")
    return xr.Dataset(
        {
            "short_period_frequency": (of_plane, frequency, {"units": "rad/s", "long_name": "natural frequency of the short period"}),
            "short_period_damping": (of_plane, -0.5 * trace / frequency, {"units": "1", "long_name": "damping ratio of the short period"}),
            "divergence": (of_plane, np.linalg.eigvals(pairs).real.max(axis=-1), {"units": "1/s", "long_name": "largest real part of the short period"}),
            "roll_time_constant": (
                "point",
                np.where(damping_rate < 0.0, -1.0 / np.where(damping_rate < 0.0, damping_rate, -1.0), np.nan),
                {"units": "s", "long_name": "roll time constant"},
            ),
            "effectiveness": (("point", "channel"), np.stack(effect, axis=1), {"units": "1/s^2", "long_name": "turning acceleration per demand"}),
        },
        {"plane": ("plane", list(planes)), "channel": ("channel", list(CHANNELS))},
    )


def state_space(models: xr.Dataset, point: int = 0, channel: str = "full"):
    """Return one linear model as a `control.StateSpace` with named states, inputs and outputs (all states).

    channel : "roll", "pitch", "yaw" alone, or "full", the coupled model. The servo is not in it: inputs are angles of the fins as they
    stand, as demands of the mixer, as single fins, and gusts.

    Raises
    ------
    ValueError
        For a channel or a point that the models do not have.

    Examples
    --------
    >>> plant = sixdof.loops.state_space(models, 2, "roll")
    >>> plant.nstates, plant.input_labels[0]
    (2, 'roll_demand')
    """
    need_table(models, "state_space", "loops.linearise", "state_matrix", "input_matrix")
    check_point(models, point, "state_space")
    check_channel(channel, ("full", *CHANNELS), "state_space")
    import control

    states, inputs = (STATES, models["input"].values) if channel == "full" else OF_CHANNEL[channel]
    states, inputs = [list(map(str, names)) for names in (states, inputs)]
    one = models.isel(point=point)
    a = one["state_matrix"].sel(rate_of=states, state=states).values
    b = one["input_matrix"].sel(rate_of=states, input=inputs).values
    return control.ss(a, b, np.eye(len(states)), np.zeros((len(states), len(inputs))), states=states, inputs=inputs, outputs=states, name=f"{channel}_{point}")


def check_channel(channel, known: Sequence[str], who: str, why: str = "") -> None:
    """Raise ValueError for what is not a name of a channel, or none of those that are known."""
    if not isinstance(channel, str) or channel not in known:
        names = [f'"{name}"' for name in known]
        raise ValueError(f"{who}: channel = {shown(channel)} must be {', '.join(names[:-1])} or {names[-1]}{why}")


def check_point(models: xr.Dataset, point, who: str) -> None:
    """Raise ValueError for a number of a point that the models do not have."""
    last = models.sizes["point"] - 1
    if isinstance(point, bool) or not isinstance(point, (int, np.integer)) or not -last - 1 <= point <= last:
        raise ValueError(f"{who}: point = {shown(point)} must be a whole number from 0 to {last}")
