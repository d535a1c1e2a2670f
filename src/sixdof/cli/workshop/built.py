"""The verb about the vehicle as built: readings of the workshop against the parts, a mission with what was measured, ballast."""

from __future__ import annotations

from argparse import Action, ArgumentParser, Namespace
from pathlib import Path
from typing import Any

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, value_of
from sixdof.cli.output import say, write_figures

FLIGHTS = 40


class _Keys(Action):
    """Prints what every key of a file of readings means, and stops, as --help does."""

    def __call__(self, parser: ArgumentParser, namespace: Namespace, values: Any, option_string: str | None = None) -> None:
        from sixdof.workshop import readings_keys

        say(readings_keys())
        parser.exit()


def add(commands) -> None:
    """Add the verb to the command line."""
    text = "what was weighed, balanced, swung: against the parts, with errors; a mission with it; ballast for a margin"
    built = on_mission(commands, "built", _built, text, ahead=("readings", "file of readings (TOML), such as configs/whinchat-readings.toml"))
    built.add_argument("--keys", action=_Keys, nargs=0, help="print what every key of a file of readings means, and stop")
    built.add_argument("--out", type=Path, metavar="FILE", help="write the mission with what was measured (TOML)")
    built.add_argument("--overwrite", action="store_true", help="replace FILE if it exists")
    built.add_argument("--margin", metavar="CALIBRES", help='say how much ballast gives this static margin as built, such as "2 calibres"')
    built.add_argument("--at", default="rail_departure", metavar="EVENT", help='where the margin is asked for; "flight": the least (default: rail_departure)')
    built.add_argument("--place", metavar="PLACE", help='"nose", "tail", or {stage="NAME", station="300 mm"} (default: by the margin as it is)')
    built.add_argument("--share", type=float, default=0.95, metavar="S", help="share of the flights that must have the margin (default: 0.95)")
    built.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"drawn with every amount of ballast (default: {FLIGHTS})")
    built.add_argument("--seed", type=int, default=0, metavar="S", help="seed of the draws (default: 0)")
    built.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    built.add_argument("--quiet", action="store_true", help="do not say what is flown")


def _built(chosen) -> int:
    from sixdof import report
    from sixdof.workshop import as_built, readings_of, with_measured

    _check_out(chosen)
    mission = mission_of(chosen)
    built = as_built(mission, readings_of(chosen.readings))
    say(report(built))
    measured, figures = with_measured(mission, built), {"as-built": built}
    if chosen.out:
        chosen.out.write_text(measured.to_toml(), encoding="utf-8")
        say(f"written: {chosen.out}")
    met = True
    if chosen.margin:
        figures["ballast"] = _ballast(chosen, measured)
        met = bool(figures["ballast"].attrs["met"])
    if chosen.figures:
        from sixdof.plot import plot_as_built, plot_ballast

        draw = {"as-built": plot_as_built, "ballast": plot_ballast}
        write_figures(chosen.figures, {name: draw[name](ds)[0].figure if name == "as-built" else draw[name](ds).figure for name, ds in figures.items()})
    return OK if met else NONE_PASSES


def _ballast(chosen, measured):
    from sixdof import report
    from sixdof.workshop import ballast

    given = {"place": value_of(chosen.place)} if chosen.place else {}
    how = {"share": chosen.share, "seed": chosen.seed, "threads": chosen.threads, "progress": not chosen.quiet}
    found = ballast(measured, value_of(chosen.margin), chosen.at, flights=chosen.flights, **given, **how)
    say()
    say(report(found))
    return found


def _check_out(chosen) -> None:
    """Raise, before anything is flown, for a file that cannot be written."""
    if chosen.out and chosen.out.exists() and not chosen.overwrite:
        raise ValueError(f"--out {chosen.out}: the file exists; give another name, or --overwrite")
    if chosen.out and not chosen.out.parent.is_dir():
        raise ValueError(f"--out {chosen.out}: there is no folder {chosen.out.parent}")
