"""Ending politely: what Ctrl-C and a request to terminate do to a long run."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def interruptible() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C sets, once; a second Ctrl-C interrupts as usual. Outside the main thread nothing is caught.

    A KeyboardInterrupt may come up anywhere, inside a callback that swallows it too: a flag is never lost.
    """
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = signal.getsignal(signal.SIGINT)

    def note(*_):
        stop.set()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def orderly_end() -> Iterator[threading.Event]:
    """Give an event that a request to terminate (SIGTERM) sets; the process ends with it once the work inside has been put away.

    Outside the main thread, and where the caller has a handler of his own, nothing is caught.
    """
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread() or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL:
        yield stop
        return
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    try:
        yield stop
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        if stop.is_set():
            signal.raise_signal(signal.SIGTERM)
