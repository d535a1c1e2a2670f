"""What an ensemble is: everything its bits depend on. Two runs of the same identity give the same flights."""

from __future__ import annotations

import platform
from importlib.metadata import version

import xarray as xr

from sixdof.flight.law_digest import law_text
from sixdof.mission.mission import Mission
from sixdof.results.dataset import library_version
from sixdof.results.source import code_hash

LIBRARIES = ("numpy", "scipy", "numba")  # whose own arithmetic is in a flight's bits


def identity_of(
    mission: Mission, *, seed: int, first: int, sampling: str, total: int | None, given: xr.Dataset | None, tracked: int | None, guidance, control
) -> dict[str, str]:
    """Return what an ensemble depends on, name -> text; the names appear in messages where two ensembles differ."""
    found = {
        "sixdof": f"{library_version()} (code {code_hash()})",
        **{name: version(name) for name in LIBRARIES},
        "processor": platform.machine(),
        "seed": str(seed),
        "first flight": str(first),
        "sampling": sampling if total is None else f"{sampling} of {total}",
        "tracks": "all" if tracked is None else str(tracked),
        "guidance": law_text(guidance, 0),
        "control": law_text(control, 1),
        "mission": mission.to_toml(),
    }
    if given is not None:
        found["draws"] = table_digest(given)
    return found


def table_digest(table: xr.Dataset) -> str:
    """Return a digest of a table of draws."""
    from sixdof.results.store_disk import digest

    return f"{int(digest({name: v.values for name, v in table.variables.items()})):016x}"
