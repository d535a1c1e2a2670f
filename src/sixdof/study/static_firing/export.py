"""The thrust curve of a static firing as a file that a mission reads."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.study.landing.export import written
from sixdof.study.static_firing.thinning import STAMP
from sixdof.study.static_firing.with_firing import measured, need_firing

_UNITS = {"propellant_mass": "kg", "case_mass": "kg", "reference_pressure": "Pa"}


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
