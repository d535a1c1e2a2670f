"""The command line: a thin layer over the same calls as in Python.

Exit codes: 0 all went well; 1 a flight ended otherwise than by landing, a rehearsal misfired, margins or a
bandwidth are less than required, no variant passes its criteria, or a check case was missed; 2 the input is wrong; 130 interrupted.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
import warnings
from pathlib import Path

OK, NOT_LANDED, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130
MISFIRED = MISSED = NONE_PASSES = NOT_MET = NOT_LANDED

_ABOUT = """\
Flights of a small, actively controlled rocket in six degrees of freedom.

A usual session:
  python -m sixdof check configs/sampler.toml                  is the mission file right, and is the vehicle stable?
  python -m sixdof aero configs/sampler.toml --figures out     drag, stability, what the control fins can do, against Mach
  python -m sixdof fly configs/sampler.toml --figures out      one flight as written, with its figures
  python -m sixdof rehearse configs/sampler.toml               event rules and laws without physics: what fires when, what misfires
  python -m sixdof margins configs/sampler.toml --flights 50 --figures out    what the attitude loops can bear, on drawn flights too
  python -m sixdof tune configs/sampler.toml --gain-margin 6 --phase-margin 45 --out gains.toml    gains that have these margins
  python -m sixdof disperse configs/sampler.toml --flights 2000 --seed 1 --out flights.nc --figures out
  python -m sixdof fly configs/sampler.toml --seed 1 --flight 17   flight 17 of that ensemble again, in full detail
  python -m sixdof compare configs/two-stage.toml --motors configs/motors/mesa-*.csv --flights 200 --criterion "apogee < 1800 m in 95 % of flights"
  python -m sixdof earths configs/sampler.toml                 the same flight over the flat Earth and over WGS-84, side by side
  python -m sixdof verify                                      the kernel on this machine against published check cases and closed forms
