"""What one planted error is; the lists of them are errors.py and the topics beside it."""

from __future__ import annotations

from typing import NamedTuple


class PlantedError(NamedTuple):
    """One error: `file` below src/sixdof, its `right` text and the `wrong` one, what that is in words, the test against it."""

    name: str
    file: str
    right: str
    wrong: str
    words: str
    caught_by: str
