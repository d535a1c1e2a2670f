"""Verbs about the attitude loops: margins, tune."""

from __future__ import annotations

import math

from sixdof.cli.codes import INTERRUPTED, NOT_MET, OK
from sixdof.cli.options import mission_of, on_mission, with_flights, with_out, with_seed
from sixdof.cli.output import complain, say, write_figures


def add(commands) -> None:
    """Add the verbs to the command line."""
    margins = on_mission(commands, "margins", _margins, "margins of the attitude loops along the flight, held against a requirement")
    with_flights(margins, "also over N flights, each with its own draw")
    tune = on_mission(commands, "tune", _tune, "find gains that have the margins asked for all along the flight, and say what limits them")
    tune.add_argument("--bandwidth", type=float, metavar="RAD_PER_S", help="least bandwidth (default: 80 %% of the largest that the rest allows)")
    tune.add_argument(
        "--schedule",
        choices=("mach", "dynamic_pressure", "scale", "none"),
        default="mach",
        help="rows of gains over Mach number or dynamic pressure, one set scaled by dynamic pressure, or one set (default: mach)",
    )
    tune.add_argument("--rows", type=int, metavar="N", help="rows of the schedule (default: 5)")
    tune.add_argument("--hold-on", type=int, nargs="+", default=[], metavar="N", help="drawn flights, by number, on which the gains must hold as well")
    tune.add_argument("--channels", nargs="+", choices=("pitch", "yaw", "roll"), help="channels to design (default: all); others keep their gains")
    with_seed(tune)
    with_out(tune, "TOML: the keys of [autopilot] to put into the mission file")
    for command, share in ((margins, "half"), (tune, "a third")):
        models = f"linear models of the flight (default: 30), {share} as many of a drawn one"
        command.add_argument("--points", type=int, default=30, metavar="N", help=models)
        command.add_argument("--gain-margin", type=float, default=6.0, metavar="DB", help="required gain margin, up and down (default: 6)")
        command.add_argument("--phase-margin", type=float, default=45.0, metavar="DEG", help="required phase margin (default: 45)")


def _margins(chosen) -> int:
    from sixdof import report
    from sixdof.loops import holds, linearise, margin_spread, margins, robust_margins
    from sixdof.stats import make_draws

    mission = mission_of(chosen)
    gain_db, phase = _required(chosen)
    if chosen.flights is not None:
        make_draws(mission, chosen.flights, seed=chosen.seed)  # wrong numbers are said before anything is flown
    models = linearise(mission, points=chosen.points)
    found, spread = margins(models), None
    say(report(found, gain_db=gain_db, phase=phase))
    met = bool(holds(found, gain_db, phase).all())
    if chosen.flights is not None:
        spread = margin_spread(
            mission, chosen.flights, seed=chosen.seed, points=max(chosen.points // 2, 1), gain_db=gain_db, phase=phase, progress=not chosen.quiet
        )
        if not spread.sizes["flight"]:
            complain("interrupted before the first flight was finished")
            return INTERRUPTED
        say(f"\n{report(spread)}")
        over = robust_margins(spread)
        met = met and int(over["used"]) > 0 and not bool((over["met"] == 0.0).any())  # NaN: a flight omitted
    if chosen.figures:
        write_figures(chosen.figures, _loop_figures(models, found, spread, (gain_db, phase)))
    if spread is not None and "interrupted" in spread.attrs:
        return INTERRUPTED
    return OK if met else NOT_MET


def _required(chosen) -> tuple[float, float]:
    """Return the required margins, dB and rad. Raises ValueError in the words and the unit of the command line."""
    for name, value, most in (("--gain-margin", chosen.gain_margin, "100 dB"), ("--phase-margin", chosen.phase_margin, "180 deg")):
        if not 0.0 <= value <= float(most.split()[0]):
            raise ValueError(f"margins: {name} {value:g} must be a number from 0 to {most}")
    return chosen.gain_margin, math.radians(chosen.phase_margin)


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
    from sixdof import report, tune
    from sixdof.stats import check_path

    mission = mission_of(chosen)
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
    say(report(tuned))
    if chosen.out:
        chosen.out.write_text(tuned.fragment(), encoding="utf-8")
        say(f"written: {chosen.out}")
    if chosen.figures:
        from sixdof.plot import plot_tuning

        write_figures(chosen.figures, {f"tuning-{channel}": plot_tuning(tuned, channel) for channel in ("pitch", "roll")})
    return OK if tuned.met else NOT_MET
