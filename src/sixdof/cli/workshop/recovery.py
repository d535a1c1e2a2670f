"""The verb about a whole recovery: what breaks, and what to change."""

from __future__ import annotations

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission, value_of, with_flights, with_flown, with_out
from sixdof.cli.output import say, write_figures

PARTS = ("charge", "size", "deployment", "windows")


def add(commands) -> None:
    """Add the verb to the command line."""
    text = "what breaks in the recovery and what to change: charges, pins, harnesses, canopies, deployment, trigger windows"
    recovery = on_mission(commands, "recovery", _recovery, text)
    with_flights(recovery, "how many are flown (default: 200); of studies that fly many conditions 30 to 60 at most of each")
    recovery.add_argument("--descent-speed", default="6 m/s", metavar="SPEED", help='that no canopy is to pass at the ground (default: "6 m/s")')
    recovery.add_argument("--drift", metavar="LENGTH", help='from apogee to the ground that is not to be passed, such as "600 m" (default: any)')
    recovery.add_argument("--failing", type=int, default=10, metavar="N", help="fly N more with each failure made certain (default: 10)")
    recovery.add_argument("--load-share", type=float, default=0.5, metavar="S", help="share of a strength that loads are to stay below (default: 0.5)")
    recovery.add_argument("--share", type=float, default=0.95, metavar="S", help="share of the flights that must keep all this (default: 0.95)")
    recovery.add_argument("--part", action="append", choices=PARTS, help="ask this part alone; may be repeated (default: all)")
    recovery.add_argument("--pages", action="store_true", help="print the page of each part too")
    recovery.add_argument("--threads", type=int, metavar="N", help="threads (default: one per core)")
    with_out(recovery, "netCDF-4")
    with_flown(recovery)


def _recovery(chosen) -> int:
    from sixdof import report, save
    from sixdof.stats import check_netcdf_path
    from sixdof.workshop import recovery, recovery_part

    if chosen.out:
        check_netcdf_path(chosen.out, overwrite=chosen.overwrite)
    asked = {"drift": value_of(chosen.drift) if chosen.drift else None, "descent_speed": value_of(chosen.descent_speed), "parts": chosen.part or PARTS}
    how = {name: getattr(chosen, name) for name in ("failing", "load_share", "share", "seed", "threads")}
    found = recovery(mission_of(chosen), chosen.flights or 200, progress=not chosen.quiet, **asked, **how)
    say(report(found))
    parts = {part: recovery_part(found, part) for part in PARTS if f"{part}_attributes" in found.attrs}
    if chosen.pages:
        for part in parts.values():
            say()
            say(report(part))
    if chosen.out:
        say(f"written: {save(found, chosen.out, overwrite=chosen.overwrite)}")
    if chosen.figures:
        write_figures(chosen.figures, _figures(parts))
    return OK


def _figures(parts: dict) -> dict:
    """Return the figures of the parts that were asked, by name; what has nothing to draw says so."""
    from sixdof.plot import plot_canopy_size, plot_charge, plot_deployment, plot_trigger_windows

    figures = {}
    for part, draw, of in (("charge", plot_charge, "harness"), ("size", plot_canopy_size, "canopy"), ("deployment", plot_deployment, "canopy")):
        for name in map(str, parts[part][of].values if part in parts else ()):
            _draw(figures, f"{part}-" + "".join(c if c.isalnum() else "-" for c in name), lambda: draw(parts[part], name)[0].figure)
    if "windows" in parts:
        _draw(figures, "windows", lambda: plot_trigger_windows(parts["windows"]))
    return figures


def _draw(figures: dict, name: str, draw) -> None:
    try:
        figures[name] = draw()
    except ValueError as error:  # a canopy that never came out has no loads, a mission without backups no windows
        say(f"no figure {name}: {error}")
