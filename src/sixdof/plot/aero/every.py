"""All figures of a mission's aerodynamics, of every configuration that flies."""

from __future__ import annotations

from sixdof.mission.load import check_mission
from sixdof.plot.aero import authority as plots
from sixdof.plot.aero.mach import plot_drag_build_up, plot_stability
from sixdof.study.aero import authority
from sixdof.study.aero.control_report import has_controls, sheds
from sixdof.study.aero.tables import drag_against_mach, stability_against_mach


def aero_figures(mission) -> dict:
    """Return the figures (name: figure) that the command line writes: of every configuration that flies.

    Drag and stability of each, for those with control fins authority, trim and hinge moments, for a stack survival.

    Examples
    --------
    >>> figures = sixdof.plot.aero_figures(mission)
    >>> len(figures) > 2
    True
    """
    check_mission(mission, "aero_figures")
    figures = {}
    for count in range(len(mission.stage), 0, -1):
        stages, end = list(range(count)), "" if count == len(mission.stage) else f"_without_{mission.stage[count].name}"
        figures[f"drag{end}"] = plot_drag_build_up(drag_against_mach(mission, stages)).figure
        figures[f"stability{end}"] = plot_stability(stability_against_mach(mission, stages))[0, 0].figure
        if not has_controls(mission, stages):
            continue
        slopes = authority.moment_slopes(mission, stages=stages)
        figures[f"authority{end}"] = plots.plot_authorities(slopes)[0].figure
        figures[f"trim{end}"] = plots.plot_trim(authority.trim(mission, stages=stages))[0].figure
        hinge = authority.hinge_moments(mission, stages=stages, altitude=mission.site.altitude)
        figures[f"hinge{end}"] = plots.plot_hinge_moments(hinge, stall_torque=mission.servo.stall_torque).figure
        if not end and sheds(mission, stages):
            figures["survival"] = plots.plot_survival(authority.survival(mission))[0].figure
    return figures
