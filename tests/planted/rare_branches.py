"""Errors that only show on rarer branches: real sensors, odd fins, the south, drawn flights, second stages."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
