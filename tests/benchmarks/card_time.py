"""How long a launch-day card takes from a morning's sounding, and how much of that is processor time.

    python tests/benchmarks/card_time.py [--mission FILE] [--wind "7.5 m/s from 250 deg"]

The two-stage demo in the shipped sounding, eight directions, kernels on disk: the card is made while people wait at the range. With --wind that is
too much, the search for the smallest change is in it. Processor seconds over wall seconds say how many cores were to be had.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "src"))

import sixdof  # noqa: E402


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--mission", type=Path, default=ROOT / "configs" / "two-stage.toml")
    arguments.add_argument("--wind", help="measured now; none if omitted")
    chosen = arguments.parse_args()
    mission = sixdof.load_mission(chosen.mission)
    sixdof.fly(mission)  # compiles, or reads the kernels from disk
    wall, own = time.perf_counter(), time.process_time()
    card = sixdof.preflight.launch_card(mission, sounding=ROOT / "configs" / "lake-orrin-morning.csv", wind=chosen.wind, progress=False)
    wall, own = time.perf_counter() - wall, time.process_time() - own
    tried = f"{card.sizes['direction']} directions, {card.sizes['change']} changes tried"
    print(f"{wall:.1f} s, {own:.1f} s of processor time; decision {int(card.decision)}, {tried}")


if __name__ == "__main__":
    main()
