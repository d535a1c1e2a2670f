"""Errors between ejection and full canopy, and in what comes loose."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
