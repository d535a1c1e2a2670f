"""Before a flight: does it turn into the wind, which motor, how much wind, where does it land, and the page for the launch day.

    choice = sixdof.preflight.choose_motor(mission, "motors", "rail_departure_speed > 20 m/s", "most apogee_height")      # a folder of thrust curves
    winds = sixdof.preflight.sweep(mission, {"wind.speed": ["2 m/s", "6 m/s"]}, 50)      # the same drawn flights in both winds

Each study takes a mission and gives a Dataset; `sixdof.report` makes its page. A simulation is never a clearance to fly: local law, the range
safety officer and licensed practice come first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.ensemble.run import keeping as keeping
    from sixdof.study.landing.criterion import lands_in_field as lands_in_field
    from sixdof.study.landing.export import landing_geojson as landing_geojson
    from sixdof.study.landing.kml import landing_kml as landing_kml
    from sixdof.study.landing.landing import landing as landing
    from sixdof.study.landing.rail_map import rail_map as rail_map
    from sixdof.study.launch_card.card import launch_card as launch_card
    from sixdof.study.motor_choice.choose import choose_motor as choose_motor
    from sixdof.study.sweep.sweep import fly_conditions as fly_conditions
    from sixdof.study.sweep.sweep import sweep as sweep
    from sixdof.study.weathercock.stability import stability as stability
    from sixdof.study.weathercock.weathercock import weathercock as weathercock
    from sixdof.study.wind_limit.air import with_sounding as with_sounding
    from sixdof.study.wind_limit.allowed import wind_allowed as wind_allowed
    from sixdof.study.wind_limit.practice import wind_criteria as wind_criteria
    from sixdof.study.wind_limit.rail_for_wind import rail_for_wind as rail_for_wind
    from sixdof.study.wind_limit.wind_limit import wind_limit as wind_limit

show(
    __name__,
    {
        "Does it turn into the wind": ("weathercock", "stability"),
        "Which motor": ("choose_motor",),
        "Where it lands": ("landing", "rail_map", "lands_in_field", "landing_geojson", "landing_kml"),
        "How much wind": ("wind_limit", "wind_allowed", "rail_for_wind", "wind_criteria", "with_sounding"),
        "The launch day": ("launch_card",),
        "Many conditions, the same draws": ("sweep", "fly_conditions", "keeping"),
    },
)
