"""What a flight's control channels keep behind their own fins' vortices: at its own Mach numbers, for pages and cautions."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.mixer import deflection_arms
from sixdof.mission.mission import Mission
from sixdof.mission.page import SET_IN, table
from sixdof.results.status import FlightError
from sixdof.study.aero.authority import CHANNELS, survival, survival_word
from sixdof.study.aero.tables import fin_names
from sixdof.study.probes.columns import PanelColumn, WakeColumn
from sixdof.study.reading.result import event_values, fact
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.geometry import shape_of

DEMAND = np.radians(1.0)
FALLBACK_MACH = 0.3  # where a flight has no Mach numbers of its own
STATES = {"loaded": 1.0, "burnt": 0.0}  # share of the aft stage's propellant


class Span(NamedTuple):
    """Mach numbers (flights,) between which a configuration is steered, or flies where its fins are never live; NaN: never."""

    low: np.ndarray
    high: np.ndarray
    live: np.ndarray  # bool


def steered_stacks(mission: Mission) -> list[list[int]]:
    """Return the configurations that fly with control fins that have another set behind them, as numbers of stages."""
    found = []
    for count in range(len(mission.stage), 0, -1):
        aero = aero_table(mission, range(count))
        control = aero.panel[:, PanelColumn.CONTROL] >= 0
        if any(control[int(pair[WakeColumn.FIRST])] for pair in aero.wake_pair):
            found.append(list(range(count)))
    return found


def flown_span(ds: xr.Dataset, count: int) -> Span:
    """Return the Mach numbers that the front `count` stages see as one body, from the events of the climb."""
    stages = ds.sizes.get("joint", 0) + 1
    start = event_values(ds, "rail_departure") if count == stages else fact(ds, "separation_time", count - 1)
    apogee = event_values(ds, "apogee")
    end = np.where(np.isfinite(apogee), apogee, np.inf)  # none before a flight that diverges
    if count > 1:
        end = np.fmin(end, fact(ds, "separation_time", count - 2))
    enabled = event_values(ds, "fins_enabled")
    live = enabled < end
    start = np.where(live, np.fmax(start, enabled), start)
    names = [str(name) for name in ds["event"].values if name != "apogee"]
    time, mach = (np.array([event_values(ds, name, column) for name in names]) for column in ("time", "mach"))
    inside = np.where((time >= start) & (time <= end), mach, np.nan)
    return Span(np.fmin.reduce(inside), np.fmax.reduce(inside), live)


def surviving_shares(mission: Mission, stages: list[int], mach) -> xr.DataArray:
    """Return the share of a commanded moment that survives (channel, state, mach), 1 deg of demand, no incidence; NaN: no moment."""
    found = [
        survival(mission, stages=stages, mach=np.asarray(mach), incidence=[0.0], demand=[DEMAND], unburnt=left).squeeze(("incidence", "demand"))
        for left in STATES.values()
    ]
    values = [[ds[f"{channel}_moment"].values for ds in found] for channel in CHANNELS]
    return xr.DataArray(values, {"channel": list(CHANNELS), "state": list(STATES), "mach": mach}, ("channel", "state", "mach"))


def passed_lines(mission: Mission) -> list[str]:
    """Return a sentence for every set of control fins whose load the centre of mass passes as propellant burns."""
    lines = []
    for count in range(len(mission.stage), 0, -1):
        shape = shape_of(mission.stage[:count])
        arms = (deflection_arms(mission, range(count), left) for left in STATES.values())
        for name, fin, loaded, burnt in zip(fin_names(shape), shape.fins, *arms):
            if fin.part.control and (loaded > 0.0) != (burnt > 0.0):
                lines.append(
                    f"Control: {name} is REVERSED in pitch and yaw for part of the burn with {_called(mission, range(count))}: the centre of mass passes "
                    f"its load, {abs(loaded):.3f} m from it loaded and {abs(burnt):.3f} m on the other side burnt; move it further away"
                )
    return lines


def _called(mission: Mission, stages) -> str:
    return " + ".join(mission.stage[i].name for i in stages)


def control_lines(mission: Mission) -> list[str]:
    """Return for each configuration with fins behind control fins what each channel keeps at the Mach numbers of the nominal flight.

    The mission is flown once for these; nothing is flown where no control fin has fins behind it. Control fins that the centre of mass
    passes are named too.
    """
    passed, stacks = passed_lines(mission), steered_stacks(mission)
    if not stacks:
        return passed
    ds = _flown(mission)
    lines = [*passed, "Control: share of a commanded moment that the vortices of the control fins leave behind them, 1 deg of demand, no incidence"]
    for stages in stacks:
        lines += _configuration(mission, stages, flown_span(ds, len(stages)))
    return lines


def _flown(mission: Mission) -> xr.Dataset:
    """Return the nominal flight as far as it goes: how it ends is for `fly` to say."""
    from sixdof.flight.fly import fly

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return fly(mission)
        except FlightError as error:
            return error.dataset


def _configuration(mission: Mission, stages: list[int], span: Span) -> list[str]:
    low, high, live = span.low[0], span.high[0], bool(span.live[0])
    if np.isfinite(high):
        mach, said = np.unique(np.linspace(low, high, 4)), f"Mach {low:.2f} to {high:.2f} of the nominal flight"
    else:
        mach, said = np.array([FALLBACK_MACH]), f"Mach {FALLBACK_MACH:g}; the nominal flight has no Mach numbers of it"
    lines = [f"  {_called(mission, stages)}, {said}" + ("" if live else "; its fins are not live there")]
    rows = [["Mach", *(f"{m:.2f}" for m in mach), ""]]
    found = surviving_shares(mission, stages, mach)
    for channel in CHANNELS:
        for state in STATES:
            if channel == "roll" and state != "loaded":
                continue  # a rolling moment knows no centre of mass
            values = found.sel(channel=channel, state=state).values
            row = channel if channel == "roll" else f"{channel}, {state}"
            rows.append([row, *(f"{v:.2f}" for v in values), _word(values)])
    return lines + table(rows, remark=True, set_in=2 * SET_IN)


def _word(values: np.ndarray) -> str:
    return survival_word(float(values.min())) if np.isfinite(values).all() else "no moment in this channel"


def reversal_checks(ds: xr.Dataset, mission: Mission) -> Iterator[tuple[np.ndarray, str]]:
    """Yield (bool (flights,), what to say) of every channel that answers the wrong way round while its fins are live."""
    if not np.isfinite(event_values(ds, "fins_enabled")).any():
        return
    for stages in steered_stacks(mission):
        span = flown_span(ds, len(stages))
        known = span.live & np.isfinite(span.high)
        if not known.any():
            continue
        grid = np.linspace(span.low[known].min(), span.high[known].max() + 1e-6, 9)
        least = surviving_shares(mission, stages, grid).min("state")
        name = _called(mission, stages)
        for channel in CHANNELS:
            of = least.sel(channel=channel).values
            ends = [np.interp(m, grid, of) for m in (span.low, span.high)]
            between = [np.where((m >= span.low) & (m <= span.high), v, np.inf) for m, v in zip(grid, of)]
            lowest = np.minimum.reduce([*ends, *between])
            yield (
                known & (lowest < 0.0),
                f"control in {channel} is REVERSED with {name} (share {np.nanmin(lowest[known]):.2f} of a commanded moment): the vortices of the "
                "control fins do more to the fins behind than they do themselves; keep them still there, or move them further from the centre of mass",
            )
