"""Verbs about the turn into the wind: weathercock, stability."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_flights, with_flown, with_out, with_seed
from sixdof.cli.output import say, write_figures

FLIGHTS = 40


def add(commands) -> None:
    """Add the verbs to the command line."""
    turn = on_mission(commands, "weathercock", _weathercock, "does it turn into the wind: how far, from which wind on, what causes it, what cures it")
    with_flights(turn, f"drawn at each point (default: {FLIGHTS})")
    turn.add_argument("--criterion", action="append", default=[], metavar="TEXT", help='such as "lean at burnout < 8 deg in 95 %% of flights"; may be repeated')
    turn.add_argument("--wind", metavar="SPEED", help='at which causes and cures are looked at, such as "8 m/s" (default: as drawn, or the strongest tried)')
    turn.add_argument("--winds", nargs="+", metavar="SPEED", help="winds that are flown (default: 0 to 10 m/s by 2)")
    turn.add_argument("--motors", type=Path, nargs="+", metavar="PATH", help="other motors as cures: a folder of thrust curves (CSV), or the files")
    turn.add_argument("--stage", metavar="NAME", help="the stage whose motor varies (default: the last one)")
    turn.add_argument("--quick", action="store_true", help="no maps and no cures")
    turn.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(turn, "netCDF-4")
    with_flown(turn)
    margin = on_mission(commands, "stability", _stability, "the static margin as flown: over time, Mach number and incidence, and its spread")
    margin.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"drawn flights (default: {FLIGHTS})")
    with_seed(margin)
    with_out(margin, "netCDF-4")


def _weathercock(chosen) -> int:
    from sixdof import report
    from sixdof.preflight import weathercock

    _check_out(chosen)
    motors = chosen.motors
    if motors is not None:
        motors = motors[0] if len(motors) == 1 and motors[0].suffix != ".csv" else motors
    given = {"criteria": chosen.criterion} if chosen.criterion else {}
    given |= {"winds": [value_of(one) for one in chosen.winds]} if chosen.winds else {}
    given |= {"wind": value_of(chosen.wind)} if chosen.wind else {}
    how = {"maps": not chosen.quick, "cures": not chosen.quick, "seed": chosen.seed, "threads": chosen.threads, "progress": not chosen.quiet}
    ds = weathercock(mission_of(chosen), flights=FLIGHTS if chosen.flights is None else chosen.flights, motors=motors, stage=chosen.stage, **given, **how)
    say(report(ds))
    _write(chosen, ds)
    if chosen.figures:
        from sixdof.plot import plot_weathercock

        write_figures(chosen.figures, {"weathercock": plot_weathercock(ds)})
    return OK if float(ds["drawn_missed"].sel(fins="as written")) <= 0.0 else NONE_PASSES


def _stability(chosen) -> int:
    from sixdof import report
    from sixdof.preflight import stability

    _check_out(chosen)
    ds = stability(mission_of(chosen), chosen.flights, seed=chosen.seed)
    say(report(ds))
    _write(chosen, ds)
    if chosen.figures:
        from sixdof.plot import plot_stability_in_flight

        write_figures(chosen.figures, {"stability": plot_stability_in_flight(ds)[0].figure})
    return OK


def _check_out(chosen) -> None:
    """Raise, before anything is flown, for a file that cannot be written."""
    from sixdof.stats import check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)


def _write(chosen, ds) -> None:
    from sixdof import save

    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
