"""Verbs about what is done after a flight, one module for each: what happened, where to search, does the model still hold."""

from __future__ import annotations

from sixdof.cli.postflight import against, estimate, happened, log, record, search, video

VERBS = (record, log, against, estimate, happened, search, video)


def add(commands) -> None:
    """Add the verbs to the command line."""
    for verb in VERBS:
        verb.add(commands)
