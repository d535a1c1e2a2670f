"""Where the axial force of the air acts along a body, by the build-up of drag: what presses the body together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.vehicle.aero.drag import drag_breakdown
from sixdof.vehicle.geometry import Shape

MACHS = np.linspace(0.0, 4.0, 41)  # at which the shares are worked out
STEPS = 100  # along each piece of the body


def drag_ahead(mission: Mission, stages: Sequence[int], shape: Shape, stations: np.ndarray, mach: np.ndarray) -> np.ndarray:
    """Return the share of the axial force that acts ahead of stations (n,), over `mach` (rows,): (rows, n), 1 at the last.

    Friction goes with the wetted surface, pressure with what the body widens or narrows, fins stand at the middle of their roots, guides at their
    stations, the base at the end. At the standard atmosphere's sea-level Reynolds number; a measured curve is spread like the build-up.
    """
    rows = drag_breakdown(mission, list(stages), MACHS)
    places = _places(mission, stages, shape, stations)
    total = np.maximum(rows["total"], 1e-9)
    shares = sum((rows[name] / total)[:, None] * places[place][None, :] for name, place in _PLACE.items())
    shares[:, -1] = 1.0
    at = np.clip(mach, MACHS[0], MACHS[-1]) / (MACHS[1] - MACHS[0])
    row = np.minimum(at.astype(int), len(MACHS) - 2)
    part = (at - row)[:, None]
    return shares[row] * (1.0 - part) + shares[row + 1] * part


_PLACE = {
    "friction, body": "surface",
    "friction, fins": "fins",
    "nose and shoulders": "widening",
    "boattail": "narrowing",
    "base": "base",
    "fins, edges": "fins",
    "fins, wave": "fins",
    "fins, junctions": "fins",
    "fins, slots": "fins",
    "guides": "guides",
}


def _places(mission: Mission, stages: Sequence[int], shape: Shape, stations: np.ndarray) -> dict[str, np.ndarray]:
    """Return the share of each kind of drag ahead of stations (n,)."""
    x, surface, square = [], [], []
    for segment in shape.segments:
        ends = segment.x0 + segment.length * np.linspace(0.0, 1.0, STEPS + 1)
        radius = segment.radius(ends)
        x.append(0.5 * (ends[1:] + ends[:-1]))
        surface.append(0.5 * (radius[1:] + radius[:-1]) * np.hypot(np.diff(ends), np.diff(radius)))
        square.append(np.diff(radius**2))
    x, surface, square = np.concatenate(x), np.concatenate(surface), np.concatenate(square)
    fins = [(fin.x0 + 0.5 * fin.root_chord, fin.part.count * fin.area) for fin in shape.fins]
    guides = [
        (fore + part.station, part.width * part.height)
        for fore, k in zip(shape.stage_x0, stages)
        for part in mission.stage[k].part
        if part.kind == "rail_guide"
    ]
    return {
        "surface": _share(x, surface, stations),
        "widening": _share(x, np.maximum(square, 0.0), stations),
        "narrowing": _share(x, np.maximum(-square, 0.0), stations),
        "fins": _share(*np.array(fins or [(shape.length, 1.0)]).T, stations),
        "guides": _share(*np.array(guides or [(shape.length, 1.0)]).T, stations),
        "base": (stations >= stations[-1]).astype(float),
    }


def _share(x: np.ndarray, weight: np.ndarray, stations: np.ndarray) -> np.ndarray:
    order, total = np.argsort(x, kind="stable"), weight.sum()
    if total <= 0.0:
        return (stations >= stations[-1]).astype(float)
    return np.concatenate([[0.0], np.cumsum(weight[order])])[np.searchsorted(x[order], stations)] / total
