"""One mistake each: what stands in the place of what, and the fault it must give.

name: (old text, new text, the fault's key, part of its message, part of its hint).
"""

from __future__ import annotations

NOSE = 'kind = "nose"\nlength = "250 mm"'
NOSE_MASS = 'diameter = "75 mm"\nmass = "150 g"\n'
TAIL_OUTLINE = 'root_chord = "90 mm"\ntip_chord = "50 mm"\nspan = "60 mm"\nsweep = "25 mm"'
MOTOR_CURVE = "{ time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }"
WIND = 'speed = "4 m/s"\nblows_from = "270 deg"'
POLYGON = 'outline = "polygon"\npoints = '

VALUES = {
    "unknown key, near": (
        'elevation = "86 deg"', 'elevatoin = "86 deg"', "rail.elevatoin", "unknown key", 'did you mean "elevation"?',
    ),
    "unknown key, not near": (
        "[rail]", "[rail]\nqqq = 1", "rail.qqq", "unknown key", "valid keys: length, elevation, azimuth, friction",
    ),
    "unknown table": ("[rail]", "[zzzz]\n[rail]", "zzzz", "unknown key", "valid keys: title, site, air, rail"),
    "unknown key of a part": (
        "root_chord", "root_chrd", "stage[0].part[2].root_chrd", "unknown key", 'did you mean "root_chord"?',
    ),
    "missing length": ('length = "3 m"\n', "", "rail.length", "missing", 'add length = "75 mm"'),
    "missing table": ('[site]\nlatitude = "38 deg"', "", "site", "missing", "add a table [site]"),
    "missing text": ('motor = "D240"\n', "", "stage[0].part[6].motor", "missing", 'add motor = "..."'),
    "missing number": ("count = 4\n", "", "stage[0].part[2].count", "missing", "add count = 4"),
    "no kind": (
        'kind = "point"\n', "", "stage[0].part[5].kind", "missing",
        "kinds: nose, tube, transition, fins, guide, point",
    ),
    "wrong kind": (
        'kind = "tube"', 'kind = "tubes"', "stage[0].part[1].kind", 'no part of kind "tubes"',
        'did you mean "tube"?',
    ),
    "kind of another world": (
        'kind = "tube"', 'kind = "wing"', "stage[0].part[1].kind", 'no part of kind "wing"', "kinds: nose, tube",
    ),
    "wrong unit": ('length = "3 m"', 'length = "3 kg"', "rail.length", '"3 kg" has the wrong unit', '"75 mm"'),
    "no number": ('length = "3 m"', 'length = "three"', "rail.length", '"three" is not a quantity', '"75 mm"'),
    "not positive": ('length = "3 m"', 'length = "-3 m"', "rail.length", '"-3 m" must be more than 0 m', '"75 mm"'),
    "not finite": ('length = "3 m"', "length = inf", "rail.length", "inf is not finite", "finite number"),
    "a table for a value": ('length = "3 m"', "length = { a = 1 }", "rail.length", "is not a quantity", '"75 mm"'),
    "a bare angle in degrees": (
        '"86 deg"', "86", "rail.elevation", "86 must be at most 90 deg",
        'a bare number is in rad: write a unit, such as "86 deg"',
    ),
    "elevation over 90": ('"86 deg"', '"91 deg"', "rail.elevation", '"91 deg" must be at most 90 deg', '"5 deg"'),
    "elevation under 0": ('"86 deg"', '"-1 deg"', "rail.elevation", '"-1 deg" must be at least 0 deg', '"5 deg"'),
    "latitude over 90": ('"38 deg"', '"95 deg"', "site.latitude", '"95 deg" must be at most 90 deg', '"5 deg"'),
    "latitude under -90": ('"38 deg"', '"-95 deg"', "site.latitude", "must be at least -90 deg", '"5 deg"'),
    "direction in bare degrees": (
        '"270 deg"', "270", "air.wind.blows_from", "270 must be at most 360 deg", "a bare number is in rad",
    ),
    "too many fins": ("count = 4", "count = 40", "stage[0].part[2].count", "40 must be at most 16", "whole number"),
    "too few fins": ("count = 4", "count = 1", "stage[0].part[2].count", "1 must be at least 2", "whole number"),
    "count as text": (
        "count = 4", 'count = "4"', "stage[0].part[2].count", '"4" is not a whole number', "without quotes",
    ),
    "control as text": (
        "control = true", 'control = "yes"', "stage[0].part[2].control", '"yes" is not true or false',
        "without quotes",
    ),
    "name as number": ('name = "dart"', "name = 3", "stage[0].name", "3 is not text", "quotes"),
    "choice, near": (
        NOSE, NOSE + '\nshape = "tangent ogive"', "stage[0].part[0].shape", '"tangent ogive" is not one of',
        'did you mean "tangent-ogive"?',
    ),
    "choice, not near": (
        NOSE, NOSE + '\nshape = "xx"', "stage[0].part[0].shape", '"xx" is not one of',
        "choices: cone, tangent-ogive",
    ),
    "list for a table": ("[rail]", "[[rail]]", "rail", "is not a table", "write a table [rail]"),
    "table for a list": ("[[rule]]", "[rule]", "rule", "is not a list", "write [[rule]]"),
    "too many entries": (
        "[servo]", "[autopilot]\ngain_scale_limits = [0.1, 1, 2]\n[servo]", "autopilot.gain_scale_limits",
        "3 entries", "write 2",
    ),
    "stage without a name": ('name = "dart"', 'name = ""', "stage[0].name", "needs a name", 'name = "booster"'),
    "parachute without a name": (
        'name = "main"', 'name = ""', "stage[0].part[7].name", "needs a name", 'name = "main"',
    ),
}  # fmt: skip

