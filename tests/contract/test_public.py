"""Rules about the public names as a whole: those of `sixdof` and of its façades."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from importlib import import_module
from types import ModuleType

import pytest

import sixdof
from sixdof.surface.lazy import Facade, homes_of, said_of, source_of

FACADES = ("sixdof", *(f"sixdof.{name}" for name in ("aero", "laws", "loops", "parts", "plot", "postflight", "preflight", "stats", "workshop")))
MOST = 16  # names of `sixdof` itself, its façades not counted: what one can hold in mind
NAMES = [f"{facade}.{name}" for facade in FACADES for name in import_module(facade).__all__]
REFUSALS = (TypeError, ValueError, sixdof.MissionError)


def thing(name: str):
    """Return a public name's value, looked up as a user would."""
    facade, _, last = name.rpartition(".")
    return getattr(import_module(facade), last)


FUNCTIONS = [name for name in NAMES if inspect.isfunction(thing(name))]
DOCUMENTED = [name for name in NAMES if inspect.isfunction(thing(name)) or inspect.isclass(thing(name)) or isinstance(thing(name), ModuleType)]


@pytest.mark.parametrize("name", DOCUMENTED)
def test_public_name__is_documented_and_listed(name):
    value = thing(name)
    assert value.__doc__ and len(value.__doc__.strip()) > 20
    facade, _, last = name.rpartition(".")
    assert last in dir(import_module(facade)) and last in str(import_module(facade))


def test_constants__are_told_by_the_overview():
    for name in sorted({*NAMES} - {*DOCUMENTED}):
        facade, _, last = name.rpartition(".")
        assert len(said_of(*import_module(facade)._homes[last])) > 20, name


@pytest.mark.parametrize("name", FUNCTIONS)
def test_public_function__refuses_a_misspelt_keyword(name):
    with pytest.raises(REFUSALS):
        thing(name)(overwriet=True)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_public_function__names_every_keyword_argument_in_its_docstring(name):
    function = thing(name)
    optional = [p.name for p in inspect.signature(function).parameters.values() if p.default is not inspect.Parameter.empty]
    unnamed = [argument for argument in optional if not re.search(rf"\b{argument}\b", function.__doc__)]
    assert not unnamed


def test_unknown_name__is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_thing"):
        sixdof.no_such_thing
    with pytest.raises(AttributeError, match="did you mean 'linearise'"):
        sixdof.loops.linearize


def test_import__leaves_the_heavy_libraries_alone():
    heavy = "numba matplotlib xarray pint pydantic scipy"
    code = f"import sys, {', '.join(FACADES)}; print(*FACADES) if 0 else None; print([m for m in '{heavy}'.split() if m in sys.modules])"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


# ---------------------------------------------------------------- the façades


def test_sixdof__is_small_enough_to_hold_in_mind():
    assert len([name for name in sixdof.__all__ if not isinstance(getattr(sixdof, name), ModuleType)]) <= MOST
    assert {f"sixdof.{name}" for name in sixdof.__all__ if isinstance(getattr(sixdof, name), ModuleType)} == {*FACADES} - {"sixdof"}


def test_names__are_in_one_facade_each():
    last = [name.rpartition(".")[2] for name in NAMES]
    assert len(set(last)) == len(last)


@pytest.mark.parametrize("facade", FACADES)
def test_facade__groups_hold_what_its_imports_say(facade):
    module = import_module(facade)
    homes = homes_of(source_of(facade))
    assert isinstance(module, Facade) and sorted(module.__all__) == sorted(homes)
    for name, (home, original) in homes.items():
        value = getattr(module, name)
        if not isinstance(value, ModuleType):
            assert getattr(import_module(home), original) is value
            assert getattr(value, "__module__", home) == home, f"{name} is at home in {value.__module__}"


@pytest.mark.parametrize("facade", FACADES)
def test_facade__prints_an_overview_without_loading_anything(facade):
    code = f"import sys, {facade}; print({facade}); print('heavy' if 'numba' in sys.modules or 'matplotlib' in sys.modules else 'light', file=sys.stderr)"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stderr.strip() == "light"
    lines = answer.stdout.splitlines()
    assert lines[0].startswith(f"{facade}: ") and max(map(len, lines)) <= 160
    said = {line.split()[0]: line.split()[1:] for line in lines[1:] if line.startswith("  ")}
    assert set(said) == set(import_module(facade).__all__)
    assert all(len(words) >= 2 for words in said.values()), [name for name, words in said.items() if len(words) < 2]
