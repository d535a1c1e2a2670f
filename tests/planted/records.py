"""Errors in what files, draws and identities record."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
