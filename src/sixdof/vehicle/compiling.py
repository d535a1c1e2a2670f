"""The first compilation of the kernels: told of, and done by a process of its own.

A kernel that a process has just compiled may round otherwise, in the last bit, than the same kernel read back from disk: most likely it calls the helpers that
were compiled one by one before it, where products and sums are contracted elsewhere than in its own copies. So that a flight of today is bit for bit the
flight of tomorrow, everybody flies what was read from disk.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from sixdof._jit import CACHE, QUIET, cache_folder, cache_note, call_law, is_jitted, machine, told

if TYPE_CHECKING:
    from sixdof.mission.mission import Mission

_CODE = """
import json, sys
sys.path[:] = json.loads(sys.argv[1])
import sixdof
mission = sixdof.parts.loads_mission(sys.stdin.read())
sixdof.stats.make_draws(mission, 1)
sixdof.fly(mission)
"""
_looked = False


def _mark() -> Path:
    """Return the file that says: every kernel of this source is on disk, for this Python and processor."""
    return cache_folder() / f"compiled-{machine()}"


def is_compiled() -> bool:
    """Tell whether the kernels of this source are on disk; an incomplete compilation (killed, or still going on) does not count."""
    return CACHE and _mark().is_file()


def compile_first(mission: Mission) -> None:
    """Have the kernels on disk before this process uses the first of them: if they are not, another one flies `mission` once.

    Processes that start at the same time wait for one compilation. Where nothing is kept on disk, or the other process fails, this
    one compiles for itself.
    """
    global _looked
    if _looked:
        return
    _looked = True
    if is_compiled() or not is_jitted(call_law) or os.environ.get(QUIET):  # the kernels are plain Python for coverage and debuggers
        return
    if note := cache_note():
        print(f"sixdof: {note}", file=sys.stderr)
    if not CACHE or not sys.executable:
        return
    from filelock import FileLock

    try:
        with told("compiling the flight kernels, once for this version (about half a minute)"), FileLock(_mark().with_suffix(".lock")):
            if not is_compiled() and _compile_apart(mission):
                _mark().touch()
    except OSError:
        pass


def _compile_apart(mission: Mission) -> bool:
    """Fly a mission in a process of its own, and tell whether it went well."""
    # the same path for modules as here, and not a folder more
    command = [sys.executable, "-P", "-c", _CODE, json.dumps([str(each) for each in sys.path])]
    done = subprocess.run(
        command,
        input=mission.to_toml(),
        text=True,
        encoding="utf-8",
        env=os.environ | {QUIET: "1"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    return done.returncode == 0
