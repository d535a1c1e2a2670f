"""In the workshop: what breaks, what to set, what was measured.

    found = sixdof.workshop.flutter(mission)      # fin flutter along drawn flights; print(sixdof.report(found)) says what to make of it

Each study takes a mission and gives a Dataset; `sixdof.report` makes its page. A computed charge, load or margin is never a clearance to fly: local
law, the range safety officer and licensed practice come first, and a charge is tested on the ground with nobody near.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.study.recovery.deployment import deployment as deployment
    from sixdof.study.recovery.windows import trigger_windows as trigger_windows
    from sixdof.study.structure.flutter import flutter as flutter

show(__name__, {"Recovery": ("deployment", "trigger_windows"), "Structure and heating": ("flutter",), "The vehicle as built": (), "A static firing": ()})
