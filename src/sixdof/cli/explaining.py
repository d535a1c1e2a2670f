"""Verbs about the mission file itself: new, keys, schema."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import CAUTION, verb, with_out
from sixdof.cli.output import say

_SCHEMA = """\
Write the JSON schema (draft 2020-12) of the mission file. An editor with support for TOML then completes keys, shows what they mean, and marks
what is wrong while one types. It finds the schema by a comment at the head of the mission file:

  #:schema sixdof.schema.json

(a path that counts from the mission file), or by its own settings. Units are only looked at: `check` says whether they have the right dimension.
"""


def add(commands) -> None:
    """Add the verbs to the command line."""
    from sixdof.parts import TEMPLATES

    new = verb(commands, "new", _new, "write a commented mission file of an invented vehicle that flies as written, to start from")
    new.add_argument("kind", choices=tuple(TEMPLATES), help="; ".join(f"{kind}: {text}" for kind, text in TEMPLATES.items()))
    new.add_argument("--out", type=Path, metavar="FILE", help="the file to write (default: KIND.toml here); one that exists is never replaced")
    keys = verb(commands, "keys", _keys, "explain the keys of the mission file: unit, default, range, choices, meaning, an example of each")
    keys.add_argument(
        "table", nargs="?", metavar="TABLE", help='a table such as fins or air.wind, or a key such as "length", or "materials"; the list of tables if omitted'
    )
    schema = verb(commands, "schema", _schema, "write a JSON schema of the mission file, with which editors complete and check it")
    schema.description, schema.formatter_class, schema.epilog = _SCHEMA, argparse.RawDescriptionHelpFormatter, CAUTION
    with_out(schema, "JSON; printed if omitted")


def _new(chosen) -> int:
    from sixdof.parts import new_mission

    path = chosen.out or Path(f"{chosen.kind}.toml")
    new_mission(chosen.kind, path)
    say(f"written: {path}\nEverything in it is invented: change it to what you have measured. First: python -m sixdof check {path}")
    return OK


def _keys(chosen) -> int:
    from sixdof.parts import keys

    say(keys(chosen.table))
    return OK


def _schema(chosen) -> int:
    from sixdof.parts import json_schema
    from sixdof.stats import check_path

    text = json.dumps(json_schema(), indent=1, ensure_ascii=False)
    if not chosen.out:
        say(text)
        return OK
    check_path(chosen.out, overwrite=chosen.overwrite)
    chosen.out.write_text(f"{text}\n", encoding="utf-8")
    say(f"written: {chosen.out}\nPut this line at the head of a mission file beside it: #:schema {chosen.out.name}")
    return OK
