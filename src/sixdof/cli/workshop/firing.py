"""The verb that turns logs of a static firing into a thrust curve."""

from __future__ import annotations

from pathlib import Path

from sixdof.cli.codes import OK
from sixdof.cli.options import verb, with_out, with_seed
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verb to the command line."""
    firing = verb(commands, "firing", _firing, "turn raw logs of a static firing into a thrust curve: impulse with error, burn time, class, spread")
    firing.add_argument(
        "log", type=Path, nargs="+", metavar="LOG", help='a CSV with time and force or counts, such as "time (ms), force (N)" in its first line'
    )
    firing.add_argument(
        "--calibration", metavar="CSV|SHARE", help='points of a calibration (reading, force, error), or the error of the scale, such as "0.5 %%"'
    )
    firing.add_argument("--propellant", metavar="MASS", help='mass of the propellant, such as "270 g"')
    firing.add_argument("--before", metavar="MASS", help="mass of the motor as lit, with --after in place of --propellant")
    firing.add_argument("--after", metavar="MASS", help="mass of the motor after the firing")
    firing.add_argument("--stand", default="horizontal", choices=("horizontal", "nozzle up", "nozzle down"), help="how the motor lies (default: horizontal)")
    firing.add_argument("--units", nargs=2, metavar=("TIME", "READING"), help="units where the log has no header, such as ms lbf, or s counts")
    firing.add_argument("--cell-limit", metavar="FORCE", help='the largest force that the cell can read, such as "1 kN"')
    firing.add_argument("--air-pressure", metavar="PRESSURE", help='at the stand, such as "87.6 kPa"')
    firing.add_argument("--notch", metavar="FREQUENCY", help='taken out, such as "62 Hz", or none (default: the ringing of the stand)')
    firing.add_argument("--lowpass", metavar="FREQUENCY", help="or none (default: 100 Hz where the log is fast enough)")
    firing.add_argument("--align", default="burn_time", choices=("burn_time", "ignition"), help="how curves of several firings are laid over each other")
    firing.add_argument("--points", type=int, default=24, metavar="N", help="that the curve has at most (default: 24)")
    firing.add_argument("--mission", type=Path, metavar="TOML", help="a mission: what its flight feels of the motor as fired")
    firing.add_argument("--motor", metavar="NAME", help="the mission's motor that was fired")
    firing.add_argument("--flights", type=int, default=0, metavar="N", help="of the mission, drawn besides, as written and as fired (default: 0)")
    with_seed(firing)
    firing.add_argument("--figures", type=Path, metavar="FOLDER", help="write figures (PNG) into this folder")
    with_out(firing, "CSV, a thrust curve for `thrust_curve`")


def _firing(chosen) -> int:
    from sixdof import load_mission, report
    from sixdof.stats import check_path
    from sixdof.workshop import firing_curve, static_firing

    if chosen.out:
        check_path(chosen.out, overwrite=chosen.overwrite)
    ds = static_firing(
        chosen.log,
        calibration=chosen.calibration,
        propellant_mass=chosen.propellant,
        mass_before=chosen.before,
        mass_after=chosen.after,
        stand=chosen.stand,
        units=chosen.units,
        cell_limit=chosen.cell_limit,
        air_pressure=chosen.air_pressure,
        notch=chosen.notch,
        lowpass=chosen.lowpass,
        alignment=chosen.align,
        points=chosen.points,
        mission=None if chosen.mission is None else load_mission(chosen.mission),
        motor=chosen.motor,
        flights=chosen.flights,
        seed=chosen.seed,
    )
    say(report(ds))
    if chosen.out:
        firing_curve(ds, chosen.out, overwrite=chosen.overwrite)
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_static_firing

        write_figures(chosen.figures, {"firing": plot_static_firing(ds)})
    return OK
