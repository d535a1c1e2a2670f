"""A small mission without faults, as text."""

from __future__ import annotations

TEXT = """
title = "test vehicle"

[site]
latitude = "38 deg"

[air.wind]
speed = "4 m/s"
blows_from = "270 deg"

[rail]
length = "3 m"
elevation = "86 deg"

[motor.D240]
thrust_curve = { time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }
propellant_mass = "120 g"
case_mass = "150 g"
length = "200 mm"
diameter = "38 mm"
bore_diameter = "10 mm"
grain_length = "120 mm"

[[stage]]
name = "dart"

[[stage.part]]
kind = "nose"
length = "250 mm"
diameter = "75 mm"
mass = "150 g"

[[stage.part]]
kind = "tube"
name = "airframe"
length = "1 m"
diameter = "75 mm"
wall_thickness = "1.5 mm"
material = "fibreglass"

[[stage.part]]
kind = "fins"
name = "tail"
count = 4
station = "1.15 m"
root_chord = "90 mm"
tip_chord = "50 mm"
semispan = "60 mm"
tip_offset = "25 mm"
thickness = "3 mm"
control = true
hinge = "35 mm"
density = 1600.0

[[stage.part]]
kind = "rail_guide"
station = "0.7 m"
mass = "5 g"

[[stage.part]]
kind = "rail_guide"
station = "1.1 m"
mass = "5 g"

[[stage.part]]
kind = "mass"
name = "computer"
mass = "300 g"
station = "0.4 m"

[[stage.part]]
kind = "mount"
motor = "D240"
station = "1.0 m"
length = "250 mm"
inner_diameter = "39 mm"
mass = "60 g"

[[stage.part]]
kind = "parachute"
name = "main"
mass = "90 g"
station = "0.6 m"
diameter = "90 cm"

[servo]
natural_frequency = "10 Hz"

[autopilot.profile]
time = ["0 s", "2 s"]
tilt_pitch = ["0 deg", "5 deg"]

[[rule]]
name = "fins on"
when = "liftoff"
delay = "0.4 s"
action = "enable_fins"

[[recovery]]
canopy = "main"
when = "apogee"

[disperse]
motor.impulse = { sd = "2 %" }
"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }
"""
