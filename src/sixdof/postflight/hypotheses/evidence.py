"""Files of evidence: read, checked, every fault one sentence with file and key."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from sixdof.mission.errors import Fault, MissionError, Problem, suggestion
from sixdof.mission.explain.keys import KeyPage
from sixdof.mission.explain.walk import all_tables, as_toml
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.units import shown
from sixdof.postflight.hypotheses.tables import KINDS, AnyPiece, EvidenceFile

_TABLES = {kind.model_fields["kind"].default: kind for kind in get_args(get_args(AnyPiece)[0])}
_EXAMPLE = '{"kind": "fix", "time": "84 s", "east": "412 m", "north": "-60 m"}'


def read_evidence(source: str | Path | Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> EvidenceFile:
    """Return what is known of a flight that is over: pings, packets, silence, sightings, finds, each with its error.

    Parameters
    ----------
    source : path of a TOML file with tables `[[evidence]]`, its tables as a dictionary, or a list of such tables. Units as in a mission file;
        `evidence_keys` explains every kind.

    Returns
    -------
    EvidenceFile
        Frozen; SI. `read.model_dump()` gives the tables.

    Raises
    ------
    TypeError
        For anything else.
    MissionError
        If the file cannot be read or has faults: one sentence each, with the file and the key.

    Examples
    --------
    >>> read = sixdof.postflight.read_evidence([{"kind": "fix", "time": "84 s", "east": "412 m", "north": "-60 m"}])
    >>> read.evidence[0].horizontal_error
    10.0
    """
    if isinstance(source, EvidenceFile):
        return source
    if isinstance(source, Mapping):
        return _checked(dict(source), "")
    if isinstance(source, str | PathLike):
        return evidence_in(read_text(source), str(source))
    if isinstance(source, Sequence) and all(isinstance(one, Mapping) for one in source):
        return _checked({"evidence": [dict(one) for one in source]}, "")
    raise TypeError(f"read_evidence: source must be the path of a file of evidence, or a list such as [{_EXAMPLE}], not {shown(source)}")


def evidence_keys() -> KeyPage:
    """Return the kinds of evidence and their keys as a page: each key with unit, default, range, choices, meaning and an example.

    Returns
    -------
    KeyPage
        `print` it, or leave it as the last line of a notebook's cell.

    Examples
    --------
    >>> "horizontal_error" in str(sixdof.postflight.evidence_keys())
    True
    """
    return KeyPage(all_tables(EvidenceFile))


def evidence_in(text: str, file: str = "") -> EvidenceFile:
    """Return the evidence written in a text (TOML). file : for the sentences about faults. Raises MissionError."""
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message = f"is not valid TOML: {' '.join(str(error).split())}"
        raise MissionError([Fault(file, "", None, message, "check quotes, brackets and = there", "" if file else "the text")]) from None
    return _checked(tables, file)


def _checked(tables: dict[str, Any], file: str) -> EvidenceFile:
    if "evidence" not in tables and {"stage", "motor", "rail"} & set(tables):
        hint = "give the file with tables [[evidence]], and the mission as the mission"
        raise MissionError([Fault(file, "evidence", None, "this is a mission, not evidence", hint, "" if file else "the evidence")])
    try:
        read = EvidenceFile.model_validate(tables)
    except ValidationError as error:
        raise MissionError([replace(problem.at(tables), file=file) for problem in _problems(error)]) from None
    if not read.evidence:
        raise MissionError(
            [Fault(file, "evidence", None, "there is no evidence", f"give a piece at least, such as {_EXAMPLE}", "" if file else "the evidence")]
        )
    return read


def _problems(error: ValidationError) -> Iterator[Problem]:
    """Yield what pydantic found as problems in the words of the file."""
    for item in error.errors(include_url=False):
        kind, context = item["type"], item.get("ctx", {})
        loc = item["loc"][:2] + item["loc"][3:]  # pydantic puts the kind of a piece behind its number
        value = None if kind == "missing" else item.get("input")
        if kind == "problems":
            yield from (Problem(loc + one.loc, one.value, one.message, one.hint) for one in context["problems"])
        elif kind == "quantity":
            yield Problem(loc, value, context["message"], context["hint"])
        elif kind == "missing":
            yield Problem(loc, None, "missing", _how_to_add(item["loc"]))
        elif kind == "extra_forbidden":
            table = _table_at(item["loc"])
            yield Problem(loc, value, "unknown key", suggestion(str(loc[-1]), tuple(table.model_fields), "valid keys"))
        elif kind.startswith("union_tag"):
            word = value.get("kind") if isinstance(value, Mapping) else None
            what = "it says no kind" if word is None else f"there is no kind of evidence {shown(word)}"
            yield Problem((*loc, "kind"), word, what, suggestion(str(word), KINDS, "kinds"))
        else:
            yield Problem(loc, value, f"{shown(value)} is not what belongs there", _how_to_add(item["loc"]))


def _table_at(loc: tuple) -> type:
    """Return the class of the table that a path, as pydantic gives it, is in."""
    return _TABLES[loc[2]] if len(loc) > 3 and loc[2] in _TABLES else EvidenceFile


def _how_to_add(loc: tuple) -> str:
    field = _table_at(loc).model_fields.get(str(loc[3] if len(loc) > 3 else loc[0]))
    if field is None or not field.examples:
        return f"write a list of tables, such as {_EXAMPLE}"
    return f"write {loc[3] if len(loc) > 3 else loc[0]} = {as_toml(field.examples[0])}"
