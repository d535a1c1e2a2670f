"""Every public function has an example, and every example runs and gives what it says."""

from __future__ import annotations

import ast
import doctest
import re
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest
from test_public import FUNCTIONS, thing

import sixdof

ROOT = Path(__file__).parents[2]
# what examples start from, made as the help of sixdof says: name -> the line that makes it
START = dict(re.findall(r"^    ((\w+) = sixdof\..*)$", sixdof.__doc__.split("start from")[1], flags=re.M))
START = {name: line for line, name in START.items()}
parse = doctest.DocTestParser().get_examples


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder that holds the demos' configs, in which examples run and write."""
    where = tmp_path_factory.mktemp("examples")
    (where / "configs").symlink_to(ROOT / "configs")
    return where


@pytest.fixture(scope="module")
def start(folder):
    """Return a function that makes the names a text uses, each once for all examples."""
    made = {"sixdof": sixdof, "np": np}

    def of(text: str) -> dict:
        used = {node.id for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Name)}
        for name in sorted(used & set(START) - set(made), key=list(START).index):
            of(START[name].partition("= ")[2])
            exec(START[name], made)
        return {name: made[name] for name in used | {"sixdof", "np"} if name in made}

    return of


LONG = {"sixdof.verify"}  # the study's own tests call it


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow) if name in LONG else name for name in FUNCTIONS])
def test_example__runs_and_gives_what_it_says(name, start, folder, monkeypatch):
    monkeypatch.chdir(folder)
    examples = parse(thing(name).__doc__)
    assert any(name.removeprefix("sixdof.") in example.source for example in examples), "there is no example that calls it"
    names = start("".join(example.source for example in examples))
    test = doctest.DocTest(examples, names, name, None, None, None)
    said: list[str] = []
    failed, _ = doctest.DocTestRunner(verbose=False).run(test, out=said.append)
    plt.close("all")
    assert not failed, "".join(said)
