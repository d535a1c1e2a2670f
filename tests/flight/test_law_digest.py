"""Two laws are one if they do the same thing: closures, globals, defaults, called functions, gains and memory all count."""

from __future__ import annotations

import functools
import subprocess
import sys
import textwrap
import threading
import types

import numba
import numpy as np
import pytest

import sixdof
from sixdof.flight.law_digest import Untold, digest_of, law_text

FACTOR = 2.0
TABLE = np.array([1.0, 2.0])


def calm(t, sensed, memory, gains, command):
    command[:] = 0.0


def make(gain):
    def law(t, sensed, memory, gains, command):
        command[0] = gain * sensed[1]

    return law


def helped(t, sensed, memory, gains, command):
    command[0] = helper(sensed[1])


def helper(x):
    return FACTOR * x + float(np.interp(x, TABLE, TABLE))


@numba.njit
def jitted_helper(x):
    return FACTOR * x


@numba.njit
def jitted(t, sensed, memory, gains, command):
    command[0] = jitted_helper(sensed[1])


class Steering:
    """A law that is an object."""

    def __init__(self, gain):
        self.gain, self.seen = gain, {"a": {1, 2, 3}, "b": None}

    def __call__(self, t, sensed, memory, gains, command):
        command[0] = self.scaled(sensed[1])

    def scaled(self, x):
        return self.gain * x


def with_default(t, sensed, memory, gains, command, *, gain=1.0, names=frozenset({"x", "y", "z"})):
    command[0] = gain * sensed[1] * len(names & {"x", "q"})


SAME = {
    "made twice": lambda: make(0.1),
    "function": lambda: calm,
    "with helper": lambda: helped,
    "jitted": lambda: jitted,
    "jitted here": lambda: numba.njit(make(0.1)),
    "object": lambda: Steering(1.0),
    "method": lambda: Steering(1.0).__call__,
    "partial": lambda: functools.partial(with_default, gain=3.0),
    "array in its closure": lambda: make(np.arange(5.0)),
    "generator of random numbers": lambda: make(np.random.default_rng(3)),
}


@pytest.mark.parametrize("law", SAME)
def test_same_law__has_one_digest(law):
    assert digest_of(SAME[law]()) == digest_of(SAME[law]())


def test_text__of_an_object_says_its_class_and_not_where_it_lies():
    """Two equal objects in two sessions are one law: an ensemble goes on with it."""
    one, other = Steering(1.0), Steering(1.0)
    assert law_text(one, 1) == law_text(other, 1) and law_text(one, 1).startswith("Steering (digest")
    assert law_text(functools.partial(with_default, gain=3.0), 1).startswith("partial (digest")


def test_different_laws__have_different_digests():
    digests = [digest_of(one()) for one in SAME.values()]
    digests += [digest_of(law) for law in (make(0.2), make(1), make(True), make("0.1"), make(np.float32(0.1)), Steering(1.5), make(np.arange(4.0)))]
    assert len(set(digests)) == len(digests)


def changed(monkeypatch, law, name, value) -> bool:
    """Return whether another value of a global of this module changes a law's digest."""
    before = digest_of(law)
    monkeypatch.setitem(globals(), name, value)
    return digest_of(law) != before


def test_global__of_the_law_and_of_what_it_calls(monkeypatch):
    assert changed(monkeypatch, helped, "FACTOR", 2.5)
    assert changed(monkeypatch, jitted, "FACTOR", 3.5)
    assert changed(monkeypatch, helped, "TABLE", np.array([1.0, 2.0, 3.0]))
    assert changed(monkeypatch, helped, "helper", lambda x: FACTOR * x)
    assert not changed(monkeypatch, calm, "FACTOR", 4.5)


def test_array__that_is_changed_in_place():
    values = np.zeros(3)
    law = make(values)
    before = digest_of(law)
    values[2] = 1e-300
    assert digest_of(law) != before


def test_defaults_count():
    other = types.FunctionType(with_default.__code__, globals(), "with_default", None, None)
    other.__kwdefaults__ = with_default.__kwdefaults__ | {"gain": 1.5}
    assert digest_of(other) != digest_of(with_default)


def test_module_of_ones_own__counts_by_what_is_read_of_it():
    own = types.ModuleType("own_gains")
    own.gain, own.unused = 1.0, 5.0
    law = types.FunctionType(compile("def law(t, sensed):\n    return own.gain", "x", "exec").co_consts[0], {"own": own})
    before = digest_of(law)
    own.unused = 6.0
    assert digest_of(law) == before
    own.gain = 1.5
    assert digest_of(law) != before


def test_cycle__ends():
    held = []
    held.append(held)
    assert digest_of(make(held)) == digest_of(make(held)) and len(law_text(make(held), 1)) < 80


@pytest.mark.parametrize("held", [threading.Lock, lambda: (x for x in ()), lambda: sys.__stdout__], ids=["lock", "generator", "file"])
def test_untold__differs_from_all(held):
    law = make(held())
    with pytest.raises(Untold):
        digest_of(law)
    assert law_text(law, 1) != law_text(law, 1)
    assert "of which nothing can be told" in law_text(law, 1)


def test_text__names_gains_and_digest():
    assert law_text(None, 0) == "built in"
    text = law_text(sixdof.laws.Law(calm, memory=3, gains=[0.5, -2.0]), 1)
    assert text.startswith("calm (gains 0.5, -2; digest ") and "Python 3." in text
    others = [sixdof.laws.Law(calm, memory=4, gains=[0.5, -2.0]), sixdof.laws.Law(calm, memory=3, gains=[0.5, -2.0000000001]), calm]
    assert len({text, *(law_text(law, 1) for law in others)}) == 4
    assert "Python" not in law_text(jitted, 1)


def test_c_law__is_told_by_its_library(tmp_path):
    path = tmp_path / "law.so"
    path.write_bytes(b"one build")
    before = law_text(sixdof.laws.CLaw(path, "steer"), 1)
    path.write_bytes(b"another build")
    assert law_text(sixdof.laws.CLaw(path, "steer"), 1) != before != law_text(sixdof.laws.CLaw(path, "steer", gains=[1.0]), 1)
    with pytest.raises(sixdof.laws.LawError, match="cannot be read as a shared library: No such file"):
        law_text(sixdof.laws.CLaw(tmp_path / "none.so", "steer"), 1)


def test_digest__is_that_of_another_process(tmp_path):
    """Whatever the order of sets there, and whatever was loaded before."""
    script = tmp_path / "other.py"
    script.write_text(
        textwrap.dedent("""
        import sys
        sys.path.insert(0, sys.argv[1])
        import test_law_digest as module
        from sixdof.flight.law_digest import digest_of
        print(*(digest_of(one()).hex() for one in module.SAME.values()))
    """)
    )
    here = [digest_of(one()).hex() for one in SAME.values()]
    for seed in ("1", "2"):
        found = subprocess.run(
            [sys.executable, script, str(__file__).rsplit("/", 1)[0]],
            env={**__import__("os").environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        assert found.stdout.split() == here
