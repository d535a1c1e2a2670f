"""Verbs that set variants of a mission side by side: compare, earths."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import INTERRUPTED, NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, verb, with_flights, with_out
from sixdof.cli.output import complain, say, write_figures


def add(commands) -> None:
    """Add the verbs to the command line."""
    compare = on_mission(commands, "compare", _compare, "fly variants with other motors on the same draws, and judge criteria")
    with_flights(compare, "how many of each variant", required=True)
    compare.add_argument("--motors", type=Path, nargs="+", required=True, metavar="PATH", help="a folder of thrust curves (CSV), or the files")
    compare.add_argument("--stage", metavar="NAME", help="the stage whose motor varies (the last one, the booster, if left out)")
    compare.add_argument(
        "--criterion", action="append", default=[], metavar="TEXT", help='such as "tilt at burnout < 15 deg in 95 %% of flights"; may be repeated'
    )
    compare.add_argument("--confidence", type=float, default=0.9, metavar="C", help="of every verdict by itself (0.9 if left out)")
    compare.add_argument("--threads", type=int, metavar="N", help="threads (one per core if left out)")
    with_out(compare, "a folder of stores")
    earths = verb(commands, "earths", _earths, "fly the nominal mission over the flat Earth and over WGS-84, and print the difference")
    earths.add_argument("mission", type=Path, help="mission file (TOML)")


def _compare(chosen) -> int:
    from sixdof import compare, report
    from sixdof.parts import motor_variants
    from sixdof.stats import VERDICTS, judge_criteria

    files = chosen.motors[0] if len(chosen.motors) == 1 and chosen.motors[0].suffix != ".csv" else chosen.motors
    ds = compare(
        motor_variants(mission_of(chosen), files, stage=chosen.stage),
        chosen.flights,
        seed=chosen.seed,
        criteria=chosen.criterion,
        out=chosen.out,
        overwrite=chosen.overwrite,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    if not ds.sizes["flight"]:
        complain("interrupted before the first flight was finished")
        return INTERRUPTED
    say(report(ds, criteria=chosen.criterion, confidence=chosen.confidence))
    judged = judge_criteria(ds, chosen.criterion, chosen.confidence) if chosen.criterion else None
    if chosen.figures:
        from sixdof.plot import plot_comparison, plot_paired, plot_verdicts

        figures = {name: plot_comparison(ds, name).figure for name in ("apogee_height", "landing")}
        if ds.sizes["variant"] > 1:
            figures["apogee_height-paired"] = plot_paired(ds, "apogee_height", confidence=chosen.confidence).figure
        if judged is not None:
            figures["verdicts"] = plot_verdicts(judged).figure
        write_figures(chosen.figures, figures)
    if "interrupted" in ds.attrs:
        return INTERRUPTED
    return OK if judged is None or (judged.verdict == VERDICTS.index("pass")).all("criterion").any() else NONE_PASSES


def _earths(chosen) -> int:
    from sixdof import report
    from sixdof.stats import compare_earths

    say(report(compare_earths(mission_of(chosen))))
    return OK
