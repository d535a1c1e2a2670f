"""Custom laws of guidance and control: plain Python, numba or C, in the same loop and with the same bits.

    def law(t, sensed, memory, gains, command):     # once per tick; memory and command are written in place
        command[0] = -gains[0] * sensed[sixdof.laws.SENSED.index("rate_x")]

    sixdof.fly(mission, control=sixdof.laws.Law(law, gains=[0.05]))
    print(sixdof.laws.layout_table())               # every index of sensed and command, with unit and meaning

Begin with a plain function, whose errors have a traceback; `numba.njit` or a shared library then fly an ensemble at full speed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.core.layout import COMMANDED as COMMANDED
    from sixdof.core.layout import DEMAND as DEMAND
    from sixdof.core.layout import SENSED as SENSED
    from sixdof.flight.laws import CLaw as CLaw
    from sixdof.flight.laws import Law as Law
    from sixdof.flight.laws import LawError as LawError
    from sixdof.flight.laws import layout_table as layout_table

show(__name__, {"Laws": ("Law", "CLaw", "LawError"), "What they see and write": ("layout_table", "SENSED", "COMMANDED", "DEMAND")})
