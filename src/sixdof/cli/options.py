"""Options that several verbs have, and the mission they ask for."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path

CAUTION = """\
A simulation is never a clearance to fly. Local law, the range safety officer and licensed practice come first."""


def verb(commands, name: str, run: Callable[..., int], text: str) -> ArgumentParser:
    """Add a verb without options and return its parser. run : from the parsed arguments to the exit code."""
    command = commands.add_parser(name, help=text, epilog=CAUTION)
    command.set_defaults(run=run)
    return command


def on_mission(commands, name: str, run: Callable[..., int], text: str) -> ArgumentParser:
    """Add a verb that takes a mission file and draws figures, and return its parser."""
    command = verb(commands, name, run, text)
    command.add_argument("mission", type=Path, help="mission file (TOML)")
    command.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
    return command


def with_seed(command: ArgumentParser) -> None:
    """Let a verb that draws take a seed."""
    command.add_argument("--seed", type=int, default=0, metavar="S", help="seed of the draws (0 if left out)")


def with_flights(command: ArgumentParser, text: str, *, required: bool = False) -> None:
    """Let a verb fly many flights: how many, their seed, with or without a progress bar."""
    command.add_argument("--flights", type=int, required=required, metavar="N", help=text)
    command.add_argument("--quiet", action="store_true", help="no progress bar")
    with_seed(command)


def with_out(command: ArgumentParser, kind: str) -> None:
    """Let a verb write a file."""
    command.add_argument("--out", type=Path, metavar="FILE", help=f"write the result ({kind})")
    command.add_argument("--overwrite", action="store_true", help="replace FILE if it exists")


def mission_of(chosen):
    """Return the mission that the arguments ask for. Raises MissionError."""
    from sixdof import load_mission

    return load_mission(chosen.mission)
