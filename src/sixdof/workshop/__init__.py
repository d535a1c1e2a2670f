"""In the workshop: what breaks, what to set, what was measured.

    size = sixdof.workshop.canopy_size(mission, "main", descent_speed="6 m/s", drift="400 m")  # how large, and whether both can be kept
    window = sixdof.workshop.deployment(mission)  # from 3 s before to 5 s after apogee: when may a canopy come out
    timers = sixdof.workshop.trigger_windows(mission, 60)  # over all that may go wrong: when may a backup fire, and what to set
    found = sixdof.workshop.flutter(mission)      # fin flutter along drawn flights; print(sixdof.report(found)) says what to make of it
    built = sixdof.workshop.as_built(mission, "readings.toml")      # what was weighed and swung, against what the parts add up to
    fired = sixdof.workshop.static_firing("log.csv", calibration="0.5 %", propellant_mass="118 g")      # a load cell's raw log
    mission = sixdof.workshop.with_firing(mission, "dune", fired)      # the mission flies what was fired

Each study takes a mission and gives a Dataset; `sixdof.report` makes its page. A computed charge, load or margin is never a clearance to fly: local
law, the range safety officer and licensed practice come first, and a charge is tested on the ground with nobody near.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.study.as_built.as_built import as_built as as_built
    from sixdof.study.as_built.ballast import ballast as ballast
    from sixdof.study.as_built.readings import readings_keys as readings_keys
    from sixdof.study.as_built.readings import readings_of as readings_of
    from sixdof.study.as_built.with_measured import with_measured as with_measured
    from sixdof.study.recovery.deployment import deployment as deployment
    from sixdof.study.recovery.ejection.charge import charge as charge
    from sixdof.study.recovery.recovery import recovery as recovery
    from sixdof.study.recovery.recovery import recovery_part as recovery_part
    from sixdof.study.recovery.sizing.canopy_size import canopy_size as canopy_size
    from sixdof.study.recovery.triggers.windows import trigger_windows as trigger_windows
    from sixdof.study.static_firing.static_firing import static_firing as static_firing
    from sixdof.study.static_firing.with_firing import firing_curve as firing_curve
    from sixdof.study.static_firing.with_firing import with_firing as with_firing
    from sixdof.study.structure.flutter import flutter as flutter
    from sixdof.study.structure.loads.bending import bending as bending
    from sixdof.study.structure.loads.deployment_loads import deployment_loads as deployment_loads
    from sixdof.study.structure.loads.guides import guide_loads as guide_loads
    from sixdof.study.structure.loads.structure import structure as structure
    from sixdof.study.structure.skin import skin_temperature as skin_temperature

show(
    __name__,
    {
        "Recovery": ("recovery", "recovery_part", "charge", "canopy_size", "deployment", "trigger_windows"),
        "Structure and heating": ("structure", "bending", "guide_loads", "deployment_loads", "flutter", "skin_temperature"),
        "The vehicle as built": ("readings_of", "readings_keys", "as_built", "with_measured", "ballast"),
        "A static firing": ("static_firing", "with_firing", "firing_curve"),
    },
)
