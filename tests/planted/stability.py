"""Errors in stability as flown: downwash, centre of pressure, surviving control."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