TABLES = {
    "log wind": (
        WIND, WIND + '\nprofile = "log"\nroughness = "12 m"', "air.wind.roughness", "is not below reference_height",
        "grass",
    ),
    "wind table forgotten": (WIND, 'profile = "table"', "air.wind.table", "has no rows", "[height, speed, blows_from]"),
    "wind table not used": (
        WIND, WIND + "\ntable = [[0, 1, 0], [9, 2, 0]]", "air.wind.table", "does not use it", "remove it",
    ),
    "wind heights": (
        WIND, 'profile = "table"\ntable = [[10, 1, 0], [5, 2, 0]]', "air.wind.table[1][0]", "5 m follows 10 m",
        "must rise",
    ),
    "wind row short": (WIND, 'profile = "table"\ntable = [[10, 1]]', "air.wind.table[0][2]", "missing", "every entry"),
    "wind speed and table": (
        WIND, 'profile = "table"\nspeed = 3\ntable = [[0, 1, 0], [9, 2, 0]]', "air.wind.speed", "does not use it",
        "remove it",
    ),
    "curve of two lengths": (
        MOTOR_CURVE, "{ time = [0, 1], thrust = [1, 1, 1] }", "motor.D240.thrust_curve", "differ in length",
        "one entry a point",
    ),
    "curve of one point": (
        MOTOR_CURVE, "{ time = [0], thrust = [1] }", "motor.D240.thrust_curve", "a curve of 1 point", "two or more",
    ),
    "curve not rising": (
        MOTOR_CURVE, "{ time = [0, 1, 1], thrust = [1, 1, 1] }", "motor.D240.thrust_curve.time[2]",
        "1 s follows 1 s", "must rise",
    ),
    "curve before ignition": (
        MOTOR_CURVE, "{ time = [-1, 1], thrust = [1, 1] }", "motor.D240.thrust_curve.time[0]", "before ignition",
        "0 s",
    ),
    "curve negative": (
        MOTOR_CURVE, "{ time = [0, 1], thrust = [1, -1] }", "motor.D240.thrust_curve.thrust[1]", "-1 N is negative",
        "0 N or more",
    ),
    "curve of nothing": (
        MOTOR_CURVE, "{ time = [0, 1], thrust = [0, 0] }", "motor.D240.thrust_curve.thrust", "every thrust is 0 N",
        "more than 0 N",
    ),
    "curve with a word": (
        MOTOR_CURVE, '{ time = [0, "x"], thrust = [0, 1] }', "motor.D240.thrust_curve.time[1]",
        '"x" is not a quantity', "0.3 s",
    ),
    "curve in other units": (
        MOTOR_CURVE, "{ time = [0, 1000], thrust = [200, 200] }", "motor.D240.thrust_curve", "specific impulse of",
        "check the units",
    ),
    "bore": (
        'bore_diameter = "10 mm"', 'bore_diameter = "40 mm"', "motor.D240.bore_diameter", "leaves no propellant",
        "hole through the grain",
    ),
    "grain long": (
        'grain_length = "120 mm"', 'grain_length = "210 mm"', "motor.D240.grain_length",
        "more than the motor's length", "inside the case",
    ),
    "grain off": (
        'grain_length = "120 mm"', 'grain_length = "120 mm"\ngrain_station = "90 mm"', "motor.D240.grain_station",
        "behind the case", "fore end",
    ),
    "propellant dense": (
        'propellant_mass = "120 g"', 'propellant_mass = "1.2 kg"', "motor.D240.propellant_mass", "kg/m^3",
        "400 to 3000",
    ),
    "no mass": (NOSE_MASS, 'diameter = "75 mm"\n', "stage[0].part[0].mass", "missing", "mass, material or density"),
    "mass twice": (
        NOSE_MASS, NOSE_MASS + 'material = "abs"\n', "stage[0].part[0].material", "same thing twice", "keep one",
    ),
    "unknown material": (
        '"fibreglass"', '"fiberglas"', "stage[0].part[1].material", 'unknown material "fiberglas"',
        'did you mean "fibreglass"?',
    ),
    "material of a point": (
        'mass = "300 g"', 'mass = "300 g"\nmaterial = "abs"', "stage[0].part[5].material", "does not use it",
        "remove it",
    ),
    "wall of a tube": ('wall = "1.5 mm"', 'wall = "4 cm"', "stage[0].part[1].wall", "more than the radius", "thinner"),
    "wall of a nose": (NOSE, NOSE + '\nwall = "4 cm"', "stage[0].part[0].wall", "more than the radius", "thinner"),
    "ogive radius missing": (
        NOSE, NOSE + '\nshape = "secant-ogive"', "stage[0].part[0].ogive_radius", "missing", "needs ogive_radius",
    ),
    # tangent ogive: (R^2 + L^2)/(2R) = (0.0375^2 + 0.25^2)/0.075 = 0.852083 m
    "ogive radius small": (
        NOSE, NOSE + '\nshape = "secant-ogive"\nogive_radius = 0.8', "stage[0].part[0].ogive_radius", "bulge",
        "0.852083",
    ),
    "exponent not used": (NOSE, NOSE + "\nexponent = 0.7", "stage[0].part[0].exponent", "does not use it", "remove it"),
    "haack too full": (
        NOSE, NOSE + '\nshape = "haack"\nhaack_c = 0.7', "stage[0].part[0].haack_c", "must be at most 0.666667",
        "value",
    ),
    "tip chord missing": (
        'tip_chord = "50 mm"\n', "", "stage[0].part[2].tip_chord", "missing", "needs root_chord, tip_chord, span",
    ),
    "tip chord not used": (
        'tip_chord = "50 mm"', 'tip_chord = "50 mm"\noutline = "ellipse"', "stage[0].part[2].tip_chord",
        "does not use it", "remove it",
    ),
    "points forgotten": (TAIL_OUTLINE, 'outline = "polygon"', "stage[0].part[2].points", "missing", "needs points"),
    "polygon without area": (
        TAIL_OUTLINE, POLYGON + "[[0, 0], [0.05, 0], [0.09, 0]]", "stage[0].part[2].points", "no area",
        "three or more",
    ),
    "polygon start": (
        TAIL_OUTLINE, POLYGON + "[[0, 0.01], [0.05, 0.06], [0.09, 0]]", "stage[0].part[2].points[0]",
        "starts at [0, 0.01]", "[0, 0]",
    ),
    "polygon end": (
        TAIL_OUTLINE, POLYGON + "[[0, 0], [0.05, 0.06], [0.09, 0.01]]", "stage[0].part[2].points[2]",
        "ends at [0.09, 0.01]", "root chord",
    ),
    "polygon crossing": (
        TAIL_OUTLINE, POLYGON + "[[0, 0], [0.08, 0.06], [0.02, 0.06], [0.09, 0]]", "stage[0].part[2].points",
        "edges after points 1 and 3 cross", "in order",
    ),
    "hinge missing": ('hinge = "35 mm"\n', "", "stage[0].part[2].hinge", "missing", "0 to 0.09 m"),
    "hinge behind": (
        'hinge = "35 mm"', 'hinge = "95 mm"', "stage[0].part[2].hinge", "behind the root chord", "leading edge",
    ),
    "thick fins": (
        'thickness = "3 mm"', "thickness = 3", "stage[0].part[2].thickness", "not less than the root chord",
        "a bare number is in m",
    ),
    "ring": (
        'inner_diameter = "39 mm"', 'inner_diameter = "20 mm"\ncount = 3\nring_radius = "10 mm"',
        "stage[0].part[6].ring_radius", "3 tubes of 0.022 m", "at least 0.0127017 m",
    ),
    "profile lengths": (
        'tilt_pitch = ["0 deg", "5 deg"]', "tilt_pitch = [0.0]", "autopilot.profile.time", "time 2, tilt_pitch 1",
        "one entry a point",
    ),
    "profile times": (
        'time = ["0 s", "2 s"]', "time = [2, 1]", "autopilot.profile.time[1]", "1 s follows 2 s", "must rise",
    ),
    "profile empty": (
        'time = ["0 s", "2 s"]\ntilt_pitch = ["0 deg", "5 deg"]', "time = []", "autopilot.profile.time", "no points",
        "one or more",
    ),
    "gain limits": (
        "[servo]", "[autopilot]\ngain_scale_limits = [3, 0.2]\n[servo]", "autopilot.gain_scale_limits",
        "the lower limit, 3, is more", "[lower, upper]",
    ),
    "threshold missing, time": (
        'when = "liftoff"', 'when = "time"', "rule[0].threshold", "missing", 'threshold = "3 s"',
    ),
    "threshold missing, height": (
        'when = "liftoff"', 'when = "climbing_through"', "rule[0].threshold", "missing", 'threshold = "150 m"',
    ),
    "threshold of a wrong unit": (
        'when = "liftoff"', 'when = "time"\nthreshold = "9 m"', "rule[0].threshold", "wrong unit", '"0.3 s"',
    ),
    "threshold not used": (
        'when = "liftoff"', 'when = "liftoff"\nthreshold = 3', "rule[0].threshold", "does not use it", "remove it",
    ),
    "deploy nothing": (
        'action = "enable_fins"', 'action = "deploy"', "rule[0].target", "missing", 'action "deploy" needs target',
    ),
    "target not used": (
        'action = "enable_fins"', 'action = "enable_fins"\ntarget = "main"', "rule[0].target", "does not use it",
        "remove it",
    ),
    "speeds": (
        'action = "enable_fins"', 'action = "enable_fins"\nspeed_above = 9\nspeed_below = 3', "rule[0].speed_above",
        "not less than speed_below", "no speed",
    ),
    "height missing": ('when = "apogee"', 'when = "falling_through"', "recovery[0].height", "missing", "needs height"),
    "height not used": (
        'when = "apogee"', 'when = "apogee"\nheight = 9', "recovery[0].height", "does not use it", "remove it",
    ),
}  # fmt: skip
