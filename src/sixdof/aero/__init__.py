"""Aerodynamics and mass: coefficients against Mach, what the control fins can do, and a wind tunnel to put the vehicle in.

    drag = sixdof.aero.drag_against_mach(mission)          # by component, with the source of each line
    flow = sixdof.aero.wind_tunnel(mission, mach=0.3, incidence=0.1)
    sixdof.plot.plot_stability(sixdof.aero.stability_against_mach(mission))
    sixdof.report(mission, "aero")                         # all of it on a page

`stages` chooses a configuration: indices into `mission.stage`, front first; the whole stack by default. Coefficients stand on the area
and the diameter of the largest body cross-section. Above Mach 0.8 and beyond 15 deg of incidence they are estimates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.flight.rigid_body import fly_body as fly_body
    from sixdof.study.aero.air import air_against_height as air_against_height
    from sixdof.study.aero.authority import hinge_moments as hinge_moments
    from sixdof.study.aero.authority import moment_slopes as moment_slopes
    from sixdof.study.aero.authority import roll_coupling as roll_coupling
    from sixdof.study.aero.authority import survival as survival
    from sixdof.study.aero.authority import survival_word as survival_word
    from sixdof.study.aero.authority import trim as trim
    from sixdof.study.aero.tables import drag_against_mach as drag_against_mach
    from sixdof.study.aero.tables import stability_against_mach as stability_against_mach
    from sixdof.study.aero.tunnel import wind_tunnel as wind_tunnel
    from sixdof.vehicle.describe import balance as balance
    from sixdof.world.atmosphere import at_site as at_site

show(
    __name__,
    {
        "Coefficients against Mach": ("drag_against_mach", "stability_against_mach", "wind_tunnel", "balance"),
        "Control fins": ("moment_slopes", "trim", "roll_coupling", "hinge_moments", "survival", "survival_word"),
        "Air": ("air_against_height", "at_site"),
        "Plain bodies, flown by the same kernel": ("fly_body",),
    },
)
