"""A sound mission as text, and a way to break one thing in it at a time."""

from __future__ import annotations

import pytest
from sound_mission import TEXT


@pytest.fixture
def text() -> str:
    """The text of a mission without faults."""
    return TEXT


@pytest.fixture
def broken(text):
    """A function that puts `new` in the place of `old` (which must be there) in the text of the sound mission."""

    def replace(*pairs: tuple[str, str]) -> str:
        result = text
        for old, new in pairs:
            assert old in result, f"the base text no longer holds {old!r}"
            result = result.replace(old, new, 1)
        return result

    return replace
