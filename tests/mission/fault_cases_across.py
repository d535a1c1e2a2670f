"""As `fault_cases.py`: mistakes that only two tables together show."""

from __future__ import annotations

from fault_cases import WIND

FINS_ON = 'when = "liftoff"\ndelay = "0.4 s"\naction = "enable_fins"'
SECOND_SET = """[[stage.part]]
kind = "fins"
name = "second"
count = 4
station = "1.2 m"
root_chord = "40 mm"
tip_chord = "30 mm"
semispan = "60 mm"
thickness = "3 mm"
mass = "40 g"

[[stage.part]]
kind = "rail_guide"
station = "0.7 m\""""
FIRST_GUIDE = '[[stage.part]]\nkind = "rail_guide"\nstation = "0.7 m"'

ACROSS = {
    "no stage has a nose": ('kind = "nose"', 'kind = "tube"', "stage[0].part[0].kind", "first body is a tube", "begins with a nose"),
    "a second nose": (
        'kind = "tube"\nname = "airframe"\nlength = "1 m"\ndiameter = "75 mm"\nwall_thickness = "1.5 mm"',
        'kind = "nose"\nlength = "1 m"\ndiameter = "75 mm"',
        "stage[0].part[1].kind",
        "behind another body",
        "only the first body",
    ),
    "joint": (
        'length = "1 m"\ndiameter = "75 mm"',
        'length = "1 m"\ndiameter = "76 mm"',
        "stage[0].part[1].diameter",
        "0.076 m does not meet the nose before it, which ends with 0.075 m",
        "a transition",
    ),
    "fins aft of the body": ('station = "1.15 m"', 'station = "1.2 m"', "stage[0].part[2].station", "the root, 1.2 to 1.29 m, is not on", "1.16 m or less"),
    "fins fore of the body": ('station = "1.15 m"', 'station = "-1 cm"', "stage[0].part[2].station", "is not on the stage's body", "1.16 m"),
    "fins on the tip": ('station = "1.15 m"', "station = 0.0", "stage[0].part[2].station", "on the tip of the nose", "further aft"),
    "fins too thick": ('thickness = "3 mm"', 'thickness = "60 mm"', "stage[0].part[2].count", "do not fit around", "fewer or thinner"),
    "fins through fins": (FIRST_GUIDE, SECOND_SET, "stage[0].part[3].station", 'stands in one of the fins "tail" between 1.2 and 1.24 m', "clocking"),
    "mount behind the body": ('station = "1.0 m"', 'station = "1.1 m"', "stage[0].part[6].station", "the mount, 1.1 to 1.35 m", "protrusion"),
    "mount too wide": ('inner_diameter = "39 mm"', 'inner_diameter = "80 mm"', "stage[0].part[6].inner_diameter", "reaches 0.041 m", "narrower mount"),
    "mount off the axis": (
        'inner_diameter = "39 mm"',
        'inner_diameter = "39 mm"\nring_radius = "3 cm"',
        "stage[0].part[6].ring_radius",
        "reaches",
        "narrower mount",
    ),
    "motor too long": ('length = "200 mm"', 'length = "260 mm"', "stage[0].part[6].length", 'motor "D240" is 0.26 m long', "protrusion"),
    "motor too wide": ('inner_diameter = "39 mm"', 'inner_diameter = "37 mm"', "stage[0].part[6].inner_diameter", "does not go into 0.037 m", "wider mount"),
    "motor unknown": ('motor = "D240"', 'motor = "D24"', "stage[0].part[6].motor", 'no motor "D24"', 'did you mean "D240"?'),
    "motor of another world": ('motor = "D240"', 'motor = "zz"', "stage[0].part[6].motor", 'no motor "zz"', "motors: D240"),
    "point behind the body": ('station = "0.4 m"', 'station = "1.4 m"', "stage[0].part[5].station", "1.4 m is not on the stage's body", "stations count aft"),
    "guide behind the body": ('station = "1.1 m"', 'station = "1.4 m"', "stage[0].part[4].station", "1.4 m is not on", "stations count aft"),
    "canopy behind the body": ('station = "0.6 m"', 'station = "1.4 m"', "stage[0].part[7].station", "1.4 m is not on", "stations count aft"),
    "cg behind the body": ('name = "dart"', 'name = "dart"\nmeasured = { cg = 2 }', "stage[0].measured.cg", "2 m is not in", "stations count aft"),
    "one guide": (FIRST_GUIDE + '\nmass = "5 g"', "", "stage[0].part", "has 1 rail guide", "two or more"),
    "guides in one place": ('station = "0.7 m"', 'station = "1.1 m"', "stage[0].part[4].station", "all guides are at 1.1 m", "different stations"),
    "rail too short": ('length = "3 m"', 'length = "40 cm"', "rail.length", "0.4 m is not longer than the guides are apart, 0.4 m", "never be guided"),
    "no servo": ('[servo]\nnatural_frequency = "10 Hz"', "", "servo", "missing", "add a table [servo]"),
    "no such canopy": ('canopy = "main"', 'canopy = "mian"', "recovery[0].canopy", 'no parachute "mian"', 'did you mean "main"?'),
    "no such target": (FINS_ON, 'when = "apogee"\naction = "deploy"\ntarget = "droge"', "rule[0].target", 'no parachute "droge"', "parachutes: main"),
    "disperse unknown": ("motor.impulse =", "motor.impuls =", "disperse.motor.impuls", '"motor.impuls" cannot be dispersed', 'did you mean "motor.impulse"?'),
    "disperse another world": ("motor.impulse =", "zz =", "disperse.zz", '"zz" cannot', "what can be dispersed: wind.speed"),
    "disperse a number": ('motor.impulse = { sd = "2 %" }', 'motor.impulse = "2 %"', "disperse.motor.impulse", '"2 %" is not a table', "{ sd = 0.02 }"),
    "sd negative": ('sd = "2 %"', "sd = -0.1", "disperse.motor.impulse.sd", "must not be negative", "0 or more"),
    "sd missing": ('sd = "2 %"', "mean = 1", "disperse.motor.impulse.sd", "missing", 'kind "normal" needs sd'),
    "sd of a wrong unit": ('sd = "2 %"', 'sd = "2 m"', "disperse.motor.impulse.sd", "wrong unit", "2 %"),
    "numbers not used": ('sd = "2 %"', "sd = 0.02, mode = 1", "disperse.motor.impulse.mode", "does not use it", "remove it"),
    "high missing": (', high = "12 mph"', "", "disperse.wind.speed.high", "missing", "needs low, high"),
    "low over high": ('low = "2 m/s"', 'low = "9 m/s"', "disperse.wind.speed.low", "9 is more than high", "exchange"),
    "below what has a meaning": ('low = "2 m/s"', 'low = "-2 m/s"', "disperse.wind.speed.low", "must be at least 0", "the value itself"),
    "mode outside": ('sd = "2 %"', 'kind = "triangular", low = 0.9, mode = 2, high = 1.1', "disperse.motor.impulse.mode", "2 is not between", ""),
    "mean cut off": ('sd = "2 %"', 'sd = "2 %", low = -0.05, high = 0.05', "disperse.motor.impulse.low", "must be at least 0", "a factor"),
    "mean outside the cut": ('sd = "2 %"', 'sd = "2 %", low = 1.1, high = 1.2', "disperse.motor.impulse.mean", "the mean, 1, is not between", "a factor"),
    "cut to nothing": ('sd = "2 %"', 'sd = "2 %", low = 1, high = 1', "disperse.motor.impulse.low", "low and high are both 1", '"fixed"'),
    "own mean outside the cut": (
        'kind = "uniform", low = "2 m/s", high = "12 mph"',
        "sd = 1, low = 5",
        "disperse.wind.speed.mean",
        "the mission's own value, 4 m/s",
        "write a mean",
    ),
    "a temperature for a difference": (
        "motor.impulse = { sd",
        'air.temperature = { sd = "2 degC" }\nmotor.impulse = { sd',
        "disperse.air.temperature.sd",
        "not a difference",
        '"2 K"',
    ),
    "speed of a wind table": (WIND, 'profile = "table"\ntable = [[0, 1, 0], [9, 2, 0]]', "disperse.wind.speed", "no single speed", '"power"'),
}
