"""The verb that chooses a motor."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import NONE_PASSES, OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verb to the command line."""
    motors = on_mission(commands, "motors", _motors, "say which motor of a folder to fly: fit, flights, criteria, preference, what would change it")
    motors.add_argument("folder", type=Path, nargs="+", metavar="FOLDER", help="a folder of thrust curves (CSV), or the files")
    motors.add_argument(
        "--criterion", action="append", default=[], metavar="TEXT", help='such as "tilt at burnout < 15 deg in 95 %% of flights"; may be repeated'
    )
    motors.add_argument("--prefer", metavar="TEXT", help='among those that meet all, such as "most apogee_height" or "least price then least landing distance"')
    motors.add_argument("--columns", type=Path, metavar="CSV", help='columns of your own, such as "motor, price, availability"')
    motors.add_argument("--limit", action="append", default=[], metavar="NAME=VALUE", help='of all motors of the vehicle, such as propellant_mass="500 g"')
    motors.add_argument("--stage", metavar="NAME", help="the stage whose motor is chosen (default: the last one, the booster)")
    motors.add_argument("--adjust", action="store_true", help="put altimeter and delay settings right for each motor before the flights that count")
    motors.add_argument("--confidence", type=float, default=0.9, metavar="C", help="confidence of each verdict by itself (default: 0.9)")
    motors.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_flights(motors, "how many of each motor (default: 100)")
    with_out(motors, "netCDF-4")
    with_flown(motors)
    motors.set_defaults(flights=100)


def _motors(chosen) -> int:
    from sixdof import report, save
    from sixdof.preflight import choose_motor
    from sixdof.stats import VERDICTS, check_netcdf_path

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    ds = choose_motor(
        mission_of(chosen),
        chosen.folder[0] if len(chosen.folder) == 1 and chosen.folder[0].suffix != ".csv" else chosen.folder,
        chosen.criterion,
        chosen.prefer,
        chosen.flights,
        seed=chosen.seed,
        stage=chosen.stage,
        columns=chosen.columns,
        limits=dict(map(_limit, chosen.limit)),
        adjust=chosen.adjust,
        confidence=chosen.confidence,
        threads=chosen.threads,
        progress=not chosen.quiet,
    )
    say(report(ds))
    if chosen.out:
        say(f"written: {save(ds, chosen.out, overwrite=chosen.overwrite)}")
    if not ds.sizes.get("variant"):
        return NONE_PASSES
    if chosen.figures:
        from sixdof.plot import plot_motor_choice

        write_figures(chosen.figures, {"motors": plot_motor_choice(ds).figure})
    return OK if "criterion" not in ds.dims or (ds.verdict == VERDICTS.index("pass")).all("criterion").any() else NONE_PASSES


def _limit(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise ValueError(f'--limit "{text}": write NAME=VALUE, for example, propellant_mass="500 g"')
    return name.strip(), value.strip()
