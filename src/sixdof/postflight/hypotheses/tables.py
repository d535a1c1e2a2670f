"""The kinds of evidence of a flight that is over, as tables of a file: every piece with its error, and with the share of such pieces that are plainly wrong.

Units as in a mission file. Times are seconds since liftoff, heights are above the ground at the launch point, errors are standard deviations. A place is
`latitude` and `longitude`, or `east` and `north` of the rail. `gross` is the share of such pieces that say nothing of the flight (a fix by way of a
reflection, a report of another rocket, a slip of the pen): with it, one wrong piece among good ones does not rule everything out. The shares and errors that
are filled in where none are given are this project's guesses.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field, StrictBool

from sixdof.mission.errors import Problem
from sixdof.mission.tables.base import Table, check_of, key
from sixdof.mission.units import (
    Angle,
    Direction,
    Latitude,
    Length,
    NonNegativeTime,
    PositiveAngle,
    PositiveLength,
    PositiveTime,
    Share,
    Speed,
    Time,
    Written,
    quantity,
)

PositiveSpeed = quantity("m/s", above=0.0)

_ANY = "body it is about, by its name in the results; any of them if omitted"
_FRONT = "body it is about, by its name in the results; the front stage if omitted"


class Piece(Table):
    """What every piece of evidence has."""

    name: str = key("what it is called on the page; made from its kind and time if omitted", "last fix", default="")


class _Placed(Piece):
    latitude: Latitude | None = key("geodetic latitude of the place, north positive", "38.0021 deg", default=None)
    longitude: Direction | None = key("longitude of the place, east positive", "-116.9954 deg", default=None)
    east: Length | None = key("place east of the rail, in place of latitude and longitude", "412 m", default=None)
    north: Length | None = key("place north of the rail", "-60 m", default=None)


class _Watched(Piece):
    from_latitude: Latitude | None = key("latitude of where the observer stood", "37.9991 deg", default=None)
    from_longitude: Direction | None = key("longitude of where the observer stood", "-117.001 deg", default=None)
    from_east: Length = key("where the observer stood, east of the rail, in place of latitude and longitude", "-80 m", default=0.0)
    from_north: Length = key("where the observer stood, north of the rail", "15 m", default=0.0)
    eye_height: Length = key("height of the observer's eye above the launch point", "1.7 m", default=1.7)


class Fix(_Placed):
    """A position ping: where a receiver on board said it was, at a time."""

    kind: Literal["fix"] = key("a position ping", "fix", default="fix")
    body: str = key(_FRONT, "whinchat", default="")
    time: Time = key("when", "84 s")
    time_error: NonNegativeTime = key("standard deviation of that time, the age of the fix included", "1 s", default=0.5)
    horizontal_error: PositiveLength = key("standard deviation east, and as much north", "8 m", default=10.0)
    height: Length | None = key("height above the launch point, if the fix has one", "310 m", default=None)
    height_error: PositiveLength = key("standard deviation of that height", "25 m", default=25.0)
    gross: Share = key("share of such fixes that are wrong altogether: reflections, few satellites, a cold start", "3 %", default=0.03)


class LastPacket(Piece):
    """What the last packet of telemetry said, at its time: height and climb rate."""

    kind: Literal["packet"] = key("a packet of telemetry, such as the last one", "packet", default="packet")
    body: str = key(_FRONT, "whinchat", default="")
    time: Time = key("when it was sent", "61.5 s")
    time_error: NonNegativeTime = key("standard deviation of that time", "0.2 s", default=0.2)
    height: Length | None = key("height above the launch point that it told", "820 m", default=None)
    height_error: PositiveLength = key("standard deviation of that height", "10 m", default=10.0)
    climb_rate: Speed | None = key("vertical speed that it told, up positive", "-14 m/s", default=None)
    climb_rate_error: PositiveSpeed = key("standard deviation of that speed", "2 m/s", default=2.0)
    gross: Share = key("share of such packets that are wrong altogether", "1 %", default=0.01)


class Silence(Piece):
    """Nothing was received from one time to another.

    A body in the air for `heard_after` of that time would have been heard with the probability `heard`; one on the ground with `heard_on_ground`, but not
    if it came down faster than `survives`. `dead` is the probability that the transmitter had failed by itself.
    """

    kind: Literal["silence"] = key("nothing received from start to end", "silence", default="silence")
    body: str = key(_FRONT, "whinchat", default="")
    start: Time = key("from when", "62 s")
    end: Time | None = key("to when; for good if omitted", "300 s", default=None)
    heard: Share = key("probability that a body in the air, its transmitter working, would have been heard", "95 %", default=0.95)
    heard_after: PositiveTime = key("time in the air that it takes to be heard so probably; less of it tells less", "5 s", default=10.0)
    heard_on_ground: Share = key("probability that a body that lies on the ground, its transmitter working, would have been heard", "40 %", default=0.4)
    survives: Speed = key("landing speed over the ground above which the transmitter is taken for broken", "15 m/s", default=15.0)
    dead: Share = key("probability that the transmitter was dead for a reason of its own", "5 %", default=0.05)


class Landed(Piece):
    """It was reported to have landed by a time, or not to have landed yet."""

    kind: Literal["landed"] = key("reported landed by a time", "landed", default="landed")
    body: str = key(_FRONT, "whinchat", default="")
    time: Time = key("by when", "95 s")
    time_error: NonNegativeTime = key("standard deviation of that time", "3 s", default=3.0)
    landed: StrictBool = key("true: reported landed by then; false: seen or heard still in the air then", True, default=True)
    wrong: Share = key(
        "share of such reports that are wrong: said by somebody who saw nothing, or by a computer that mistook a canopy for the ground", "5 %", default=0.05
    )


class Sighting(_Watched):
    """A body was seen from a place at a bearing, and perhaps an elevation."""

    kind: Literal["sighting"] = key("seen from a place at a bearing", "sighting", default="sighting")
    body: str = key(_ANY, "drayhorse", default="")
    time: Time = key("when", "40 s")
    time_error: NonNegativeTime = key("standard deviation of that time", "2 s", default=2.0)
    bearing: Direction = key("bearing from the observer, true", "70 deg")
    bearing_error: PositiveAngle = key("standard deviation of the bearing", "5 deg", default=0.0873)
    elevation: Angle | None = key("angle above the horizon", "35 deg", default=None)
    elevation_error: PositiveAngle = key("standard deviation of the elevation", "5 deg", default=0.0873)
    gross: Share = key("share of such sightings that were of something else", "10 %", default=0.1)


class Recovered(_Placed):
    """A piece was found on the ground."""

    kind: Literal["recovered"] = key("a piece found at a place", "recovered", default="recovered")
    body: str = key("body that was found, by its name in the results; the front stage if omitted", "drayhorse", default="")
    error: PositiveLength = key(
        "standard deviation east, and as much north: of the place, of what the ground and gusts do to a landing, and of dragging", "20 m", default=20.0
    )
    gross: Share = key("share of such finds that tell of another place: moved by somebody, or dragged far", "2 %", default=0.02)


class NotSeen(_Watched):
    """Somebody looked in a direction from one time to another and saw nothing."""

    kind: Literal["not_seen"] = key("looked for in a direction and not seen", "not_seen", default="not_seen")
    body: str = key(_FRONT, "whinchat", default="")
    start: Time = key("from when", "30 s")
    end: Time = key("to when", "60 s")
    bearing: Direction = key("bearing of the middle of what was looked at, true", "250 deg")
    half_width: PositiveAngle = key("to both sides of it", "30 deg")
    lowest: Angle = key("least elevation that was looked at", "2 deg", default=0.0)
    highest: Angle = key("largest elevation that was looked at", "60 deg", default=1.5708)
    reach: PositiveLength = key("distance up to which it would be seen", "1.5 km", default=1500.0)
    detection: Share = key("probability that it would have been seen, had it been there all that time", "80 %", default=0.8)


class Searched(_Placed):
    """Ground was searched and nothing was found: a circle about a place, or a polygon."""

    kind: Literal["searched"] = key("searched here and not found", "searched", default="searched")
    body: str = key(_FRONT, "whinchat", default="")
    radius: PositiveLength | None = key("of the circle about the place", "120 m", default=None)
    corners: tuple[tuple[Length, Length], ...] = key(
        "corners [east, north] of a polygon, in place of a circle", [["0 m", "0 m"], ["200 m", "0 m"], ["200 m", "90 m"]], default=()
    )
    detection: Share = key("probability of finding what lies there", "70 %", default=0.7)
    edge: PositiveLength = key("standard deviation of where the edge of the searched ground is", "10 m", default=10.0)


class Heard(_Watched):
    """An impact was heard at a time: a body that came down fast."""

    kind: Literal["heard"] = key("an impact heard at a time", "heard", default="heard")
    body: str = key(_ANY, "whinchat", default="")
    time: Time = key("when the sound came", "37 s")
    time_error: PositiveTime = key("standard deviation of that time", "1 s", default=1.0)
    louder_than: Speed = key("landing speed over the ground below which nobody hears an impact", "12 m/s", default=12.0)
    gross: Share = key("share of such sounds that were something else", "15 %", default=0.15)


class CanopySeen(Piece):
    """A canopy was seen open, or the body was seen without one, at a time or at all."""

    kind: Literal["canopy"] = key("a canopy seen, or not", "canopy", default="canopy")
    body: str = key(_FRONT, "whinchat", default="")
    canopy: str = key("name of the parachute; any of the body's if omitted", "main", default="")
    seen: StrictBool = key("true: seen open; false: seen without it", True, default=True)
    time: Time | None = key("when; at any time of the flight if omitted", "60 s", default=None)
    time_error: NonNegativeTime = key("standard deviation of that time", "2 s", default=2.0)
    wrong: Share = key("share of such observations that are wrong", "5 %", default=0.05)


class Logged(Piece):
    """A number that a log or a display gave: apogee, time of flight, largest speed, or any other outcome of a flight."""

    kind: Literal["logged"] = key("a number of the flight, as a log or a display gave it", "logged", default="logged")
    quantity: str = key(
        "name of the outcome as results have it, such as apogee_height, apogee_time, flight_time, airspeed_max; of a body: body_landing_time", "apogee_height"
    )
    body: str = key("of outcomes that every body has: which; the front stage if omitted", "drayhorse", default="")
    value: Written = key("what it was, with its unit", "1480 m")
    error: Written = key("standard deviation", "15 m")
    gross: Share = key("share of such numbers that are wrong altogether", "1 %", default=0.01)


AnyPiece = Annotated[Fix | LastPacket | Silence | Landed | Sighting | Recovered | NotSeen | Searched | Heard | CanopySeen | Logged, Field(discriminator="kind")]
KINDS = ("fix", "packet", "silence", "landed", "sighting", "recovered", "not_seen", "searched", "heard", "canopy", "logged")


class EvidenceFile(Table):
    """A file of evidence of one flight."""

    title: str = key("what the page is headed with", "Whinchat, second flight", default="")
    evidence: tuple[AnyPiece, ...] = key("a piece of evidence")


# ---------------------------------------------------------------- what cannot be


def _pair(piece: Table, first: str, second: str, other: tuple[str, str], needed: bool) -> Iterator[Problem]:
    """Yield what is wrong with a place given by two keys, or by two others."""
    there = [name for name in (first, second) if getattr(piece, name) is not None]
    others = [name for name in other if name in piece.model_fields_set and getattr(piece, name) is not None]
    if there and others:
        yield Problem((others[0],), getattr(piece, others[0]), f"a place is {first} and {second}, or {other[0]} and {other[1]}, not both", "remove one pair")
    elif len(there) == 1 or len(others) == 1:
        lost = next(name for name in ((first, second) if there else other) if name not in there + others)
        yield Problem((lost,), None, f"missing: {(there + others)[0]} alone is no place", f"add {lost}")
    elif needed and not there and not others:
        yield Problem((first,), None, "missing: it has no place", f"add {first} and {second}, or {other[0]} and {other[1]}")


@check_of(_Placed)
def _placed(piece: _Placed) -> Iterator[Problem]:
    yield from _pair(piece, "latitude", "longitude", ("east", "north"), not (isinstance(piece, Searched) and piece.corners))
    if isinstance(piece, Searched):
        yield from _area(piece)


@check_of(_Watched)
def _watched(piece: _Watched) -> Iterator[Problem]:
    yield from _pair(piece, "from_latitude", "from_longitude", ("from_east", "from_north"), False)
    if isinstance(piece, NotSeen):
        yield from _interval(piece)


@check_of(LastPacket)
def _packet(piece: LastPacket) -> Iterator[Problem]:
    if piece.height is None and piece.climb_rate is None:
        yield Problem(("height",), None, "missing: the packet tells neither height nor climb_rate", 'add height = "820 m"')


@check_of(Silence)
def _silence(piece: Silence) -> Iterator[Problem]:
    yield from _interval(piece)


def _interval(piece) -> Iterator[Problem]:
    if piece.end is not None and piece.end <= piece.start:
        yield Problem(("end",), piece.end, f"is not after start, {piece.start:g} s", "give the later time as end")


def _area(piece: Searched) -> Iterator[Problem]:
    if piece.corners and piece.radius is not None:
        yield Problem(("radius",), piece.radius, "searched ground is a circle, or a polygon of corners, not both", "remove one of them")
    elif not piece.corners and piece.radius is None:
        yield Problem(("radius",), None, "missing: it says no area", 'add radius = "120 m", or corners')
    elif piece.corners and len(piece.corners) < 3:
        yield Problem(("corners",), None, f"{len(piece.corners)} corners make no area", "give three or more")
