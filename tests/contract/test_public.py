"""Rules about the public names as a whole."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys

import pytest

import sixdof

CALLABLES = [name for name in sixdof.__all__ if inspect.isfunction(getattr(sixdof, name))]


@pytest.mark.parametrize("name", sixdof.__all__)
def test_public_name__exists_and_is_documented(name):
    value = getattr(sixdof, name)
    assert value.__doc__ and len(value.__doc__.strip()) > 20
    assert name in dir(sixdof)


@pytest.mark.parametrize("name", CALLABLES)
def test_public_function__refuses_a_misspelt_keyword(name):
    with pytest.raises((TypeError, sixdof.MissionError)):
        getattr(sixdof, name)(overwriet=True)


@pytest.mark.parametrize("name", [n for n in CALLABLES if n != "build_mission"])
def test_public_function__names_every_keyword_argument_in_its_docstring(name):
    function = getattr(sixdof, name)
    optional = [p.name for p in inspect.signature(function).parameters.values() if p.default is not inspect.Parameter.empty]
    for argument in optional:
        assert re.search(rf"\b{argument}\b", function.__doc__), f"{name}: {argument}"


def test_unknown_name__is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_thing"):
        sixdof.no_such_thing


def test_import__leaves_the_heavy_libraries_alone():
    heavy = "numba matplotlib xarray pint pydantic scipy"
    code = f"import sys, sixdof; print([m for m in '{heavy}'.split() if m in sys.modules])"
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
