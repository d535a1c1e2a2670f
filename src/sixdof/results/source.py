"""Which code flies: one digest of every source file that may have a part in a flight."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import sixdof

# the rooms that a flight goes through, from mission file to result: modules and packages. Following imports would leave out a few files
# more, and cost every process that flies two thirds of a second
ROOMS = ("surface", "_jit", "core", "mission", "world", "vehicle", "autopilot", "results", "draws", "flight", "ensemble")


@cache
def code_hash() -> str:
    """Return 16 hex digits that change with any edit of a module that a flight may go through, from mission file to result."""
    found = hashlib.blake2b(digest_size=8)
    for name, path in sorted(flown_modules().items()):
        found.update(name.encode())
        found.update(path.read_bytes())
    return found.hexdigest()


def flown_modules() -> dict[str, Path]:
    """Return the modules of this library that `fly` and `disperse` may import, and their files."""
    root = Path(sixdof.__file__).parent
    paths = [path for room in ROOMS for path in (root / f"{room}.py", *(root / room).rglob("*.py")) if path.is_file()]
    return {".".join(("sixdof", *path.relative_to(root).with_suffix("").parts)).removesuffix(".__init__"): path for path in paths}
