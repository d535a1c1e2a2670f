"""Options that several verbs have, and the mission they ask for."""

from __future__ import annotations

import tomllib
from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path
from typing import Any

CAUTION = """\
A simulation is never a clearance to fly. Local law, the range safety officer and licensed practice come first."""
_SET = """change a value of the mission, such as rail.length="4 m", part.tail.count=3 or stage.booster.part.mount.motor=mesa-i; nothing behind the = leaves the
key out; may be repeated"""
_FAIL = 'let a [[failure]] entry of the mission happen for certain, such as "no_separation: booster"; may be repeated'


def verb(commands, name: str, run: Callable[..., int], text: str) -> ArgumentParser:
    """Add a verb without options and return its parser. run : from the parsed arguments to the exit code."""
    command = commands.add_parser(name, help=text, epilog=CAUTION)
    command.set_defaults(run=run)
    return command


def on_mission(commands, name: str, run: Callable[..., int], text: str, *, ahead: tuple[str, str] | None = None) -> ArgumentParser:
    """Add a verb that takes a mission file and draws figures, and return its parser. ahead : name and meaning of a file that it takes ahead of the mission."""
    command = verb(commands, name, run, text)
    if ahead is not None:
        command.add_argument(ahead[0], type=Path, help=ahead[1])
    command.add_argument("mission", type=Path, help="mission file (TOML)")
    command.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", dest="changes", help=_SET)
    command.add_argument("--fail", action="append", default=[], metavar="NAME", help=_FAIL)
    command.add_argument("--only", metavar="STAGE", help="fly this stage of the mission alone, ignited at the start")
    command.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
    return command


def with_seed(command: ArgumentParser) -> None:
    """Let a verb that draws take a seed."""
    command.add_argument("--seed", type=int, default=0, metavar="S", help="seed of the draws (default: 0)")


def with_flights(command: ArgumentParser, text: str, *, required: bool = False) -> None:
    """Let a verb fly many flights: how many, their seed, with or without a progress bar."""
    command.add_argument("--flights", type=int, required=required, metavar="N", help=text)
    command.add_argument("--quiet", action="store_true", help="no progress bar")
    with_seed(command)


def with_flown(command: ArgumentParser) -> None:
    """Let a verb keep what it flies; `main` sees to it."""
    text = "keep all that is flown in this folder: after an interruption the same command goes on there, and what it holds is not flown again"
    command.add_argument("--flown", type=Path, metavar="FOLDER", help=text)


def with_out(command: ArgumentParser, kind: str) -> None:
    """Let a verb write a file."""
    command.add_argument("--out", type=Path, metavar="FILE", help=f"write the result ({kind})")
    command.add_argument("--overwrite", action="store_true", help="replace FILE if it exists")


def mission_of(chosen):
    """Return the mission that the arguments ask for. Raises MissionError, and ValueError for a change or what is not a failure."""
    from sixdof import load_mission

    mission = load_mission(chosen.mission)
    changes = dict(map(_change, chosen.changes)) | {_certain(mission, name): 1.0 for name in chosen.fail}
    mission = mission.change(changes) if changes else mission
    return mission.only(chosen.only) if chosen.only is not None else mission


def _certain(mission, name: str) -> str:
    """Return the path of the probability of a failure. Raises ValueError for a mission that has none; `change` says of others what is near."""
    known = [failure.name for failure in mission.failure]
    if not known:
        raise ValueError(f'--fail "{name}": the mission has no [[failure]] entries; add one with the kind and the name of what fails')
    return f"failure.{known.index(name) if name in known else name}.probability"


def _change(text: str) -> tuple[str, Any]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise ValueError(f'--set "{text}": write KEY=VALUE, for example, rail.length="4 m"')
    return key.strip(), value_of(value.strip())


def value_of(text: str) -> Any:
    """Return a value as a mission file has it; quotes may be missing ("4 m", [0 s, 2 s]), for the shell takes them. None for no text."""
    if not text:
        return None
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        value = text
    if isinstance(value, str) and text.startswith("[") and text.endswith("]"):
        return [value_of(each.strip()) for each in text[1:-1].split(",") if each.strip()]
    return value if isinstance(value, (str, bool, int, float, list, dict)) else text  # a date is none of a mission's values
