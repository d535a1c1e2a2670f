"""The verb that reads a flight log: what is in it, what was wrong, what was done about it."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import value_of, verb, with_out
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verb to the command line."""
    log = verb(commands, "log", _log, "read a flight log or telemetry by a column map: what is in it, what was wrong, what was done about it")
    log.add_argument("log", type=Path, metavar="LOG", help="a CSV or Parquet file")
    log.add_argument("--columns", type=Path, metavar="TOML", help="its column map (default: proposed from the header)")
    log.add_argument("--propose", action="store_true", help="only propose a column map from the header; with --out written to a TOML file, to be completed")
    log.add_argument("--mission", type=Path, metavar="TOML", help="the mission flown: its air, site and rail (default: the standard atmosphere)")
    log.add_argument("--stage", metavar="NAME", help="the stage whose log this is (default: as the map says, else the front stage)")
    log.add_argument("--liftoff", metavar="TIME", help='on the log\'s own clock, such as "12.3 s" (default: found in the log)')
    log.add_argument("--remove-bias", action="store_true", help="take off what the gyros read at rest before launch")
    log.add_argument("--reset-gap", metavar="TIME", help="for how long the clock stood where the computer was reset in flight")
    log.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
    with_out(log, "netCDF-4; a column map as TOML with --propose")


def _log(chosen) -> int:
    from sixdof import load_mission, report, save
    from sixdof.postflight import column_map, read_log
    from sixdof.stats import check_path

    if chosen.out:
        check_path(chosen.out, overwrite=chosen.overwrite)
    if chosen.propose:
        proposed = column_map(chosen.log)
        say(report(proposed))
        if chosen.out:
            chosen.out.write_text(str(proposed), encoding="utf-8")
            say(f"written: {chosen.out}")
        return OK
    mission = None if chosen.mission is None else load_mission(chosen.mission)
    asked = {"liftoff": _time(chosen.liftoff), "remove_bias": chosen.remove_bias, "reset_gap": _time(chosen.reset_gap), "stage": chosen.stage}
    ds = read_log(chosen.log, chosen.columns, mission, **asked)
    say(report(ds))
    if chosen.out:
        save(ds, chosen.out, overwrite=chosen.overwrite)
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_log

        write_figures(chosen.figures, {"log": plot_log(ds)})
    return OK


def _time(text: str | None):
    """Return a time as it was given: a bare number is in seconds."""
    return None if text is None else value_of(text)
