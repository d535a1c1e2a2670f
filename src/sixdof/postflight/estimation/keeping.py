"""A file that an estimate keeps its turns in: killed or interrupted, the same call goes on from the last one, to the same bits."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sixdof.mission.units import shown
from sixdof.postflight.estimation.solver import State


class Kept:
    """States of fits by their number in a file; without a path nothing is kept."""

    def __init__(self, path: Any, parts: Sequence[Any]):
        """Open or begin a file. parts : what the estimate depends on. Raises ValueError for a file of something else."""
        self.path, self.states = None if path is None else Path(path), {}
        self.digest = hashlib.sha256(b"\0".join(_bytes(part) for part in parts)).hexdigest()
        if self.path is None or not self.path.exists():
            return
        try:
            found = json.loads(self.path.read_text())
            mine = found["digest"] == self.digest
            self.states = {int(number): _state(one) for number, one in found["states"].items()}
        except (ValueError, KeyError, TypeError, AttributeError):
            raise ValueError(f"estimate: keep: {shown(str(path))} is no file that an estimate kept; take another name") from None
        if not mine:
            raise ValueError(f"estimate: keep: {shown(str(path))} is of another estimate (other logs, parameters, mission or version); take another name")

    def save(self, number: int, state: State) -> None:
        """Put the state of a fit into the file, at once or not at all."""
        self.states[number] = state
        if self.path is None:
            return
        text = json.dumps({"digest": self.digest, "states": {str(each): _plain(one) for each, one in self.states.items()}})
        draft = self.path.with_name(self.path.name + ".part")
        draft.write_text(text)
        os.replace(draft, self.path)


def _bytes(part: Any) -> bytes:
    return part.tobytes() if isinstance(part, np.ndarray) else repr(part).encode()


def _plain(state: State) -> dict[str, Any]:
    return state._asdict() | {"z": state.z.tolist(), "step": state.step.tolist(), "colour": [one.tolist() for one in state.colour]}


def _state(found: dict[str, Any]) -> State:
    colour = [np.array(one, dtype=float) for one in found["colour"]]
    numbers = {name: np.array(found[name], dtype=float) for name in ("z", "step")}
    return State(**found | numbers | {"colour": colour, "history": [tuple(one) for one in found["history"]]})
