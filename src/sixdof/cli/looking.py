"""Verbs that look at a mission without flying it: check, aero."""

from __future__ import annotations

from sixdof.cli.codes import OK
from sixdof.cli.options import mission_of, on_mission
from sixdof.cli.output import say, write_figures


def add(commands) -> None:
    """Add the verbs to the command line."""
    on_mission(commands, "check", _check, "check a mission file and describe its vehicle")
    on_mission(commands, "aero", _aero, "aerodynamics against Mach: drag, margins, authority, hinge moments, with sources")


def _check(chosen) -> int:
    from sixdof import report

    mission = mission_of(chosen)
    say(report(mission))
    if chosen.figures:
        from sixdof.plot import draw_vehicle, plot_air

        write_figures(chosen.figures, {"vehicle": draw_vehicle(mission).figure, "air": plot_air(mission)[0].figure})
    return OK


def _aero(chosen) -> int:
    from sixdof import report

    mission = mission_of(chosen)
    say(report(mission, "aero"))
    if chosen.figures:
        from sixdof.plot import aero_figures

        write_figures(chosen.figures, aero_figures(mission))
    return OK
