"""As `fault_cases.py`: mistakes of what is dispersed, by name and by path, and of what goes together."""

from __future__ import annotations

IMPULSE = 'motor.impulse = { sd = "2 %" }'
SPEED = '"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }'
SPAN = "stage.dart.part.tail.semispan"


def spread(text: str) -> str:
    return f"motor.impulse = {{ {text} }}"


def also(text: str) -> str:
    return f"{IMPULSE}\n{text}"


def group(text: str) -> str:
    return f"{SPEED}\n[[correlation]]\n{text}"


PAIR = 'of = ["motor.impulse", "wind.speed"]'
TWO = "motor.burn_time = { sd = 0.03 }\n"
THREE = 'of = ["motor.impulse", "motor.burn_time", "aero.drag"]'
DRAWN = f"{SPEED}\n{TWO}aero.drag = {{ sd = 0.1 }}\n[[correlation]]\n"

# name: (old text, new text, the fault's key, part of its message, part of its hint)
SPREADS = {
    "a kind of another world": (IMPULSE, spread('kind = "weibull"'), "disperse.motor.impulse.kind", '"weibull" is not one of', "lognormal"),
    "lognormal without width": (IMPULSE, spread('kind = "lognormal"'), "disperse.motor.impulse.log_sd", "missing", "needs log_sd"),
    "lognormal with sd": (IMPULSE, spread('kind = "lognormal", log_sd = 0.1, sd = 0.1'), "disperse.motor.impulse.sd", "does not use it", "remove it"),
    "log_sd negative": (IMPULSE, spread('kind = "lognormal", log_sd = -1'), "disperse.motor.impulse.log_sd", "at least 0", ""),
    "lognormal about nothing": (
        IMPULSE,
        'motor.tilt_y = { kind = "lognormal", log_sd = 0.1 }',
        "disperse.motor.tilt_y.median",
        "missing",
        "an offset, 0 by default",
    ),
    "lognormal about a negative number": (
        IMPULSE,
        'motor.tilt_y = { kind = "lognormal", median = "-1 deg", log_sd = 0.1 }',
        "disperse.motor.tilt_y.median",
        "is not above 0",
        "needs a median above 0",
    ),
    "lognormal below zero": (
        IMPULSE,
        'motor.tilt_y = { kind = "lognormal", median = 1, log_sd = 0.1, high = -1 }',
        "disperse.motor.tilt_y.high",
        "not above 0",
        "",
    ),
    "median cut off": (IMPULSE, spread('kind = "lognormal", log_sd = 0.1, low = 1.2'), "disperse.motor.impulse.median", "the median, 1, is not between", ""),
    "discrete of nothing": (IMPULSE, spread('kind = "discrete"'), "disperse.motor.impulse.values", "missing", "needs values"),
    "discrete of one number": (IMPULSE, spread('kind = "discrete", values = 1'), "disperse.motor.impulse.values", "is not a list", "[..., ...]"),
    "a value of a wrong unit": (IMPULSE, spread('kind = "discrete", values = [1, "2 m"]'), "disperse.motor.impulse.values[1]", "wrong unit", "2 %"),
    "a value without meaning": (IMPULSE, spread('kind = "discrete", values = [1, -2]'), "disperse.motor.impulse.values[1]", "at least 0", "a factor"),
    "values of a wrong unit": (
        IMPULSE,
        spread('kind = "discrete", values = [1, 2], unit = "mm"'),
        "disperse.motor.impulse.unit",
        '"mm" has the wrong unit',
        "2 %",
    ),
    "too few weights": (
        IMPULSE,
        spread('kind = "discrete", values = [1, 2], weights = [1]'),
        "disperse.motor.impulse.weights",
        "1 weights for 2",
        "one for each",
    ),
    "weights of nothing": (IMPULSE, spread('kind = "discrete", values = [1, 2], weights = [0, 0]'), "disperse.motor.impulse.weights", "every weight is 0", ""),
    "a weight below zero": (IMPULSE, spread('kind = "discrete", values = [1, 2], weights = [1, -1]'), "disperse.motor.impulse.weights[1]", "at least 0", ""),
    "half a coin": (IMPULSE, spread('kind = "bernoulli", value = 2'), "disperse.motor.impulse.probability", "missing", "value, probability"),
    "a coin of 120 %": (IMPULSE, spread('kind = "bernoulli", value = 2, probability = 1.2'), "disperse.motor.impulse.probability", "at most 1", ""),
    "data of nothing": (IMPULSE, spread('kind = "empirical"'), "disperse.motor.impulse.data", "missing", "CSV file or of a past ensemble"),
    "data of no column": (IMPULSE, spread('kind = "empirical", data = "x.csv"'), "disperse.motor.impulse.column", "missing", 'which column of "x.csv"'),
    "data twice": (IMPULSE, spread('kind = "empirical", data = "x.csv", values = [1]'), "disperse.motor.impulse.values", "data holds the values", ""),
    "data that are not there": (
        IMPULSE,
        spread('kind = "empirical", data = "x.csv", column = "impulse"'),
        "disperse.motor.impulse.data",
        'no file "x.csv"',
        "folder",
    ),
    "steps of temperature": (
        IMPULSE,
        'air.temperature = { kind = "empirical", values = [20, 22], unit = "degC" }',
        "disperse.air.temperature.unit",
        "a temperature, not a difference",
        '"2 K"',
    ),
}

