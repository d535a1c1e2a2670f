"""What people and instruments would say of a lost flight, by probabilities that are known: right ones with errors, and plainly wrong ones in their share.

The densities are those that a file of evidence claims of its pieces: so whoever weighs them rightly is right as often as he says.
"""

from __future__ import annotations

import numpy as np
from support.lost_flights import mission_of

FRONT, BOOSTER = "whinchat", "drayhorse"


class Truth:
    """A flight that was flown, as a witness might ask it. Times are since liftoff."""

    def __init__(self, flight):
        self.flight = flight
        self.liftoff = float(flight.event_time.sel(event="liftoff").values[0])
        self.bodies = [str(name) for name in flight.body.values]

    def landing(self, body: str) -> tuple[float, float, float, float]:
        """Return time, east, north and speed of a landing."""
        k = self.bodies.index(body)
        names = ("body_landing_time", "body_landing_east", "body_landing_north", "body_landing_ground_speed")
        time, *rest = (float(self.flight[name].values[k]) for name in names)
        return time - self.liftoff, *rest

    def at(self, time: float) -> np.ndarray:
        """Return east, north, height of the front stage; where it landed once it is down."""
        rows = np.flatnonzero(np.append(np.diff(self.flight.time.values) > 0.0, True))
        at = min(time + self.liftoff, float(self.flight.time.values[rows[-1]]))
        return np.array([np.interp(at, self.flight.time.values[rows], self.flight[name].values[rows]) for name in ("east", "north", "height")])

    def climb(self, time: float) -> float:
        """Return the vertical speed of the front stage."""
        return float((self.at(time + 0.25) - self.at(time - 0.25))[2] / 0.5)

    def main_out(self) -> float:
        """Return when the lines of the front stage's main were stretched, NaN if never."""
        return float(self.flight.event_time.sel(event="line stretch main").values[0]) - self.liftoff


def packet(truth: Truth, rng: np.random.Generator, time: float) -> dict:
    """Return a packet's height and climb rate; nothing else of it is drawn."""
    height, climb = truth.at(time + 0.2 * rng.standard_normal())[2], truth.climb(time)
    return {
        "kind": "packet",
        "name": "last packet",
        "time": round(time, 2),
        "time_error": 0.2,
        "height": round(height + 6.0 * rng.standard_normal(), 1),
        "height_error": 6.0,
        "climb_rate": round(climb + 1.5 * rng.standard_normal(), 2),
        "climb_rate_error": 1.5,
        "gross": 0.0,
    }


def fix(truth: Truth, rng: np.random.Generator, time: float, reach: float, wrong: bool | None = None) -> dict:
    """Return a position ping without a height. reach : of wrong ones, normal about the rail. wrong : None draws whether it is."""
    wrong = rng.random() < 0.05 if wrong is None else wrong
    place = reach * rng.standard_normal(2) if wrong else truth.at(time + 1.0 * rng.standard_normal())[:2] + 12.0 * rng.standard_normal(2)
    own = {"kind": "fix", "name": "tracker, 2D", "time": round(time, 1), "time_error": 1.0, "horizontal_error": 12.0, "gross": 0.05}
    return own | {"east": round(place[0], 1), "north": round(place[1], 1)}


def landed(truth: Truth, rng: np.random.Generator, time: float, wrong: bool | None = None) -> dict:
    """Return a report that it has landed by a time, or has not."""
    wrong = rng.random() < 0.1 if wrong is None else wrong
    down = truth.landing(FRONT)[0] < time + 3.0 * rng.standard_normal()
    return {"kind": "landed", "name": "display", "time": round(time, 1), "time_error": 3.0, "landed": bool(down != wrong), "wrong": 0.1}


def main_seen(truth: Truth, rng: np.random.Generator, time: float, wrong: bool | None = None) -> dict:
    """Return whether the main was seen open at a time."""
    wrong = rng.random() < 0.15 if wrong is None else wrong
    seen = truth.main_out() < time + 2.0 * rng.standard_normal()
    return {"kind": "canopy", "name": "field glass", "canopy": "main", "time": round(time, 1), "time_error": 2.0, "seen": bool(seen != wrong), "wrong": 0.15}


def booster_found(truth: Truth, rng: np.random.Generator) -> dict:
    """Return where the booster was found."""
    _, east, north, _ = truth.landing(BOOSTER)
    place = np.array([east, north]) + 10.0 * rng.standard_normal(2)
    return {"kind": "recovered", "name": "booster", "body": BOOSTER, "east": round(place[0], 1), "north": round(place[1], 1), "error": 10.0, "gross": 0.0}


def apogee(truth: Truth, rng: np.random.Generator) -> dict:
    """Return the apogee that the log told."""
    height = float(truth.flight.apogee_height) + 8.0 * rng.standard_normal()
    return {"kind": "logged", "name": "apogee of the log", "quantity": "apogee_height", "value": f"{height:.1f} m", "error": "8 m", "gross": 0.0}


def sighting(truth: Truth, rng: np.random.Generator, time: float, eye: tuple[float, float]) -> dict:
    """Return bearing and elevation (as text) at which the front stage was seen from a place."""
    east, north, height = truth.at(time + 2.0 * rng.standard_normal()) - [*eye, 1.7]
    bearing = np.degrees(np.arctan2(east, north)) + 4.0 * rng.standard_normal()
    elevation = np.degrees(np.arctan2(height, np.hypot(east, north))) + 4.0 * rng.standard_normal()
    own = {
        "kind": "sighting",
        "name": "seen from the camp",
        "body": FRONT,
        "time": round(time, 1),
        "time_error": 2.0,
        "from_east": eye[0],
        "from_north": eye[1],
    }
    errors = {"bearing_error": "4 deg", "elevation_error": "4 deg", "gross": 0.0}
    return own | {"bearing": f"{bearing % 360.0:.1f} deg", "elevation": f"{elevation:.1f} deg"} | errors


def as_toml(pieces: list[dict], title: str, head: str = "", said: dict[str, str] | None = None) -> str:
    """Return pieces as a file of evidence. said : comments by name."""
    lines = [head.rstrip("\n"), f'title = "{title}"'] if head else [f'title = "{title}"']
    for piece in pieces:
        lines += ["", *(f"# {line}" for line in (said or {}).get(piece["name"], "").splitlines()), "[[evidence]]"]
        lines += [f"{key} = {_value(value)}" for key, value in piece.items()]
    return "\n".join(lines) + "\n"


def _value(value) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else f"{value:g}"


def site():
    """Return the site of all these flights."""
    return mission_of().site