"""
_CAUTION = """\
A simulation is never a clearance to fly. Local law, the range safety officer and licensed practice come first."""


def parser() -> argparse.ArgumentParser:
    """Return the command line's parser."""
    top = argparse.ArgumentParser(prog="python -m sixdof", description=_ABOUT, epilog=_CAUTION, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = top.add_subparsers(dest="command", required=True, metavar="{check,aero,fly,rehearse,margins,tune,disperse,compare,earths,verify}")

    check = commands.add_parser("check", help="check a mission file and describe its vehicle")
    check.set_defaults(run=_check)
    aero = commands.add_parser("aero", help="aerodynamics against Mach: drag, margins, authority, hinge moments, with sources")
    aero.set_defaults(run=_aero)
    fly = commands.add_parser("fly", help="fly once, print the outcome, write the flight and its figures")
    fly.add_argument("--flight", type=int, metavar="N", help="fly flight N of the ensemble with this seed again, bit for bit")
    fly.set_defaults(run=_fly)
    rehearse = commands.add_parser("rehearse", help="run event rules and laws over sensed values, print when they fire and misfire")
    rehearse.add_argument("--script", type=Path, metavar="FILE", help="what is sensed, CSV or a flight (.nc); left out, one is flown")
    rehearse.add_argument("--stage", metavar="NAME", help="the stage whose altimeter runs (the front one's computer if left out)")
    rehearse.add_argument("--fail", nargs="+", default=[], metavar="NAME", help='[[failure]] entries that happen, such as "no_separation: booster"')
    rehearse.set_defaults(run=_rehearse)
    margins, tune = _of_loops(commands)
    disperse = commands.add_parser("disperse", help="fly many times, each with its own draw of the [disperse] table")
    disperse.add_argument("--flights", type=int, required=True, metavar="N", help="how many")
    disperse.add_argument("--sampling", choices=("random", "latin", "sobol"), default="random", help="how inputs are drawn (random if left out)")
    disperse.add_argument("--tracks", default="all", metavar="N", help='whose tracks are kept: "all", "none", or the first N flights')
    disperse.add_argument("--threads", type=int, metavar="N", help="threads (one a core if left out)")
    disperse.add_argument("--quiet", action="store_true", help="no progress bar")
    disperse.set_defaults(run=_disperse)
    compare = commands.add_parser("compare", help="fly variants with other motors on the same draws, and judge criteria")
    compare.add_argument("--motors", type=Path, nargs="+", required=True, metavar="PATH", help="a folder of thrust curves (CSV), or the files")
    compare.add_argument("--stage", metavar="NAME", help="the stage whose motor varies (the last one, the booster, if left out)")
    compare.add_argument("--flights", type=int, required=True, metavar="N", help="how many of each variant")
    compare.add_argument(
        "--criterion", action="append", default=[], metavar="TEXT", help='such as "tilt at burnout < 15 deg in 95 %% of flights"; may be repeated'
    )
    compare.add_argument("--confidence", type=float, default=0.9, metavar="C", help="of every verdict by itself (0.9 if left out)")
    compare.add_argument("--threads", type=int, metavar="N", help="threads (one a core if left out)")
    compare.add_argument("--quiet", action="store_true", help="no progress bar")
    compare.set_defaults(run=_compare)
    earths = commands.add_parser("earths", help="fly the nominal mission over the flat Earth and over WGS-84, and print the difference")
    earths.add_argument("mission", type=Path, help="mission file (TOML)")
    earths.set_defaults(run=_earths)
    verify = commands.add_parser("verify", help="fly published check cases and closed forms, print how far the kernel is from each")
    verify.add_argument("--out", type=Path, metavar="FILE", help="write the table (CSV)")
    verify.add_argument("--overwrite", action="store_true", help="replace FILE if it exists")
    verify.set_defaults(run=_verify)
    for command in (check, aero, fly, rehearse, margins, tune, disperse, compare):
        command.add_argument("mission", type=Path, help="mission file (TOML)")
        command.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
        command.epilog = _CAUTION
    for command in (fly, margins, tune, disperse, compare):
        command.add_argument("--seed", type=int, default=0, metavar="S", help="seed of the draws (0 if left out)")
    kinds = {
        fly: "netCDF-4",
        rehearse: "netCDF-4",
        tune: "TOML: the keys of [autopilot] to put into the mission file",
        disperse: "netCDF-4; NAME.zarr: a store that the same call goes on with",
        compare: "a folder of stores",
    }
    for command, kind in kinds.items():
        command.add_argument("--out", type=Path, metavar="FILE", help=f"write the result ({kind})")
        command.add_argument("--overwrite", action="store_true", help="replace FILE if it exists")
    return top


def _of_loops(commands) -> tuple[argparse.ArgumentParser, argparse.ArgumentParser]:
    """Return the parsers of the two commands about attitude loops."""
    margins = commands.add_parser("margins", help="margins of the attitude loops along the flight, held against a requirement")
    margins.add_argument("--flights", type=int, metavar="N", help="also over N flights, each with its own draw")
    margins.add_argument("--quiet", action="store_true", help="no progress bar")
    margins.set_defaults(run=_margins)
    tune = commands.add_parser("tune", help="find gains that have the margins asked for all along the flight, and say what limits them")
    tune.add_argument("--bandwidth", type=float, metavar="RAD_PER_S", help="at least; 80 %% of the quickest that the rest allows if left out")
    tune.add_argument(
        "--schedule",
        choices=("mach", "dynamic_pressure", "scale", "none"),
        default="mach",
        help="rows of gains over Mach number or dynamic pressure, one set scaled by dynamic pressure, or one set (mach if left out)",
    )
    tune.add_argument("--rows", type=int, metavar="N", help="of the schedule (5 if left out)")
    tune.add_argument("--hold-on", type=int, nargs="+", default=[], metavar="N", help="drawn flights, by number, on which the gains must hold as well")
    tune.add_argument("--channels", nargs="+", choices=("pitch", "yaw", "roll"), help="what is designed (all if left out); others stay as they are")
    tune.set_defaults(run=_tune)
    for command, share in ((margins, "half"), (tune, "a third")):
        models = f"linear models of the flight (30 if left out), {share} as many of a drawn one"
        command.add_argument("--points", type=int, default=30, metavar="N", help=models)
        command.add_argument("--gain-margin", type=float, metavar="DB", help="required, up and down (6 if left out)")
        command.add_argument("--phase-margin", type=float, metavar="DEG", help="required (45 if left out)")
    return margins, tune


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    chosen = parser().parse_args(arguments)
    try:
        if getattr(chosen, "figures", None) is not None:
            _check_folder(chosen.figures)
        with warnings.catch_warnings():
            warnings.simplefilter("default")
            warnings.showwarning = lambda message, *_, **__: print(f"sixdof: {message}", file=sys.stderr)
            return chosen.run(chosen)
    except KeyboardInterrupt:
        print("sixdof: interrupted", file=sys.stderr)
        return INTERRUPTED
    except (OSError, ValueError, RuntimeError) as error:
        # MissionError, FlightError and what the calls raise for wrong arguments: sentences already, one a line
        print(f"sixdof: {error}", file=sys.stderr)
        return BAD_INPUT if not _is_flight_error(error) else NOT_LANDED


def _is_flight_error(error: Exception) -> bool:
    from sixdof.results.status import FlightError

    return isinstance(error, FlightError)


def _check(chosen) -> int:
    from sixdof import describe, load_mission
    from sixdof.study.aero.surviving_control import control_lines
    from sixdof.study.reading.page import caution_lines
    from sixdof.study.report.mission_cautions import mission_cautions

    mission = load_mission(chosen.mission)
    silent = "none of the checks of the file speaks up; those of a flight are on its page"
    _say("\n".join([describe(mission), *control_lines(mission), *caution_lines(mission_cautions(mission), silent)]))
    if chosen.figures:
        from sixdof.plot import draw_vehicle, plot_air

        _write(chosen.figures, {"vehicle": draw_vehicle(mission).figure, "air": plot_air(mission)[0].figure})
    return OK


def _aero(chosen) -> int:
    from sixdof import load_mission
    from sixdof.study.aero.report import aero_report

    mission = load_mission(chosen.mission)
    _say(aero_report(mission), end="")
    if chosen.figures:
        from sixdof.plot import aero_figures

        _write(chosen.figures, aero_figures(mission))
    return OK


def _fly(chosen) -> int:
    from sixdof import Status, fly, load_mission
    from sixdof.results.dataset import check_netcdf_path, save
    from sixdof.study.report.summary import summarize

    mission = load_mission(chosen.mission)
    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = fly(mission, flight=chosen.flight, seed=chosen.seed)
    _say(summarize(ds))
    if chosen.out:
        _say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import draw_vehicle, plot_bodies, plot_flight, plot_separation, plot_timeline

        _write(chosen.figures, {"vehicle": draw_vehicle(mission).figure, "flight": plot_flight(ds)})
        _write(chosen.figures, {"timeline": plot_timeline(ds).figure})
        if ds.sizes.get("joint") and (ds["parting_cause"] > 0).any():
            _write(chosen.figures, {"separation": plot_separation(ds).figure, "bodies": plot_bodies(ds)[0].figure})
    return OK if int(ds.status) == Status.LANDED else NOT_LANDED


def _rehearse(chosen) -> int:
    from sixdof import load_mission, rehearse
    from sixdof.results.dataset import check_netcdf_path, save
    from sixdof.study.report.rehearsal_report import timeline

    mission = load_mission(chosen.mission)
    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = rehearse(mission, chosen.script, stage=chosen.stage, failures=chosen.fail)
    _say(timeline(ds))
    if chosen.out:
        _say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_rehearsal

        _write(chosen.figures, {"rehearsal": plot_rehearsal(ds)[0].figure})
    return MISFIRED if ds.sizes["misfire"] else OK


def _margins(chosen) -> int:
    from sixdof import linearise, load_mission, make_draws, margins
    from sixdof.study.loops.margins import holds, margin_report
    from sixdof.study.uncertainty.margin_spread import margin_spread, robust_margins, spread_report

    mission = load_mission(chosen.mission)
    gain_db, phase = _required(chosen)
    if chosen.flights is not None:
        make_draws(mission, chosen.flights, seed=chosen.seed)  # wrong numbers are said before anything is flown
    models = linearise(mission, points=chosen.points)
    found, spread = margins(models), None
    _say(margin_report(found, gain_db=gain_db, phase=phase))
    met = bool(holds(found, gain_db, phase).all())
    if chosen.flights is not None:
        spread = margin_spread(
            mission, chosen.flights, seed=chosen.seed, points=max(chosen.points // 2, 1), gain_db=gain_db, phase=phase, progress=not chosen.quiet
        )
        if not spread.sizes["flight"]:
            print("sixdof: interrupted before the first flight was finished", file=sys.stderr)
            return INTERRUPTED
        _say(f"\n{spread_report(spread)}")
        over = robust_margins(spread)
        met = met and int(over["used"]) > 0 and not bool((over["met"] == 0.0).any())  # NaN: a flight left out
    if chosen.figures:
        _write(chosen.figures, _loop_figures(models, found, spread, (gain_db, phase)))
    if spread is not None and "interrupted" in spread.attrs:
        return INTERRUPTED
    return OK if met else NOT_MET


def _required(chosen) -> tuple[float, float]:
    """Return the required margins, dB and rad. Raises ValueError in the words and the unit of the command line."""
    from sixdof.study.loops.margins import REQUIRED_GAIN_DB, REQUIRED_PHASE

    for name, value, most in (("--gain-margin", chosen.gain_margin, "100 dB"), ("--phase-margin", chosen.phase_margin, "180 deg")):
        if value is not None and not 0.0 <= value <= float(most.split()[0]):
            raise ValueError(f"margins: {name} {value:g} must be a number from 0 to {most}")
    gain_db = REQUIRED_GAIN_DB if chosen.gain_margin is None else chosen.gain_margin
    return gain_db, REQUIRED_PHASE if chosen.phase_margin is None else math.radians(chosen.phase_margin)


def _loop_figures(models, found, spread, required: tuple[float, float]) -> dict:
    import numpy as np

    from sixdof.plot import plot_bode, plot_margin_spread, plot_margins, plot_modes, plot_nichols

    figures = {"modes": plot_modes(models)[0, 0].figure, "margins": plot_margins(found, required=required)[0].figure}
    for channel in ("pitch", "roll"):
        figures[f"bode-{channel}"] = plot_bode(models, channel=channel)[0].figure
        figures[f"nichols-{channel}"] = plot_nichols(models, channel=channel, required=required).figure
        if spread is not None and np.isfinite(spread["distance"].sel(channel=channel)).any():
            figures[f"margin-spread-{channel}"] = plot_margin_spread(spread, channel)[0].figure
    return figures


def _tune(chosen) -> int:
    from sixdof import load_mission, tune
    from sixdof.results.dataset import check_path

    mission = load_mission(chosen.mission)
    if chosen.out:
        if chosen.out.exists() and chosen.out.samefile(chosen.mission):
            raise ValueError(f"tune: {chosen.out} is the mission file itself, and --out is for lines to put into it; choose another name")
        check_path(chosen.out, overwrite=chosen.overwrite)
    asked = {
        "gain_margin_db": chosen.gain_margin,
        "phase_margin_deg": chosen.phase_margin,
        "bandwidth": chosen.bandwidth,
        "schedule": chosen.schedule,
        "rows": chosen.rows,
        "channels": tuple(chosen.channels) if chosen.channels else None,
    }
    spec = {name: value for name, value in asked.items() if value is not None}
    tuned = tune(mission, spec, points=chosen.points, flights=chosen.hold_on, seed=chosen.seed)
    _say(tuned)
    if chosen.out:
        chosen.out.write_text(tuned.fragment(), encoding="utf-8")
        _say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_tuning

        _write(chosen.figures, {f"tuning-{channel}": plot_tuning(tuned, channel) for channel in ("pitch", "roll")})
    return OK if tuned.met else NOT_MET


def _disperse(chosen) -> int:
    from sixdof import disperse, load_mission
    from sixdof.study.report.summary import summarize

    mission = load_mission(chosen.mission)
    ds = disperse(
        mission,
        chosen.flights,
        seed=chosen.seed,
        sampling=chosen.sampling,
        out=chosen.out,
        overwrite=chosen.overwrite,
        tracks=int(chosen.tracks) if chosen.tracks.isdecimal() else chosen.tracks,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    if not ds.sizes["flight"]:
        print("sixdof: interrupted before the first flight was finished", file=sys.stderr)
        return INTERRUPTED
    _say(summarize(ds))
    if chosen.out:
        _say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_ensemble, plot_landings

        _write(chosen.figures, {"ensemble": plot_ensemble(ds)})
        if len(mission.stage) > 1:
            _write(chosen.figures, {"landings": plot_landings(ds).figure})
    return INTERRUPTED if "interrupted" in ds.attrs else OK


def _compare(chosen) -> int:
    from sixdof import compare, load_mission, motor_variants
    from sixdof.study.uncertainty.claims import PASS
    from sixdof.study.variants.comparison_text import comparison_text
    from sixdof.study.variants.judging import VERDICTS, judge_criteria

    files = chosen.motors[0] if len(chosen.motors) == 1 and chosen.motors[0].suffix != ".csv" else chosen.motors
    ds = compare(
        motor_variants(load_mission(chosen.mission), files, stage=chosen.stage),
        chosen.flights,
        seed=chosen.seed,
        criteria=chosen.criterion,
        out=chosen.out,
        overwrite=chosen.overwrite,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    if not ds.sizes["flight"]:
        print("sixdof: interrupted before the first flight was finished", file=sys.stderr)
        return INTERRUPTED
    _say(comparison_text(ds, chosen.criterion, confidence=chosen.confidence))
    judged = judge_criteria(ds, chosen.criterion, chosen.confidence) if chosen.criterion else None
    if chosen.figures:
        from sixdof.plot import plot_comparison, plot_paired, plot_verdicts

        figures = {name: plot_comparison(ds, name).figure for name in ("apogee", "landing")}
        if ds.sizes["variant"] > 1:
            figures["apogee-paired"] = plot_paired(ds, "apogee", confidence=chosen.confidence).figure
        if judged is not None:
            figures["verdicts"] = plot_verdicts(judged).figure
        _write(chosen.figures, figures)
    if "interrupted" in ds.attrs:
        return INTERRUPTED
    return OK if judged is None or (judged.verdict == VERDICTS.index(PASS)).all("criterion").any() else NONE_PASSES


def _earths(chosen) -> int:
    from sixdof import load_mission
    from sixdof.study.variants.earth import compare_earths, earth_page

    _say(earth_page(compare_earths(load_mission(chosen.mission))))
    return OK


def _verify(chosen) -> int:
    from sixdof import verify
    from sixdof.results.dataset import check_path
    from sixdof.study.verification.verify import verification_text, write_csv

    if chosen.out:
        check_path(chosen.out, overwrite=chosen.overwrite)
    ds = verify()
    _say(verification_text(ds))
    if chosen.out:
        _say(f"written: {write_csv(ds, chosen.out)}")
    return OK if ds.passed.all() else MISSED


def _say(text: str = "", end: str = "\n") -> None:
    """Print to standard output. Whoever reads it may have gone (`... | head`): the rest is not printed then, and files are written all the same."""
    try:
        print(text, end=end, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _check_folder(folder: Path) -> None:
    """Raise ValueError, before anything is flown, for a folder of figures that cannot be made or written."""
    there = folder
    while not there.exists() and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise ValueError(f"--figures {folder}: {there} is a file; name a folder")
    if not os.access(there, os.W_OK | os.X_OK):
        raise ValueError(f"--figures {folder}: the folder {there} cannot be written")


def _write(folder: Path, figures: dict) -> None:
    import matplotlib.pyplot as plt

    folder.mkdir(parents=True, exist_ok=True)
    for name, figure in figures.items():
        path = folder / f"{name}.png"
        figure.savefig(path, dpi=150)
        plt.close(figure)
        _say(f"written: {path}")