PATHS = {
    "a path to nowhere": (
        IMPULSE,
        also("stage.dart.part.tail.semispna = { sd = 1 }"),
        "disperse.stage.dart.part.tail.semispna",
        'no "semispna"',
        'mean "semispan"',
    ),
    "a path to no part": (IMPULSE, also("stage.dart.part.tial.semispan = { sd = 1 }"), "disperse.stage.dart.part.tial.semispan", 'no part "tial"', '"tail"'),
    "a path to one of two": (
        IMPULSE,
        also("stage.dart.part.rail_guide.station = { sd = 1 }"),
        "disperse.stage.dart.part.rail_guide.station",
        '2 entries "rail_guide"',
        "3, 4",
    ),
    "a path to a table": (IMPULSE, also("stage.dart.part.tail = { sd = 1 }"), "disperse.stage.dart.part.tail", "not a number", "numbers in it: mass, density"),
    "a path to a count": (
        IMPULSE,
        also("stage.dart.part.tail.count = { sd = 1 }"),
        "disperse.stage.dart.part.tail.count",
        "not a number with decimals",
        "quantity",
    ),
    "a path to text": (IMPULSE, also("site.name = { sd = 1 }"), "disperse.site.name", "not a number with decimals", ""),
    "a path into a curve": (
        IMPULSE,
        also("motor.D240.thrust_curve.thrust.1 = { sd = 1 }"),
        "disperse.motor.D240.thrust_curve.thrust.1",
        "not a number with decimals",
        "",
    ),
    "a path through a number": (IMPULSE, also("rail.length.x = { sd = 1 }"), "disperse.rail.length.x", '"length" is a value', 'omit ".x"'),
    "a path into what is not there": (
        IMPULSE,
        also("stage.dart.measured.mass = { sd = 1 }"),
        "disperse.stage.dart.measured.mass",
        'no "stage[0].measured"',
        "add it",
    ),
    "a path to how it is flown": (IMPULSE, also('"solver.time_limit" = { sd = 1 }'), "disperse.solver.time_limit", "nothing that flies", ""),
    "a long way round": (
        IMPULSE,
        also("air.wind.exponent = { sd = 1 }\nair.wind.speed = { sd = 1 }"),
        "disperse.air.wind.speed",
        "a name of its own",
        'write "wind.speed"',
    ),
    "a path of a wrong unit": (IMPULSE, also(f'{SPAN} = {{ sd = "1 kg" }}'), f"disperse.{SPAN}.sd", "wrong unit", "75 mm"),
    "a limit the number cannot have": (IMPULSE, also(f'{SPAN} = {{ sd = "1 mm", low = "-1 mm" }}'), f"disperse.{SPAN}.low", "must be more than 0 m", "75 mm"),
    "own value cut off": (
        IMPULSE,
        also(f'{SPAN} = {{ sd = "1 mm", low = "61 mm" }}'),
        f"disperse.{SPAN}.mean",
        "own value, 0.06 m, is not between",
        "write a mean",
    ),
    "no own value": (
        IMPULSE,
        also("stage.dart.part.nose.ogive_radius = { sd = 1 }"),
        "disperse.stage.dart.part.nose.ogive_radius.mean",
        "no own value",
        "write a mean",
    ),
    "lognormal about an own zero": (
        IMPULSE,
        also('stage.dart.part.tail.cant = { kind = "lognormal", log_sd = 1 }'),
        "disperse.stage.dart.part.tail.cant.median",
        "own value, 0 rad, is not above 0",
        "write a median",
    ),
    "one number twice": (
        IMPULSE,
        also(f"{SPAN} = {{ sd = 1 }}\nstage.0.part.tail.semispan = {{ sd = 1 }}"),
        "disperse.stage.0.part.tail.semispan",
        "is the same number as",
        "keep one",
    ),
}

