"""Worded cautions: rules of thumb of the field, each a threshold and a sentence, for a flight or an ensemble."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.results.status import Status
from sixdof.study.aero.surviving_control import reversal_checks
from sixdof.study.reading.page import counted, worst
from sixdof.study.reading.practice import DESCENT_RATE, LEAST_MARGIN, MOST_MARGIN, RAIL_INCIDENCE, WIND_RATIO
from sixdof.study.reading.result import event_values, is_ensemble, meaningful, mission_of, outcomes
from sixdof.study.report.mission_cautions import mission_cautions
from sixdof.study.report.staging_cautions import staging_checks
from sixdof.world.wind import mean_wind, shape

# of this project
LOST_ROLL, LOST_TILT = math.radians(20.0), math.radians(10.0)  # root mean square of the error while the fins are live
HUNTING = 4.0  # changes of sign of pitch and yaw rate a second of live fins: a full swing a second in both
LIVE = 1.0  # s: over less than that no rate of changes is counted
SATURATION = 0.1  # share of the time with a fin at its stop: beyond it the gains no longer say how the vehicle answers


def cautions(ds: xr.Dataset) -> list[str]:
    """Return a sentence for every check that a flight, or some flights of an ensemble, do not pass."""
    used = meaningful(ds)
    found = [_said(ds, used, failing, text) for failing, text in _checks(ds) if (failing & used).any()]
    status = np.atleast_1d(ds["status"].values)
    if (status != Status.LANDED).any():
        found.insert(0, _said(ds, np.ones_like(used), status != Status.LANDED, "no landing was reached; see how the flights ended"))
    if "mission" in ds.attrs:
        found += mission_cautions(mission_of(ds, "cautions"))
    return found


def _said(ds, used, failing, text):
    return f"in {counted(failing[used])} {text}" if is_ensemble(ds) else text


def _checks(ds):
    """Yield (bool (flights,), what to say) of each check; what did not happen is NaN and passes."""
    speed = outcomes(ds, "rail_departure_speed")
    ratio = speed / np.maximum(wind_at_departure(ds), 1e-9)
    yield (
        ratio < WIND_RATIO,
        f"the rail departure speed is less than {WIND_RATIO:.0f} times the wind there{worst(ds, ratio, 'times', limit=WIND_RATIO)} "
        "(common practice asks for more): use a longer rail, more thrust or less wind",
    )
    incidence = outcomes(ds, "rail_departure_incidence")
    yield (incidence > RAIL_INCIDENCE, "the incidence at rail departure is beyond 15 deg (common practice stays below): less wind, or more speed")
    margin = outcomes(ds, "static_margin_min")
    yield (
        margin < 0.0,
        f"the vehicle is UNSTABLE: its static margin as flown falls below zero{worst(ds, margin, 'calibres')}; move mass forward, enlarge the "
        "tail fins or make fins ahead of them smaller",
    )
    yield (
        (margin < LEAST_MARGIN) & (margin >= 0.0),
        f"the static margin falls below {LEAST_MARGIN:.0f} calibre{worst(ds, margin, 'calibres', limit=LEAST_MARGIN)} "
        "(common practice keeps 1 to 3): move mass forward or enlarge the tail fins",
    )
    yield (
        margin > MOST_MARGIN,
        f"the static margin stays above {MOST_MARGIN:.0f} calibres all through the climb "
        "(common practice keeps 1 to 3): it turns into the wind strongly and fins have little authority",
    )
    yield from _loop_checks(ds)
    yield (
        outcomes(ds, "saturation_share") > SATURATION,
        f"a fin is at its stop for more than {100.0 * SATURATION:.0f} % of the time: use lower gains or larger fins",
    )
    yield (
        (np.atleast_1d(ds["status"].values) == Status.LANDED) & ~np.isfinite(outcomes(ds, "opening_airspeed")),
        "no canopy opened before the ground: a ballistic return",
    )
    rate = -event_values(ds, "landing", "velocity_up")
    yield (
        rate > DESCENT_RATE,
        f"the descent rate at landing is above {DESCENT_RATE} m/s{worst(ds, rate, 'm/s', np.fmax, DESCENT_RATE)} "
        "(common practice stays below): use a larger canopy",
    )
    yield from staging_checks(ds)


def _loop_checks(ds):
    """Yield checks of whether the control loops hold while the fins are live."""
    for channel, limit in (("roll", LOST_ROLL), ("tilt", LOST_TILT)):
        error = outcomes(ds, f"{channel}_error_rms")
        yield (
            error > limit,
            f"the {channel} loop loses its attitude: its error is more than {math.degrees(limit):.0f} deg root mean square while the fins are live"
            f"{worst(ds, np.degrees(error), 'deg', np.fmax)} (a project threshold): see the margins, the fins' authority and the commanded attitude",
        )
    live = np.fmin(event_values(ds, "fins_disabled"), event_values(ds, "apogee")) - event_values(ds, "fins_enabled")
    rate = outcomes(ds, "rate_reversals") / np.maximum(live, LIVE)
    yield (
        rate > HUNTING,
        f"the vehicle oscillates under control: its pitch and yaw rates change sign more than {HUNTING:.0f} times per second while the "
        f"fins are live{worst(ds, rate, 'times per second', np.fmax)} (a project threshold): lower the gains, or see the margins",
    )
    if "mission" in ds.attrs:
        yield from reversal_checks(ds, mission_of(ds, "cautions"))


def wind_at_departure(ds: xr.Dataset) -> np.ndarray:
    """Return the mean wind speed where the vehicle leaves the rail, m/s (flights,); NaN if it never does."""
    if not is_ensemble(ds):
        moment = event_values(ds, "rail_departure")
        speed = np.hypot(ds["wind_east"].values, ds["wind_north"].values)
        return np.where(np.isfinite(moment), np.interp(moment, ds["time"].values, speed), np.nan)
    mission = mission_of(ds, "wind_at_departure")
    height = event_values(ds, "rail_departure", "height")
    if "wind_speed" in ds:
        return ds["wind_speed"].values * shape(mission.air.wind, height)
    member = ds["wind_member"].values if "wind_member" in ds else np.zeros(height.size)
    winds = [mean_wind(mission, height[k], int(member[k])) for k in range(height.size)]
    return np.hypot(*np.array(winds).T)
