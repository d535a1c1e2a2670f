"""The first compilation of the kernels: announced, and done by a process of its own.

A kernel that a process has just compiled may round otherwise, in the last bit, than the same kernel read back from disk: most likely it calls the helpers that
were compiled one by one before it, where products and sums are contracted elsewhere than in its own copies. So that a flight of today is bit for bit the
flight of tomorrow, everybody flies what was read from disk.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from sixdof._jit import CACHE, cache_folder, cache_note, call_law, is_jitted, machine

if TYPE_CHECKING:
    from sixdof.mission.mission import Mission

_COMPILING = "SIXDOF_COMPILING"  # set for the process of its own, and by whoever wants each process to compile for itself
_CODE = """
import json, sys
sys.path[:] = json.loads(sys.argv[1])
import sixdof
sixdof.fly(sixdof.parts.loads_mission(sys.stdin.read()))
"""


@cache
def announce() -> None:
    """Tell a person, once, why the first flight after an installation or an upgrade takes so long."""
    if os.environ.get(_COMPILING):
        return
    note = cache_note()
    print("sixdof: compiling the flight kernels, once for this version (about a minute) ...", file=sys.stderr)
    print(f"sixdof: {note}" if note else "", file=sys.stderr, end="\n" if note else "")


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
    if is_compiled() or not is_jitted(call_law):  # the kernels are plain Python for coverage and debuggers
        return
    announce()
    if not CACHE or os.environ.get(_COMPILING) or not sys.executable:
        return
    from filelock import FileLock

    try:
        with FileLock(_mark().with_suffix(".lock")):
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
        env=os.environ | {_COMPILING: "1"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    return done.returncode == 0


@contextmanager
def announced_compilation():
    """Tell a person why the first flight after an installation or an upgrade takes so long."""
    if not is_compiled():
        announce()
    yield
