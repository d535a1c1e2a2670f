"""What was found wrong in a log, where, how much of it, and what was done about it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

DONE = ("kept", "dropped", "corrected", "cut")


class Finding(NamedTuple):
    """One finding. text : a sentence. done : of DONE. of : the reading it is about, "" for rows and clocks. start, end : log clock, s; NaN: everywhere.

    count : rows or samples. kind : a word for it, such as "gap".
    """

    kind: str
    text: str
    done: str
    of: str = ""
    start: float = np.nan
    end: float = np.nan
    count: int = 0


def counted(number: int, what: str) -> str:
    """Return "1 row", "3 rows"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def entries(findings: list[Finding], liftoff: float) -> dict:
    """Return the variables of a log about what was found, times since liftoff; none where nothing was."""
    if not findings:
        return {}
    ordered = sorted(findings, key=lambda one: (np.nan_to_num(one.start, nan=-np.inf), one.kind))
    text = [_sentence(one, liftoff) for one in ordered]
    times = {"finding_start": [one.start - liftoff for one in ordered], "finding_end": [one.end - liftoff for one in ordered]}
    words = {"finding_kind": [one.kind for one in ordered], "finding_of": [one.of for one in ordered], "finding_done": [one.done for one in ordered]}
    meanings = {
        "finding_start": "time since liftoff at which it begins; none: everywhere",
        "finding_end": "time since liftoff at which it ends",
        "finding_kind": "what it is, in a word",
        "finding_of": "reading that it is about; empty: rows and clocks",
        "finding_done": "what was done about it",
    }
    found = {"finding": ("finding", np.array(text), {"units": "1", "long_name": "what was found wrong in the log and done about it"})}
    found |= {name: ("finding", np.array(values), {"units": "s", "long_name": meanings[name]}) for name, values in times.items()}
    found |= {name: ("finding", np.array(values), {"units": "1", "long_name": meanings[name]}) for name, values in words.items()}
    count = np.array([one.count for one in ordered])
    return found | {"finding_count": ("finding", count, {"units": "1", "long_name": "rows or samples that it is about"})}


def _sentence(one: Finding, liftoff: float) -> str:
    """Return the sentence with its time since liftoff ahead and what was done behind."""
    start, end = one.start - liftoff, one.end - liftoff
    where = "" if np.isnan(start) else f"{start:.2f} s: " if np.isnan(end) or end - start < 0.005 else f"{start:.2f} to {end:.2f} s: "
    return f"{where}{one.text}: {one.done}."
