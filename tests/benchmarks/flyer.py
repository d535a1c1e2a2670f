"""A worker of the benchmarks: flies as many flights as it is asked to on its standard input and answers with their CPU seconds.

    python tests/benchmarks/flyer.py (nominal | ascent | ensemble) MISSION

The library is whatever PYTHONPATH says, this checkout's or another's, so `ensemble` uses public names alone: it draws flights, flies them
in one thread and keeps their outcomes. `nominal` flies the mission as written, `ascent` up to apogee. The first line it prints is the
apogee of the nominal flight.
"""

from __future__ import annotations

import json
import os
import sys
import time


def ensemble(mission):
    """Return a function that flies `count` drawn flights."""
    import sixdof

    def fly(count):
        sixdof.disperse(mission, count, seed=1, tracks="none", threads=1, progress=False)

    return fly


def kernel(mission, ascent: bool):
    """Return a function that flies the nominal flight `count` times, by the kernel alone or run as plain Python."""
    from kernel_flight import Ascent, WholeFlight

    flight = Ascent(mission) if ascent else WholeFlight(mission, 1)

    def fly(count):
        for _ in range(count):
            flight.fly()

    return fly


def main() -> int:
    answers = os.fdopen(os.dup(1), "w")  # for what is answered alone
    os.dup2(2, 1)
    what, path = sys.argv[1:]
    import sixdof

    mission = sixdof.load_mission(path)
    fly = ensemble(mission) if what == "ensemble" else kernel(mission, what == "ascent")
    if os.environ.get("NUMBA_DISABLE_JIT") != "1":
        fly(2)
    apogee = 0.0
    if what == "ensemble":
        ds = sixdof.fly(mission)
        apogee = float(ds["apogee_height" if "apogee_height" in ds else "apogee"])  # the shorter name is an older library's
    print(json.dumps(apogee), file=answers, flush=True)
    for line in sys.stdin:
        start = time.process_time()
        fly(int(line))
        print(json.dumps(time.process_time() - start), file=answers, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
