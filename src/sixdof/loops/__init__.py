"""The attitude loops: linear models of a flight, their margins, limit cycles, and what gains do to all of it.

    models = sixdof.loops.linearise(mission)     # linear models of the kernel along the nominal flight
    found = sixdof.loops.margins(models)         # the loop as it flies: sampled law, hold, delays, servo
    sixdof.report(found)                         # the worst of every channel, held against a requirement
    sixdof.plot.plot_bode(models, channel="pitch")

`sixdof.tune(mission)` finds gains that have the margins asked for. A linear model is good near the flight it was made on and at small
incidence; play, dead bands and limits of the servos need `limit_cycle_table` or a flight. Channels are "pitch", "yaw" and "roll".
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.study.loops.frozen import simulate_frozen as simulate_frozen
    from sixdof.study.loops.limit_cycle import limit_cycle_curves as limit_cycle_curves
    from sixdof.study.loops.limit_cycle import limit_cycle_table as limit_cycle_table
    from sixdof.study.loops.limit_cycle import limit_cycles as limit_cycles
    from sixdof.study.loops.limit_cycle import simulated_cycle as simulated_cycle
    from sixdof.study.loops.linear import linearise as linearise
    from sixdof.study.loops.linear import modes as modes
    from sixdof.study.loops.linear import state_space as state_space
    from sixdof.study.loops.loop import closed_response as closed_response
    from sixdof.study.loops.loop import open_loop as open_loop
    from sixdof.study.loops.margins import coupled_margins as coupled_margins
    from sixdof.study.loops.margins import holds as holds
    from sixdof.study.loops.margins import margins as margins
    from sixdof.study.loops.margins import worst_point as worst_point
    from sixdof.study.loops.sampled_plant import BendingMode as BendingMode
    from sixdof.study.reading.control_metrics import control_metrics as control_metrics
    from sixdof.study.tuning.gain_map import gain_map as gain_map
    from sixdof.study.tuning.tuned import Tuned as Tuned
    from sixdof.study.uncertainty.margin_spread import margin_spread as margin_spread
    from sixdof.study.uncertainty.robust_margins import robust_margins as robust_margins
    from sixdof.study.uncertainty.robust_margins import worst_draws as worst_draws

show(
    __name__,
    {
        "Linear models along a flight": ("linearise", "modes", "state_space"),
        "One loop, for python-control": ("open_loop", "closed_response", "BendingMode"),
        "Margins": ("margins", "coupled_margins", "worst_point", "holds"),
        "Margins of many flights": ("margin_spread", "robust_margins", "worst_draws"),
        "Gains and control as flown": ("gain_map", "control_metrics", "Tuned"),
        "Time answers and limit cycles at one point of a flight": (
            "simulate_frozen",
            "limit_cycles",
            "limit_cycle_curves",
            "limit_cycle_table",
            "simulated_cycle",
        ),
    },
)
