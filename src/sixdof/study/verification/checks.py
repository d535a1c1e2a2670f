"""One line of a verification: a quantity, what it should be, what we get, how far apart the two may be, and who says so."""

from __future__ import annotations

from typing import NamedTuple


class Check(NamedTuple):
    """A comparison with something outside this library.

    name : of the case. reference, ours, limit : in `unit`; limit is the largest difference that passes. source : of the reference.
    """

    name: str
    quantity: str
    reference: float
    ours: float
    limit: float
    unit: str
    source: str

    @property
    def difference(self) -> float:
        """Return the library's number less the reference."""
        return self.ours - self.reference

    @property
    def passed(self) -> bool:
        """Return whether the difference stays within the limit; a NaN does not."""
        return abs(self.difference) <= self.limit
