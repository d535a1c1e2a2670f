"""Errors in roll damping and direct roll of fin sets."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = ()
