"""The verb that holds a flight log against drawn flights: does the model hold, how far, what to look at first."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, with_flown, with_out, with_seed
from sixdof.cli.output import say, write_figures

FLIGHTS = 200


def add(commands) -> None:
    """Add the verb to the command line."""
    text = "hold a flight log against drawn flights: does the model still hold, to which Mach number and incidence, what to look at first"
    against = on_mission(commands, "against", _against, text)
    against.add_argument("log", type=Path, nargs="+", metavar="LOG", help="a CSV or Parquet file, or a log that the verb log wrote (netCDF-4)")
    against.add_argument(
        "--columns", type=Path, action="append", default=[], metavar="TOML", help="a log's column map (default: proposed from the header); one, or one for each"
    )
    against.add_argument("--stage", metavar="NAME", help="the stage whose log this is (default: as the map says, else the front stage)")
    against.add_argument("--branch", default="nominal", metavar="NAME", help='what failed in that flight, such as "no_ignition: sustainer" (default: nominal)')
    against.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"drawn flights (default: {FLIGHTS})")
    against.add_argument("--clock-error", metavar="TIME", help="how well the log knows its liftoff, one standard deviation (default: from its rate)")
    against.add_argument("--confidence", type=float, default=0.95, metavar="SHARE", help="that a log is called off the model with (default: 0.95)")
    against.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    against.add_argument("--quiet", action="store_true", help="no progress bar")
    with_seed(against)
    with_flown(against)
    with_out(against, "netCDF-4")


def _against(chosen) -> int:
    from sixdof import report, save
    from sixdof.postflight import compare_log
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    mission = mission_of(chosen)
    ds = compare_log(
        mission,
        _logs(chosen, mission),
        flights=chosen.flights,
        branch=chosen.branch,
        seed=chosen.seed,
        clock_error=chosen.clock_error,
        confidence=chosen.confidence,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        from sixdof.plot import plot_against

        write_figures(chosen.figures, {"against": plot_against(ds)})
    return OK if bool(ds["log_holds"].all()) else NONE_PASSES


def _logs(chosen, mission):
    """Return the log, or logs by the names of their files. Raises ValueError for maps that do not go with them."""
    if len(chosen.columns) not in (0, 1, len(chosen.log)):
        raise ValueError(f"--columns: {len(chosen.columns)} column maps for {len(chosen.log)} logs; give one, or one for each")
    maps = chosen.columns * len(chosen.log) if len(chosen.columns) == 1 else chosen.columns or [None] * len(chosen.log)
    found = [_read(path, columns, mission, chosen.stage) for path, columns in zip(chosen.log, maps, strict=True)]
    names = [path.stem if sum(one.stem == path.stem for one in chosen.log) == 1 else str(path) for path in chosen.log]
    return found[0] if len(found) == 1 else dict(zip(names, found, strict=True))


def _read(path: Path, columns: Path | None, mission, stage: str | None):
    from sixdof import open_result
    from sixdof.postflight import read_log

    return open_result(path) if path.suffix == ".nc" else read_log(path, columns, mission, stage=stage)
