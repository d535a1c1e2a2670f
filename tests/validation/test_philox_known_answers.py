"""Philox4x32-10: the known-answer vectors published with the generator (Salmon et al., SC11; file kat_vectors)."""

from __future__ import annotations

import pytest

from sixdof.core.random import philox

ALL = 0xFFFFFFFF
# counter, key, expected words
VECTORS = [
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    ((ALL, ALL, ALL, ALL), (ALL, ALL), (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    # the first digits of pi
    ((0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344), (0xA4093822, 0x299F31D0), (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1)),
]


@pytest.mark.parametrize("counter, key, expected", VECTORS, ids=["zeros", "ones", "pi"])
def test_philox__matches_known_answers(counter, key, expected):
    assert tuple(int(word) for word in philox(*counter, *key)) == expected
