"""Verbs that set variants of a mission side by side: compare."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from sixdof.cli.codes import INTERRUPTED, NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_flights, with_out
from sixdof.cli.output import complain, say, write_figures


def add(commands) -> None:
    """Add the verbs to the command line."""
    compare = on_mission(commands, "compare", _compare, "fly variants of a mission on the same draws, show them side by side, and judge criteria")
    with_flights(compare, "how many of each variant (default: one each, as written)")
    variants = compare.add_mutually_exclusive_group(required=True)
    variants.add_argument("--motors", type=Path, nargs="+", metavar="PATH", help="variants with other motors: a folder of thrust curves (CSV), or the files")
    variants.add_argument(
        "--vary", nargs="+", metavar=("KEY", "VALUE"), help='a variant for each value of a key, such as rail.length "2 m" "4 m", or site.earth flat wgs84'
    )
    compare.add_argument("--stage", metavar="NAME", help="the stage whose motor varies (default: the last one, the booster)")
    compare.add_argument(
        "--criterion", action="append", default=[], metavar="TEXT", help='such as "tilt at burnout < 15 deg in 95 %% of flights"; may be repeated'
    )
    compare.add_argument("--confidence", type=float, default=0.9, metavar="C", help="confidence of each verdict by itself (default: 0.9)")
    compare.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(compare, "a folder of stores")


def _variants(chosen) -> dict:
    """Return the variants asked for, name -> mission."""
    from sixdof.parts import motor_variants, vary

    mission = mission_of(chosen)
    if chosen.motors:
        files = chosen.motors[0] if len(chosen.motors) == 1 and chosen.motors[0].suffix != ".csv" else chosen.motors
        return motor_variants(mission, files, stage=chosen.stage)
    key, *values = chosen.vary
    if not values:
        raise ValueError(f'--vary {key}: write a key and its values, for example, --vary rail.length "2 m" "4 m"')
    own: dict[str, dict] = {"as written": {}} if len(values) == 1 else {}
    return vary(mission, own | {f"{key.rpartition('.')[2]} {value}": {key: value_of(value)} for value in values})


def _nominal(chosen) -> int:
    """Compare one flight of each variant, as written."""
    from sixdof import report
    from sixdof.stats import compare_nominal

    for option, given in (("--criterion", chosen.criterion), ("--out", chosen.out), ("--figures", chosen.figures)):
        if given:
            raise ValueError(f"compare: {option} is about many flights; say how many with --flights")
    say(report(compare_nominal(_variants(chosen))))
    return OK


def _compare(chosen) -> int:
    from sixdof import compare, report
    from sixdof.stats import VERDICTS, judge_criteria

    if chosen.flights is None:
        return _nominal(chosen)
    ds = compare(
        _variants(chosen),
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
            with suppress(ValueError):  # none of the criteria limits an outcome
                figures["first-criterion"] = plot_comparison(ds, criteria=chosen.criterion).figure
        write_figures(chosen.figures, figures)
    if "interrupted" in ds.attrs:
        return INTERRUPTED
    return OK if judged is None or (judged.verdict == VERDICTS.index("pass")).all("criterion").any() else NONE_PASSES
