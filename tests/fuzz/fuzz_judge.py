"""What a fuzzed call may end with: a sound result, or one clear error."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from sixdof import FlightError, MissionError
from sixdof.stats import Status

LONGEST = 400  # characters a fault: a sentence and what would be right
# what tells of the inside of the library or of those below it
INSIDE = re.compile(
    r"Traceback|site-packages|src/sixdof|\bsixdof\.(?:mission|core|world|vehicle|ensemble|results|legs)\b|pydantic|numba|<class|<function"
    r"| object at 0x|ufunc|Errno|index \d+ is out of bounds|unsupported operand|not subscriptable|has no attribute|object is not iterable"
    r"|must be real number|could not convert|invalid literal|unexpected keyword"
)
# always there, whatever the end of a flight; all else may be NaN where it was not reached
ALWAYS = (
    "time",
    "phase",
    "east",
    "north",
    "height",
    "velocity",
    "attitude",
    "body_rate",
    "mach",
    "airspeed",
    "dynamic_pressure",
    "mass",
    "cg",
    "thrust",
    "specific_force",
    "airspeed_max",
    "mach_max",
    "flight_time",
)
LANDED = ("apogee_height", "apogee_time", "apogee_east", "apogee_north", "landing_east", "landing_north", "landing_ground_speed", "rail_departure_speed")


class Unclear(AssertionError):
    """An end that is neither a sound result nor a clear error."""


def attempt(call: Callable[[], Any], refusals: tuple = (MissionError,)) -> tuple[str, Any]:
    """Return ("done", what `call` returned) or ("refused", a clear error of one of the kinds `refusals`).

    Raises Unclear for another error, an unclear one, or a warning from inside (of a number that overflowed, say).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.filterwarnings("ignore", r"after [\d.]+ s: ", UserWarning)  # a flight that did not land says so
        try:
            return "done", call()
        except refusals as error:
            found = error
        except Exception as error:
            raise Unclear(f"{type(error).__name__} from inside: {str(error)[:300]}") from error
    for complaint in complaints(found):
        raise Unclear(complaint) from found
    return "refused", found


def complaints(error: Exception) -> Iterator[str]:
    """Yield what is unclear in an error's text."""
    sentences = [str(fault) for fault in error.faults] if isinstance(error, MissionError) else [str(error)]
    if not sentences or not all(sentences):
        yield f"{type(error).__name__} says nothing"
    for sentence in sentences:
        if len(sentence) > LONGEST:
            yield f"{len(sentence)} characters: {sentence[:LONGEST]} ..."
        if not sentence.isprintable():
            yield f"not one printable line: {sentence!r}"
        if found := INSIDE.search(sentence):
            yield f"tells of the inside ({found[0]}): {sentence}"
    for fault in getattr(error, "faults", ()):
        if not (fault.file or fault.key or fault.place or '""' in fault.message):  # "" may be what was written
            yield f"does not say where: {fault}"


def check_flight(ds) -> None:
    """Raise Unclear unless a flight's numbers are sound: no infinity, NaN only where something was not reached."""
    status = Status(int(ds["status"]))
    for name, values in ds.variables.items():
        if values.dtype.kind == "f" and np.isinf(values.values).any():
            raise Unclear(f"{status.name}: {name} holds an infinity")
    wanted = ALWAYS + (LANDED if status is Status.LANDED else ())
    for name in wanted:
        if not np.isfinite(ds[name].values).all():
            raise Unclear(f"{status.name}: {name} holds a NaN")
    length = np.linalg.norm(ds["attitude"].values, axis=1)
    if np.abs(length - 1.0).max(initial=0.0) > 1e-6:  # normalised each step: rounding only
        raise Unclear(f"{status.name}: the attitude quaternion is {length.min()} to {length.max()} long")
    if status is Status.LANDED and not np.isfinite(ds["body_landing_time"].values[0]):
        raise Unclear("LANDED: the front body has no impact")


def check_flown(mission) -> str:
    """Fly a mission and return how it ended; raise Unclear for an end that is not sound."""
    import sixdof

    how, found = attempt(lambda: sixdof.fly(mission), (FlightError, MissionError))
    if how == "refused":
        return "diverged" if isinstance(found, FlightError) else "refused"
    check_flight(found)
    return Status(int(found["status"])).name.lower()
