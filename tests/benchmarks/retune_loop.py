"""How long a person in a notebook waits for each turn of tuning by hand: change a gain, fly, linearise, margins, redraw.

    python tests/benchmarks/retune_loop.py [--mission FILE] [--points 30]

Warm: everything is compiled and imported by a first turn, which is not counted. Printed are the medians of the parts and of the whole
(asked for: under 2 s), and how long `sixdof.tune` takes.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "src")]

import matplotlib  # noqa: E402

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402

import sixdof  # noqa: E402
from sixdof.plot import plot_bode, plot_margins  # noqa: E402

TURNS = 7
PARTS = ("change a gain", "fly and linearise", "margins", "draw margins", "draw Bode of 5 points")


def turn(mission, points: int, factor: float) -> list[float]:
    """Return the seconds of each of PARTS."""
    clock = [time.perf_counter()]

    def lap(value):
        clock.append(time.perf_counter())
        return value

    gains = mission.autopilot.schedule[0].pitch if mission.autopilot.schedule else mission.autopilot.pitch
    path = "autopilot.schedule[0].pitch.p" if mission.autopilot.schedule else "autopilot.pitch.p"
    changed = lap(mission.change({path: factor * gains.p}))
    models = lap(sixdof.loops.linearise(changed, points=points))
    found = lap(sixdof.loops.margins(models))
    plot_margins(found)[0].figure.canvas.draw()
    lap(None)
    plot_bode(models)[0].figure.canvas.draw()
    lap(None)
    plt.close("all")
    return [b - a for a, b in zip(clock, clock[1:])]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--mission", type=Path, nargs="*", default=[ROOT / "configs" / name for name in ("sampler.toml", "two-stage.toml")])
    options.add_argument("--points", type=int, default=30)
    chosen = options.parse_args()
    for path in chosen.mission:
        mission = sixdof.load_mission(path)
        turn(mission, chosen.points, 1.0)
        laps = [turn(mission, chosen.points, 1.0 + 0.02 * k) for k in range(1, TURNS + 1)]
        print(f"{path.name}: {chosen.points} points")
        for name, times in zip(PARTS, zip(*laps)):
            print(f"  {name:<24}{statistics.median(times):7.3f} s")
        print(f"  {'the whole turn':<24}{statistics.median(map(sum, laps)):7.3f} s   (asked for: under 2 s)")
        start = time.perf_counter()
        sixdof.tune(mission, points=chosen.points)
        print(f"  {'sixdof.tune':<24}{time.perf_counter() - start:7.3f} s")


if __name__ == "__main__":
    main()
