"""Kills recorders at random moments: a process of its own, so that one start of the interpreter serves many kills.

`python killed_recorders.py FILE KILLS SEED` prints, a line each, how many packets were acknowledged to each recorder before it was killed.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time

import filelock  # noqa: F401  # before the forks, as all else

from sixdof.postflight.recording.recorder import Recorder


def record(path: str, pipe: int, first: int, seed: int) -> None:
    """Record packets in batches for ever, and write the number of the last one into the pipe once it is acknowledged."""
    chance, number = random.Random(seed), first
    recorder = Recorder(path)
    while True:
        batch = [{"time": 0.1 * (number + k), "sequence": number + k, "height": 1.5 * (number + k)} for k in range(chance.randint(1, 30))]
        recorder.extend(batch)
        number += len(batch)
        os.write(pipe, b"%d\n" % number)


def killed(path: str, first: int, seed: int) -> int:
    """Return how many packets a recorder had acknowledged as it was killed, those of before included."""
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(ours)
        record(path, theirs, first, seed)
    os.close(theirs)
    if seed % 3:  # else it may be killed as it opens the file
        select.select([ours], [], [], 10.0)
    time.sleep(random.Random(1000 + seed).uniform(0.0, 0.03))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = b""
    while part := os.read(ours, 65536):
        said += part
    os.close(ours)
    whole = said[: said.rfind(b"\n") + 1].split()
    return int(whole[-1]) if whole else first


if __name__ == "__main__":
    path, kills, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    for k in range(kills):
        print(killed(path, 100_000 * k, seed + k), flush=True)
