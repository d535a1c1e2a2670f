"""What an ensemble is: everything its bits depend on. Two runs of the same identity give the same flights."""

from __future__ import annotations

import hashlib
import inspect
import platform
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.laws import CLaw, as_law
from sixdof.mission.schema import Mission
from sixdof.results import library_version

PHYSICS = ("core", "mission", "vehicle", "world", "autopilot", "ensemble", "_jit.py", "legs.py", "parting.py", "model.py", "laws.py",
           "registry.py")  # fmt: skip


@lru_cache(maxsize=1)
def code_hash() -> str:
    """Return a digest of every source file that has a part in a flight's numbers."""
    root = Path(__file__).parent.parent
    files = [f for name in PHYSICS for f in (sorted((root / name).rglob("*.py")) if (root / name).is_dir() else [root / name])]
    found = hashlib.blake2b(digest_size=8)
    for file in files:
        found.update(file.relative_to(root).as_posix().encode())
        found.update(file.read_bytes())
    return found.hexdigest()


def law_text(law, slot: int) -> str:
    """Return what tells one law from another: its source, or its library's bytes, with memory and gains."""
    law = as_law(law, slot)
    if law is None:
        return "built in"
    if isinstance(law, CLaw):
        body = Path(law.path).read_bytes()
    else:
        function = getattr(law.function, "py_func", law.function)
        try:
            body = inspect.getsource(function).encode()
        except (OSError, TypeError):  # typed into a bare interpreter
            code = getattr(function, "__code__", None)
            body = repr(function).encode() if code is None else code.co_code + repr(code.co_consts).encode()
    digest = hashlib.blake2b(body, digest_size=8)
    digest.update(np.asarray(law.gains, dtype=float).tobytes() + str(law.memory).encode())
    return f"{law.name} ({digest.hexdigest()})"


def identity_of(
    mission: Mission, *, seed: int, first: int, sampling: str, total: int | None, given: xr.Dataset | None, tracked: int | None,
    guidance, control,
) -> dict[str, str]:
    """Return what an ensemble depends on, name -> text; the names are said to people where two ensembles differ."""
    found = {
        "sixdof": f"{library_version()} (code {code_hash()})",
        "numba": version("numba"),
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
    from sixdof.store import digest

    return f"{int(digest({name: v.values for name, v in table.variables.items()})):016x}"
