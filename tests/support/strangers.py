"""Three invented vehicles that nothing in the library was tuned on, in tests/vehicles.

slender: no control, three fins, hardly wider than its motor, supersonic. canard: four canards ahead of an elliptical tail, real sensors.
stack: three stages on 3, 5 and 3 fins. All from a southern site towards the south-west. Their numbers are not written down anywhere: what
is held are invariants and second statements.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import sixdof

FOLDER = Path(__file__).parents[1] / "vehicles"
FILES = {"slender": "slender.toml", "canard": "canard.toml", "stack": "three-stage.toml"}
SEED, FLIGHTS = 5, 5


@cache
def stranger(name: str) -> sixdof.Mission:
    return sixdof.load_mission(FOLDER / FILES[name])
