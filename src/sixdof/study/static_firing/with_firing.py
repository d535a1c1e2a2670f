"""What is made of a static firing: a mission with the motor as it was fired (curve, propellant, reference pressure, spread), the curve as a file."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables.spread import Correlation, Spread
from sixdof.mission.units import shown
from sixdof.study.landing.export import written
from sixdof.study.motor_choice.scatter import BURN_TIME, IMPULSE, SCATTER
from sixdof.study.reading.result import need_table
from sixdof.study.static_firing.spread import FEWEST
from sixdof.study.static_firing.thinning import STAMP

WIDEST = 0.3  # standard deviation, beyond which a spread says that too little is known
TIED = 0.95  # largest correlation that is drawn
_UNITS = {"propellant_mass": "kg", "case_mass": "kg", "reference_pressure": "Pa"}


def need_firing(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is not a Dataset of `static_firing`; `who` asks."""
    need_table(ds, who, "workshop.static_firing", "curve_time", "curve_thrust", "spread", "impulse_error")


def motor_of(mission: Mission | None, motor: str | None, who: str = "static_firing") -> str:
    """Return the name of a mission's motor; the only one may be left out. Raises ValueError for one it has not, and TypeError for what is no mission."""
    if mission is None:
        if motor is not None:
            raise ValueError(f"{who}: motor = {shown(motor)} is that of a mission; give the mission too")
        return ""
    check_mission(mission, who)
    known = list(mission.motor)
    if motor is None and len(known) == 1:
        return known[0]
    if motor not in known:
        hint = suggestion(motor, known, "motors") if isinstance(motor, str) else f"name one of {', '.join(known)}"
        raise ValueError(f"{who}: the mission has no motor {shown(motor)}; {hint}" if motor else f"{who}: say which motor was fired; {hint}")
    return motor


def with_firing(mission: Mission, motor: str | None, firing: xr.Dataset, *, spread: bool = True) -> Mission:
    """Return a mission whose motor is the one fired: its mean curve and propellant, and what firings say of the scatter in `[disperse]`.

    Parameters
    ----------
    motor : its name in the mission; None where it has one motor
    firing : what `static_firing` returned
    spread : whether `motor.impulse` and `motor.burn_time` are drawn with the scatter of the firings, in place of the mission's own, and from five firings on
        with their correlation (with fewer that of a choice of motors, -0.3); of the stages that fly this motor alone, where others fly another

    The propellant mass is the mean of those given, the case's that of the spent motors if they were weighed, the reference pressure that of the air at the
    stand if given; what was not measured stays as the mission has it.

    Raises
    ------
    ValueError
        For another Dataset, a motor the mission has not, a clipped log, and firings that scatter so widely, or are so few, that their spread means nothing.
    MissionError
        Where the motor as fired cannot be (its specific impulse, its grain's density).

    Examples
    --------
    >>> time = np.linspace(0.0, 3.0, 1201)
    >>> cell = np.interp(time, [1.0, 1.02, 1.8, 1.9], [2.0, 302.0, 302.0, 2.0])
    >>> fired = sixdof.workshop.static_firing({"first": (time, cell)}, calibration="0.5 %", propellant_mass="141 g")
    >>> changed = sixdof.workshop.with_firing(mission, "playa-h", fired)
    >>> round(sixdof.parts.motor_facts(changed.motor["playa-h"]).total_impulse)
    252
    """
    need_firing(firing, "with_firing")
    name = motor_of(mission, motor, "with_firing")
    if float(firing["clipped"].sum()) > 0.0:
        raise ValueError("with_firing: a log is clipped, and its impulse only a lower bound; fire again with a larger cell")
    table: dict[str, Any] = {"thrust_curve": {"time": firing["curve_time"].values.tolist(), "thrust": firing["curve_thrust"].values.tolist()}}
    table |= measured(firing)
    changed = mission.change({f"motor.{name}.{key}": value for key, value in table.items()})
    return _with_spread(changed, name, firing) if spread else changed


def measured(firing: xr.Dataset) -> dict[str, float]:
    """Return what else was measured of the motor."""
    found = {"propellant_mass": _mean(firing["propellant_mass"]), "case_mass": _mean(firing["spent_mass"])}
    found["reference_pressure"] = float(firing.attrs["reference_pressure"])
    return {key: value for key, value in found.items() if math.isfinite(value)}


def _mean(values: xr.DataArray) -> float:
    known = values.values[np.isfinite(values.values)]
    return float(known.mean()) if known.size else math.nan


