"""The verb that weighs what is known of a flight: what happened, and how sure that is."""

from __future__ import annotations

from argparse import Action, ArgumentParser, Namespace
from pathlib import Path
from typing import Any

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures


class _Keys(Action):
    """Prints what every key of a file of evidence means, and stops, as --help does."""

    def __call__(self, parser: ArgumentParser, namespace: Namespace, values: Any, option_string: str | None = None) -> None:
        from sixdof.postflight import evidence_keys

        say(evidence_keys())
        parser.exit()


def add(commands) -> None:
    """Add the verb to the command line."""
    text = "what happened: hypotheses against pings, packets, silence, sightings, finds; what speaks for which, what contradicts what"
    happened = on_mission(commands, "happened", _happened, text, ahead=("evidence", "file of evidence (TOML) with tables [[evidence]]"))
    happened.add_argument("--keys", action=_Keys, nargs=0, help="print what every key of a file of evidence means, and stop")
    with_flights(happened, "of each hypothesis in each round (default: 200)")
    happened.add_argument(
        "--hypotheses", type=Path, metavar="TOML", help="hypotheses, a table each: failures, change, mission, prior, what (default: the failures)"
    )
    happened.add_argument("--rounds", type=int, metavar="N", help="at most so many rounds, each drawn nearer to the evidence (default: 8)")
    happened.add_argument("--enough", type=float, metavar="N", help="effective flights at which no more are flown of a hypothesis (default: 30)")
    happened.add_argument("--other", metavar="SHARE", help='prior of "none of these" (default: "2 %%")')
    happened.add_argument("--pairs", type=int, metavar="N", help="pairs of failures that are weighed too (default: 4)")
    happened.add_argument("--body", metavar="NAME", help="body of the map (default: the front stage)")
    happened.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(happened, "netCDF-4")
    with_flown(happened)


def _happened(chosen) -> int:
    from sixdof import report, save
    from sixdof.postflight import what_happened
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    given = {name: getattr(chosen, name) for name in ("flights", "rounds", "enough", "other", "pairs") if getattr(chosen, name) is not None}
    found = what_happened(mission_of(chosen), chosen.evidence, chosen.hypotheses, seed=chosen.seed, threads=chosen.threads, progress=not chosen.quiet, **given)
    say(report(found))
    if chosen.out:
        say(f"written: {save(found, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_what_happened

        write_figures(chosen.figures, {"happened": plot_what_happened(found, chosen.body)})
    return OK
