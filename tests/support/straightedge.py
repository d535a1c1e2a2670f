"""A vehicle flown in the assumptions of the linear theory of the turn into the wind: a rail that stands upright, one steady wind at all heights, guides
that leave together, a thrust that does not change, hardly any propellant, little incidence. All invented."""

from __future__ import annotations

from sixdof.mission.load import loads_mission

TEXT = """
title = "Straightedge, an invented vehicle for a closed form"
site = {{ latitude = "0 deg", longitude = "0 deg", altitude = "0 m" }}
rail = {{ length = "{rail}", elevation = "{elevation}", azimuth = "{azimuth}", friction = 0.0 }}
air.wind = {{ profile = "uniform", speed = "{wind}", blows_from = "270 deg" }}
recovery = [{{ canopy = "main", when = "apogee" }}]
solver.steps_per_tick = 4
record.rate = "100 Hz"
motor.even.length = 0.4
motor.even.diameter = 0.05
motor.even.case_mass = "150 g"
motor.even.propellant_mass = "80 g"
motor.even.thrust_curve = {{ time = [0, 0.001, 2.0, 2.001], thrust = [{thrust}, {thrust}, {thrust}, 0] }}
stage = [{{ name = "straightedge", part = [
  {{ kind = "nose", length = "240 mm", diameter = "66 mm", mass = "200 g" }},
  {{ kind = "tube", length = "1200 mm", diameter = "66 mm", mass = "400 g" }},
  {{ kind = "fins", count = 4, station = "1.3 m", root_chord = "100 mm", tip_chord = "60 mm", semispan = "{semispan}", thickness = "3 mm", mass = "90 g" }},
  {{ kind = "rail_guide", station = "1.000 m", mass = "1 g" }}, {{ kind = "rail_guide", station = "1.001 m", mass = "1 g" }},
  {{ kind = "mount", motor = "even", station = "0.8 m", length = "450 mm", inner_diameter = "52 mm", mass = "10 g" }},
  {{ kind = "mass", name = "ballast", mass = "2 kg", station = "{ballast}" }},
  {{ kind = "parachute", name = "main", mass = "10 g", station = "800 mm", diameter = "110 cm" }}] }}]
"""
USUAL = {"rail": "3 m", "elevation": "90 deg", "azimuth": "90 deg", "wind": "0.5 m/s", "thrust": "150", "semispan": "70 mm", "ballast": "880 mm"}


def straightedge(**changes: str):
    """Return the mission, with some of USUAL changed."""
    return loads_mission(TEXT.format(**USUAL | changes))
