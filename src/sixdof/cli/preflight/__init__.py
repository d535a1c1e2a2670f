"""Verbs about what is asked before a flight, one module for each study."""

from __future__ import annotations

from sixdof.cli.preflight import card, landing, motors, weathercock, wind


def add(commands) -> None:
    """Add the verbs to the command line."""
    for verb in (weathercock, motors, wind, landing, card):
        verb.add(commands)
