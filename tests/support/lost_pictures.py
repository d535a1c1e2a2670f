"""What a camera on a tripod saw of an invented flight: pixels of nose and tail by a pinhole's closed form, read off frames with a known error."""

from __future__ import annotations

import numpy as np

PLACE = np.array([-34.0, 126.0, 1.4])  # m: north of the rail, square to where it leans
BEARING, ELEVATION, ROLL = np.radians([164.2, 27.5, 1.2])
PICTURE = (2160, 3840)  # px, upright
WIDE = np.radians(40.0)  # across the width
FRAME_RATE, LIFTOFF_FRAME = 60.0, 41.3
READING = 0.5  # px, with a loupe
LANDMARKS = {"water tank": (66.0, -38.0, 9.5), "wind mast": (-20.0, -54.0, 10.0)}  # besides the rail's foot and tip
LENGTHS = {False: 1.3, True: 1.92}  # m: alone, on the booster


def focal() -> float:
    """Return the focal length in px."""
    return 0.5 * PICTURE[0] / np.tan(0.5 * WIDE)


def pixels(places: np.ndarray) -> np.ndarray:
    """Return pixels (n, 2), right and down, of places (n, 3): east, north, up."""
    sb, cb, se, ce = np.sin(BEARING), np.cos(BEARING), np.sin(ELEVATION), np.cos(ELEVATION)
    forward, level = np.array([sb * ce, cb * ce, se]), np.array([cb, -sb, 0.0])
    up = np.cross(level, forward)
    right, down = level * np.cos(ROLL) - up * np.sin(ROLL), -(up * np.cos(ROLL) + level * np.sin(ROLL))
    away = places - PLACE
    along = away @ forward
    return np.array(PICTURE) / 2 + focal() * np.stack([away @ right, away @ down], axis=-1) / along[:, None]


def ends(flight, time: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return places of nose and tail (n, 3) at times since liftoff: from the centre of mass along the body's axis."""
    at = time + float(flight.event_time.sel(event="liftoff").values[0])
    rows = np.flatnonzero(np.append(np.diff(flight.time.values) > 0.0, True))
    clock = flight.time.values[rows]
    read = lambda values: np.stack([np.interp(at, clock, column) for column in np.atleast_2d(values[rows].T)], axis=-1)  # noqa: E731
    centre = np.concatenate([read(flight[name].values) for name in ("east", "north", "height")], axis=1)
    w, x, y, z = (read(flight.attitude.values) / np.linalg.norm(read(flight.attitude.values), axis=1, keepdims=True)).T
    axis = np.stack([1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)], axis=-1)
    cg = read(flight.cg.values)
    parted = float(flight.event_time.sel(event="separation drayhorse").values[0])
    length = np.where(at < parted, LENGTHS[True], LENGTHS[False])[:, None]
    return centre + cg * axis, centre - (length - cg) * axis


def frames_of(flight, rng: np.random.Generator) -> list[tuple]:
    """Return (frame, nose x, nose y, tail x, tail y) of every second frame in which both lie in the picture, read with errors."""
    number = np.arange(np.ceil(LIFTOFF_FRAME), LIFTOFF_FRAME + 4.0 * FRAME_RATE, 2.0)
    both = [pixels(place) for place in ends(flight, (number - LIFTOFF_FRAME) / FRAME_RATE)]
    seen = np.all([(one >= 0.0).all(axis=1) & (one < np.array(PICTURE)).all(axis=1) for one in both], axis=0)
    read = [one + READING * rng.standard_normal(one.shape) for one in both]
    return [(int(n), *np.round(nose, 1), *np.round(tail, 1)) for n, nose, tail, there in zip(number, *read, seen, strict=True) if there]


def landmark_pixels(mission, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return the pixels at which the landmarks were read, px; the rail's as the mission has it."""
    rail = mission.rail
    along = np.array([np.sin(rail.azimuth) * np.cos(rail.elevation), np.cos(rail.azimuth) * np.cos(rail.elevation), np.sin(rail.elevation)])
    places = {"rail foot": np.zeros(3), "rail tip": rail.length * along, **{name: np.array(place) for name, place in LANDMARKS.items()}}
    return {name: pixels(place[None])[0] + 1.5 * rng.standard_normal(2) for name, place in places.items()}
