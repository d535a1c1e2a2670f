"""What the closed loop costs: one flight with everything in the loop over the same flight passive, in one interleaved run.

    python tests/benchmarks/loop_cost.py [--mission FILE]

Closed loop: the mission as it is, configs/waypoints.toml: sensors, estimator, waypoint guidance, control, four servos, 100 Hz.
Passive: the same vehicle, motor, rail, air, recovery and tick rate; its fins are fixed (control = false, so no servo moves), it has no
sensors (the computer is told the truth), no guidance rule and no gain; recovery rules run as before. Both fly from ignition to the
tick after the apogee of the closed-loop flight, one after the other in alternation; the ratio of medians is printed. Also between
them: the fins live with ideal sensors.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "src")]

from sixdof._jit import lend  # noqa: E402
from sixdof.core.flight import fly as fl  # noqa: E402
from sixdof.core.layout import Outcome  # noqa: E402
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work  # noqa: E402
from sixdof.draws.packed import kernel_draw  # noqa: E402
from sixdof.flight.model import build_model  # noqa: E402
from sixdof.mission.load import load_mission  # noqa: E402

MOST = 2.5  # times the passive flight
PER_RUN, RUNS = 20, 41


class Flight:
    """One kind of flight, ready to be flown again and again."""

    def __init__(self, mission):
        self.model, self.draw = build_model(mission), kernel_draw(mission)
        self.work, self.log = make_work(self.model), make_log(self.model, 0)
        self.events, self.summary = make_events(self.model), make_summary()

    def fly(self, count=1):
        for _ in range(count):
            fl.fly(lend(self.model), lend(self.draw), lend(self.work), self.log, self.events, self.summary)

    def until(self, seconds):
        self.model = self.model._replace(time_limit=seconds)
        return self


def passive(mission):
    """Return the mission without anything that controls it."""
    fixed = {f"stage.{i}.part.{j}.control": False for i, stage in enumerate(mission.stage) for j, part in enumerate(stage.part) if part.kind == "fins"}
    zero = {"p": 0.0, "i": 0.0, "d": 0.0}
    gains = {f"autopilot.{channel}": zero for channel in ("pitch", "yaw", "roll")}
    return mission.change({"sensors": None, "rule": [], **gains, **fixed})


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mission", default=str(ROOT / "configs" / "waypoints.toml"))
    mission = load_mission(parser.parse_args().mission)
    closed = Flight(mission)
    closed.fly()
    end = closed.summary[Outcome.APOGEE_TIME] + 1.0 / mission.autopilot.rate
    flights = {"passive": Flight(passive(mission)), "live fins, ideal sensors": Flight(mission.change({"sensors": None})), "closed loop": closed}
    times = {name: [] for name in flights}
    for flight in flights.values():
        flight.until(end).fly(3)
    for _ in range(RUNS):
        for name, flight in flights.items():
            start = time.perf_counter()
            flight.fly(PER_RUN)
            times[name].append((time.perf_counter() - start) / PER_RUN)
    medians = {name: statistics.median(t) for name, t in times.items()}
    print(f"{f'{end:.2f} s of flight':<28}{'ms a flight':>12}{'over passive':>14}")
    for name, median in medians.items():
        print(f"{name:<28}{1e3 * median:>12.3f}{median / medians['passive']:>14.2f}")
    ratio = medians["closed loop"] / medians["passive"]
    print(f"\nclosed loop over passive: {ratio:.2f} (at most {MOST} wanted)")
    return 0 if ratio <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