TOGETHER = {
    "correlation as a table": (SPEED, f"{SPEED}\n[correlation]\n{PAIR}", "correlation", "is not a list", "write [[correlation]]"),
    "nothing to go together": (SPEED, group('of = ["wind.speed"]\ncoefficient = 0.5'), "correlation[0].of", "1 name cannot", "two or more"),
    "with itself": (SPEED, group('of = ["wind.speed", "wind.speed"]\ncoefficient = 0.5'), "correlation[0].of[1]", "comes twice", ""),
    "without coefficient": (SPEED, group(PAIR), "correlation[0].coefficient", "missing", "-1 to 1"),
    "without matrix": (SPEED, DRAWN + THREE, "correlation[0].matrix", "missing", "the matrix"),
    "coefficient and matrix": (
        SPEED,
        group(PAIR + "\ncoefficient = 0.5\nmatrix = [[1, 0.5], [0.5, 1]]"),
        "correlation[0].coefficient",
        "the matrix holds",
        "one of the two",
    ),
    "one coefficient for three": (SPEED, DRAWN + THREE + "\ncoefficient = 0.5", "correlation[0].coefficient", "says nothing of 3", "matrix"),
    "coefficient of one": (SPEED, group(PAIR + "\ncoefficient = 1"), "correlation[0].coefficient", "1 is not between -1 and 1", "excluded"),
    "a matrix of two for three": (SPEED, DRAWN + THREE + "\nmatrix = [[1, 0], [0, 1]]", "correlation[0].matrix", "not 3 rows of 3", "a row for each name"),
    "a diagonal of twos": (SPEED, group(PAIR + "\nmatrix = [[1, 0.5], [0.5, 2]]"), "correlation[0].matrix[1][1]", "2 stands on the diagonal", "write 1"),
    "a matrix with two sides": (
        SPEED,
        group(PAIR + "\nmatrix = [[1, 0.5], [0.4, 1]]"),
        "correlation[0].matrix[1][0]",
        "0.4 in row 2 is 0.5 in row 1",
        "symmetric",
    ),
    "a matrix that cannot be": (
        SPEED,
        DRAWN + THREE + "\nmatrix = [[1, 0.9, 0.9], [0.9, 1, -0.9], [0.9, -0.9, 1]]",
        "correlation[0].matrix",
        "not positive definite",
        "nearer to 0",
    ),
    "what is not dispersed": (
        SPEED,
        DRAWN + 'of = ["motor.impulse", "aero.drga"]\ncoefficient = 0.5',
        "correlation[0].of[1]",
        '"aero.drga" is not dispersed',
        'mean "aero.drag"',
    ),
    "what goes wrong together": (
        SPEED,
        f'{SPEED}\n[[failure]]\nkind = "no_deployment"\nof = "main"\nprobability = 0.1\n[[correlation]]\n'
        'of = ["motor.impulse", "no_deployment: main"]\ncoefficient = 0.5',
        "correlation[0].of[1]",
        "is a failure",
        "[disperse]",
    ),
    "flights with stages": (
        SPEED,
        group(PAIR + "\ncoefficient = 0.5"),
        "correlation[0].of[1]",
        '"wind.speed" is drawn once per flight, "motor.impulse" for every stage',
        "the same things",
    ),
    "in two groups": (
        SPEED,
        DRAWN + 'of = ["motor.impulse", "aero.drag"]\ncoefficient = 0.5\n[[correlation]]\nof = ["motor.burn_time", "motor.impulse"]\ncoefficient = 0.5',
        "correlation[1].of[1]",
        "is in correlation[0] too",
        "one group",
    ),
    "of a stage that is not there": (IMPULSE, spread('sd = "2 %", of = { drat = { sd = "1 %" } }'), "disperse.motor.impulse.of", "no stage", 'mean "dart"'),
    "of a stage in a wrong unit": (IMPULSE, spread('sd = "2 %", of = { dart = { sd = "1 m" } }'), "disperse.motor.impulse.of.dart.sd", "wrong unit", "2 %"),
    "of a stage, far off": (IMPULSE, spread('sd = "2 %", of = { dart = { sd = 0.01, mean = -2 } }'), "disperse.motor.impulse.of.dart.mean", "at least 0", ""),
    "of a stage what is one draw": (
        SPEED,
        'wind.speed = { sd = "1 m/s", of = { dart = { sd = 1 } } }',
        "disperse.wind.speed.of",
        "one draw per flight",
        "remove",
    ),
    "only in a stage that is not there": (
        SPEED,
        f"{SPEED}\n{TWO}[[correlation]]\n" + 'of = ["motor.impulse", "motor.burn_time"]\ncoefficient = 0.5\nonly = ["dirt"]',
        "correlation[0].only",
        "there is no stage",
        'mean "dart"',
    ),
}

DRAWS = SPREADS | PATHS | TOGETHER
