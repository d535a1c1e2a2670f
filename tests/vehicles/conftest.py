"""Each of the three vehicles flown once, and a few times with everything drawn."""

from __future__ import annotations

import matplotlib.pyplot as plt
import pytest
from strangers import FILES, FLIGHTS, SEED, stranger

import sixdof


@pytest.fixture(scope="session")
def missions():
    return {name: stranger(name) for name in FILES}


@pytest.fixture(scope="session")
def flights(missions):
    return {name: sixdof.fly(mission) for name, mission in missions.items()}


@pytest.fixture(scope="session")
def ensembles(missions):
    """A dispersed path (the canard's tail) makes the tables anew for each flight: one thread does that here."""
    return {name: sixdof.disperse(mission, FLIGHTS, seed=SEED, progress=False, threads=1) for name, mission in missions.items()}


@pytest.fixture(scope="session")
def models(missions):
    """Linear models of the one that steers."""
    return sixdof.loops.linearise(missions["canard"], points=5)


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")
