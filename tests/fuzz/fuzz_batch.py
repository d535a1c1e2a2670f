"""Runs many fuzz cases in another process, which may crash or hang: the case it was at is then known, and the next one goes on.

By hand: `python tests/fuzz/fuzz_batch.py missions.text 1 0 4000` runs 4000 cases and prints how they ended;
`python tests/fuzz/fuzz_batch.py missions.text 1 17 1` runs case 17 alone.
"""

from __future__ import annotations

import faulthandler
import random
import resource
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from fuzz_jail import check_jail, jailed, lock

MEMORY = 12 * 2**30  # bytes of address space; numba and the netCDF library reserve some GB that they do not use
START = 240.0  # s a case may take besides, while kernels are compiled


def fuzzer(name: str):
    """Return the fuzzer "missions.text": function `text` among FUZZERS of fuzz_missions.py. It takes a random.Random and a folder."""
    module, _, function = name.partition(".")
    return import_module(f"fuzz_{module}").FUZZERS[function]


def run_case(name: str, seed: int, number: int, folder: Path) -> str:
    """Run one case and return how it ended; raise what is wrong with it."""
    how = fuzzer(name)(random.Random(f"{name}:{seed}:{number}"), folder)
    check_jail()
    return how


def run_here(name: str, seed: int, count: int, folder: Path) -> Counter:
    """Run the first `count` cases in this process and return how many ended how."""
    ends = Counter()
    with jailed(folder):
        for number in range(count):
            try:
                ends[run_case(name, seed, number, folder)] += 1
            except Exception as error:
                error.add_note(f"case {number} of {name}, seed {seed}")
                raise
    return ends


def run_apart(name: str, seed: int, count: int, limit: float) -> tuple[Counter, list[str]]:
    """Run cases in a process of its own, `limit` seconds each; return how many ended how, and a sentence for each bad one."""
    ends, bad, first = Counter(), [], 0
    while first < count:
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, __file__, name, str(seed), str(first), str(count - first), str(limit), folder]
            done = subprocess.run(command, capture_output=True, text=True, timeout=START + 2.0 * limit * count, check=False)
        started = first
        for line in done.stdout.splitlines():
            mark, _, rest = line.partition(" ")
            if mark == "case":
                started = int(rest)
            elif mark == "end":
                ends[rest] += 1
            elif mark == "bad":
                bad.append(f"{name} {seed} {started}: {rest}")
        if done.returncode == 0:
            break
        last = " | ".join(done.stderr.strip().splitlines()[-12:])
        bad.append(f"{name} {seed} {started}: the process ended with {done.returncode}: {last[-600:]}")
        first = started + 1
    return ends, bad


def _main(name: str, seed: str, first: str, count: str, limit: str = "60", folder: str = "") -> None:
    if not folder:  # by hand: the process that is locked into a folder cannot remove it
        with tempfile.TemporaryDirectory() as own:
            sys.exit(subprocess.run([sys.executable, __file__, name, seed, first, count, limit, own], check=False).returncode)
    faulthandler.enable()
    alone = int(count) == 1
    with jailed(Path(folder)):
        lock(Path(folder))  # before there are other threads, which would go free
        _warm_up(name)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        for number in range(int(first), int(first) + int(count)):
            print("case", number, flush=True)
            begun = time.perf_counter()
            faulthandler.dump_traceback_later(float(limit), exit=True)  # ends the process from outside, wherever it hangs
            try:
                print("end", run_case(name, int(seed), number, Path(folder)))
            except Exception as error:
                print("bad", " ".join(f"{type(error).__name__}: {error}".split())[:600])
                if alone:
                    traceback.print_exc()
            faulthandler.cancel_dump_traceback_later()
            if time.perf_counter() - begun > 0.25 * float(limit):
                print("slow", f"{time.perf_counter() - begun:.1f} s", flush=True)


def _warm_up(name: str) -> None:
    """Load or compile the kernels before the clock runs."""
    import sixdof

    fuzzer(name)
    sixdof.fly(sixdof.load_mission(Path(__file__).parents[2] / "configs" / "sampler.toml"))


if __name__ == "__main__":
    _main(*sys.argv[1:])