def _with_spread(mission: Mission, motor: str, firing: xr.Dataset) -> Mission:
    """Return the mission with the draws of the stages that fly the motor as firings say, all other draws as they were."""
    spreads = dict(zip((IMPULSE, BURN_TIME), map(float, firing["spread"].values), strict=True))
    for what, sd in spreads.items():
        if sd > WIDEST:
            raise ValueError(
                f"with_firing: the firings ({firing.sizes['firing']}) spread {what} by {100.0 * sd:.0f} %, which "
                f"means that too little is known; fire more of them, or take the curve alone with spread=False"
            )
    stages = [stage.name for stage in mission.stage if any(getattr(part, "motor", None) == motor for part in stage.part)]
    others = [stage.name for stage in mission.stage if stage.name not in stages]
    together = float(firing["correlation"])
    tie = together if math.isfinite(together) else SCATTER[2] if firing.sizes["firing"] < FEWEST else 0.0
    groups = [kept for one in mission.correlation for kept in _untied(one, others)]
    groups.append({"of": [IMPULSE, BURN_TIME], "coefficient": float(np.clip(tie, -TIED, TIED)), **({"only": stages} if others else {})})
    drawn = {f"disperse.{name}": _drawn(mission.disperse.get(name), sd, stages if others else []) for name, sd in spreads.items()}
    return mission.change(drawn | {"correlation": groups})


def _drawn(now: Spread | None, sd: float, stages: list[str]) -> dict[str, Any]:
    """Return a spread for `[disperse]`: of these stages alone, none: of all. What others draw stays; where they draw nothing they go on so."""
    if not stages:
        return {"sd": sd}
    table = {"kind": "fixed", "mean": 1.0} if now is None else now.model_dump(exclude_unset=True)
    return table | {"of": {**table.get("of", {}), **{name: {"mean": 1.0, "sd": sd} for name in stages}}}


def _untied(group: Correlation, others: list[str]) -> list[dict[str, Any]]:
    """Return a correlated group as it goes on beside the firing's own: untouched, of the other stages alone, or not at all."""
    table = group.model_dump(exclude_unset=True)
    if not {IMPULSE, BURN_TIME} & set(group.of):
        return [table]
    left = [name for name in others if not group.only or name in group.only]
    return [table | {"only": left}] if left else []


# ---------------------------------------------------------------- the curve as a file


def firing_curve(ds: xr.Dataset, path: str | Path | None = None, *, overwrite: bool = False) -> str:
    """Return the thrust curve of a static firing as CSV, as `thrust_curve` of a mission and `choose_motor` read it, and write it if there is a path.

    What else was measured stands in comments above it: propellant mass, mass of the case, air pressure at the stand.

    Parameters
    ----------
    ds : what `static_firing` returned
    path : of the file, or None
    overwrite : replace the file if it exists

    Raises
    ------
    ValueError
        For another Dataset.
    FileExistsError
        For a file that exists, if overwrite is not set.

    Examples
    --------
    >>> time = np.linspace(0.0, 3.0, 1201)
    >>> cell = np.interp(time, [1.0, 1.02, 1.8, 1.9], [2.0, 302.0, 302.0, 2.0])
    >>> text = sixdof.workshop.firing_curve(sixdof.workshop.static_firing({"first": (time, cell)}, propellant_mass="125 g"))
    >>> text.splitlines()[1]
    '# propellant_mass = 0.125 kg'
    """
    need_firing(ds, "firing_curve")
    return written(_text(ds), path, overwrite)


def _text(ds: xr.Dataset) -> str:
    """Return the file's text; seven digits of a force keep the impulse to some 1e-7 of it."""
    impulse, error = float(ds["total_impulse"].mean()), float(np.sqrt((ds["total_impulse_error"] ** 2).mean()))
    about = f"{impulse:.1f} N s (sd of one measurement {error:.1f}), of {', '.join(ds['firing'].values.astype(str))}"
    cut = ["# CLIPPED: the impulse is at least this"] if float(ds["clipped"].sum()) else []
    keys = [f"# {key} = {value:.7g} {_UNITS[key]}" for key, value in measured(ds).items() if math.isfinite(value)]
    rows = [f"{t:.{STAMP}f}, {f:.7g}" for t, f in zip(ds["curve_time"].values, ds["curve_thrust"].values, strict=True)]
    return "\n".join([f"# thrust curve of a static firing: {about}", *cut, *keys, "time (s), thrust (N)", *rows]) + "\n"
