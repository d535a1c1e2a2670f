"""Who flies the blocks: threads, processes, or a cluster, all behind one `submit`."""

from __future__ import annotations

import ast
import os
import signal
import sys
import threading
import zlib
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

from sixdof.draws.flight_draw import FlightDraw
from sixdof.ensemble.block_runner import Block, BlockRunner

LOCAL_BATCH = 8  # flights a worker takes at a time: short enough for Ctrl-C and the progress bar, long enough to cost nothing
REMOTE_BATCH = 32  # over a network a task costs more
AHEAD = 4  # batches waiting for each worker


class Workers(NamedTuple):
    """A pool, the function its workers run on packed draws, how many there are, and how many flights they take at a time."""

    pool: Executor
    function: object
    count: int
    batch: int

    def submit(self, draws: FlightDraw):
        """Return a future of the Block of some packed draws."""
        return self.pool.submit(self.function, draws)


@contextmanager
def workers(runner: BlockRunner, threads: int | None, client=None):
    """Give the workers for a runner: those of `client` (a dask.distributed Client), processes where the runner wants them
    (more than one: a single thread does as well), else threads."""
    count = threads or os.cpu_count() or 1
    if client is not None:
        found = _cluster(runner, client)
    elif runner.wants_processes and count > 1:
        check_main_guard()
        pool = ProcessPoolExecutor(count, get_context("spawn"), _start_process, (_packed(runner),))
        found = Workers(pool, _fly_in_process, count, LOCAL_BATCH)
    else:
        found = Workers(ThreadPoolExecutor(count), runner.run, count, LOCAL_BATCH)
    try:
        yield found
    finally:
        if client is None:
            found.pool.shutdown(wait=True, cancel_futures=True)
        else:
            found.pool.shutdown(wait=False)  # a cluster's pool cancels then


# ---------------------------------------------------------------- processes


def check_main_guard() -> None:
    """Raise RuntimeError where a script that runs calls this from its top, outside `if __name__ == "__main__":`.

    Each new process runs the script from its top to find the law, would come to the same call, and start processes in its turn.
    """
    main, frame = sys.modules["__main__"], sys._getframe()
    outermost = None
    while frame is not None:
        if frame.f_globals is vars(main) and frame.f_code.co_name == "<module>":
            outermost = frame
        frame = frame.f_back
    if outermost is None or not getattr(main, "__file__", None):
        return  # a notebook, or a call that the script's top does not make: a new process does not come to it
    try:
        top = ast.parse(Path(main.__file__).read_text(encoding="utf-8")).body
    except (OSError, SyntaxError, ValueError):
        return
    line = outermost.f_lineno
    statement = next((each for each in top if each.lineno <= line <= (each.end_lineno or each.lineno)), None)
    if statement is None or (isinstance(statement, ast.If) and "__name__" in {getattr(n, "id", "") for n in ast.walk(statement.test)}):
        return
    raise RuntimeError(
        f"{Path(main.__file__).name}, line {line}: a law in plain Python, and dispersed paths, fly in processes, and each of them runs the "
        'script from its top: put its calls under `if __name__ == "__main__":`, or fly with threads=1'
    )


_process_runner: BlockRunner | None = None


def _packed(runner: BlockRunner) -> bytes:
    import cloudpickle  # takes functions of a notebook along, which pickle does not

    return zlib.compress(cloudpickle.dumps(runner.recipe))


@lru_cache(maxsize=4)
def _runner_of(recipe: bytes) -> BlockRunner:
    import cloudpickle

    return BlockRunner(*cloudpickle.loads(zlib.decompress(recipe)))


def _start_process(recipe: bytes) -> None:
    global _process_runner
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    _process_runner = _runner_of(recipe)


def _fly_in_process(draws: FlightDraw) -> Block:
    return _process_runner.run(draws)


# ---------------------------------------------------------------- a cluster

_making = threading.Lock()


def _fly_remotely(recipe: bytes, draws: FlightDraw) -> Block:
    """Fly on a worker of a cluster, which may be new: each task carries the recipe, and a worker makes its runner once."""
    with _making:
        runner = _runner_of(recipe)
    return runner.run(draws)


class _Remote:
    """The task of a cluster's workers, with the recipe in it."""

    def __init__(self, recipe: bytes):
        self.recipe = recipe

    def __call__(self, draws: FlightDraw) -> Block:
        return _fly_remotely(self.recipe, draws)


def _cluster(runner: BlockRunner, client) -> Workers:
    """Return the workers of a dask.distributed Client.

    Raises
    ------
    TypeError
        If `client` is none.
    ValueError
        If there are no workers, or one has another version of this library or of its kernels.
    """
    from sixdof.results.source import code_hash

    if not hasattr(client, "get_executor"):
        raise TypeError(f"client must be a dask.distributed Client, not {type(client).__name__}")
    mine = code_hash()
    theirs = client.run(code_hash)
    if not theirs:
        raise ValueError("client has no workers: start some, or wait for them with client.wait_for_workers(1)")
    others = [name for name, found in theirs.items() if found != mine]
    if others:
        raise ValueError(f"the workers {', '.join(map(str, others[:3]))} have another version of sixdof; install the same everywhere")
    count = sum(client.nthreads().values())
    return Workers(client.get_executor(pure=False), _Remote(_packed(runner)), count, REMOTE_BATCH)
