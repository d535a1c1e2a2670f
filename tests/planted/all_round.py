"""Errors in forces from 0 to 180 deg of incidence."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
