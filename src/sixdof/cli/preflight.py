"""Verbs about what is asked before a flight."""

from __future__ import annotations


def add(commands) -> None:
    """Add the verbs to the command line."""
