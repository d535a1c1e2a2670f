"""Verbs about the vehicle in the workshop, one module for each: what breaks, what to set, what was measured."""

from __future__ import annotations

from sixdof.cli.workshop import built, firing, recovery, structure

VERBS = (recovery, structure, built, firing)


def add(commands) -> None:
    """Add the verbs to the command line."""
    for verb in VERBS:
        verb.add(commands)
