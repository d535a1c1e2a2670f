"""What a person sees while kernels are compiled: what, that it happens once, how long it has been going on, that it is done."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import contextmanager

QUIET = "SIXDOF_COMPILING"  # set for a process that compiles for others, and by whoever wants to see nothing of it
PATIENCE = 1.0  # seconds before anything is said


def _is_live() -> bool:
    """Return whether a line on stderr can be written again: on a terminal and in a notebook."""
    return sys.stderr.isatty() or type(sys.stderr).__module__.startswith("ipykernel.")


@contextmanager
def told(sentence: str, begun: Callable[[], bool] = lambda: True):
    """Say `sentence` on stderr while something takes longer than a second, then how long it took.

    begun : whether there is anything to tell of, asked until there is.
    """
    done = threading.Event()
    teller = threading.Thread(target=_tell, args=(sentence, begun, done), daemon=True)
    if not os.environ.get(QUIET):
        teller.start()
    try:
        yield
    finally:
        done.set()
        if teller.ident is not None:
            teller.join()


def _tell(sentence: str, begun: Callable[[], bool], done: threading.Event) -> None:
    start, live = time.monotonic(), _is_live()
    while not done.wait(PATIENCE):
        if begun():
            break
    else:
        return
    print(f"sixdof: {sentence} ...", file=sys.stderr, flush=True)
    while not done.wait(PATIENCE):
        if live:
            print(f"\r  {time.monotonic() - start:.0f} s", end="", file=sys.stderr, flush=True)
    print(f"{chr(13) if live else ''}sixdof: done in {time.monotonic() - start:.0f} s", file=sys.stderr, flush=True)
