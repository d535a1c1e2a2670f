"""Fuzzed arguments of the public functions: each is accepted, or refused by a sentence that names it."""

from __future__ import annotations

import pytest
from fuzz_arguments import FUZZERS
from fuzz_batch import run_apart, run_here

SEED, LIMIT = 14, 60.0
# what these modules let through is listed with the issue: their checks are not written yet
OPEN = ("body", "disperse", "rehearse", "files", "plots")
CLOSED = tuple(name for name in FUZZERS if name not in OPEN)
UNCLEAR = pytest.mark.xfail(reason="arguments of another type raise errors from inside", strict=True)


@pytest.mark.parametrize("name", CLOSED)
def test_some(name, tmp_path):
    assert run_here(f"arguments.{name}", SEED, 25, tmp_path).total() == 25


@pytest.mark.slow
@pytest.mark.parametrize("name", [*CLOSED, *(pytest.param(name, marks=UNCLEAR) for name in OPEN)])
def test_many(name):
    ends, bad = run_apart(f"arguments.{name}", SEED, 300, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == 300
