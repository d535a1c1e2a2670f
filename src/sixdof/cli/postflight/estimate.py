"""The verb that estimates parameters of the model from logs of flights."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_out, with_seed
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verb to the command line."""
    text = "estimate drag, thrust, wind ... from logs of flights: what they say, how surely, what they cannot tell"
    chosen = on_mission(commands, "estimate", _estimate, text)
    chosen.add_argument(
        "log", type=Path, nargs="+", metavar="LOG", help="of a flight: CSV or Parquet, or what `log` wrote (.nc); several: one vehicle, several flights"
    )
    chosen.add_argument("--columns", type=Path, metavar="TOML", help="column map of the logs")
    chosen.add_argument(
        "--of", action="append", default=[], metavar="NAME", dest="parameters", help='a parameter as in [disperse], such as "aero.drag"; repeated'
    )
    chosen.add_argument("--prior", action="append", default=[], metavar="NAME=SD", help='standard deviation before the flight, "mean, sd" in brackets, or none')
    chosen.add_argument("--use", action="append", default=[], metavar="NAME", help="a variable of the logs that is compared; repeated (default: all)")
    chosen.add_argument("--between", nargs=2, metavar=("TIME", "TIME"), help="of the logs that are compared, since liftoff (default: up to apogee)")
    chosen.add_argument("--alone", action="store_true", help="hold the rest of [disperse] at its means instead of carrying it along")
    chosen.add_argument("--starts", type=int, default=1, metavar="N", help="starting points (default: 1)")
    chosen.add_argument("--hold-back", action="store_true", help="hold back one flight after the other and predict it from the others")
    chosen.add_argument("--keep", type=Path, metavar="FILE", help="keep the turns here: after an interruption the same command goes on")
    chosen.add_argument("--quiet", action="store_true", help="no progress bar")
    with_seed(chosen)
    with_out(chosen, "TOML, the part of the mission file that the estimate makes")


def _estimate(chosen) -> int:
    from sixdof import report
    from sixdof.postflight import estimate, estimate_toml, hold_back
    from sixdof.stats import check_path

    if chosen.out:
        check_path(chosen.out, overwrite=chosen.overwrite)
    if not chosen.parameters:
        raise ValueError('estimate: say what to estimate, such as --of aero.drag --of motor.impulse --of "aero.drag of drayhorse"')
    mission = mission_of(chosen)
    logs = _logs(chosen, mission)
    how = {"priors": dict(map(_prior, chosen.prior)), "use": chosen.use or None, "between": chosen.between, "carry": not chosen.alone}
    if chosen.hold_back:
        say(report(hold_back(mission, logs, chosen.parameters, **how, progress=not chosen.quiet)))
        return OK
    more = {"starts": chosen.starts, "seed": chosen.seed, "keep": chosen.keep, "progress": not chosen.quiet}
    found = estimate(mission, logs, chosen.parameters, **how, **more)
    say(report(found))
    if chosen.out:
        chosen.out.write_text(estimate_toml(found))
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_estimate

        write_figures(chosen.figures, {"estimate": plot_estimate(found)})
    return OK


def _logs(chosen, mission) -> dict:
    """Return the logs by the names of their files."""
    from sixdof import open_result
    from sixdof.postflight import read_log

    names = [path.stem for path in chosen.log]
    if len(set(names)) < len(names):
        raise ValueError(f"estimate: two logs have the name {max(names, key=names.count)}; give them names of their own")
    return {path.stem: open_result(path) if path.suffix == ".nc" else read_log(path, chosen.columns, mission) for path in chosen.log}


def _prior(text: str) -> tuple:
    name, equals, value = text.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise ValueError(f'estimate: --prior "{text}": write NAME=SD, for example, --prior aero.drag="8 %"')
    return name.strip(), value_of(value.strip())
