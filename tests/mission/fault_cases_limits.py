"""As `fault_cases.py`: numbers that are no slip of syntax and cannot be: draws about what the mission could not hold, sizes, bounds."""

from __future__ import annotations

SPEED = '"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }'
IMPULSE = 'motor.impulse = { sd = "2 %" }'
CURVE = "{ time = [0.0, 0.1, 1.0, 1.2], thrust = [0.0, 250.0, 230.0, 0.0] }"


def drawn(name: str, text: str, message: str, key: str = "mean", hint: str = "leave it out to draw about the mission's own"):
    return SPEED, f"{SPEED}\n{name} = {{ {text} }}", f"disperse.{name}.{key}", message, hint


CENTRES = {
    "the rail's elevation itself": drawn(
        "rail.elevation", 'mean = "84 deg", sd = "1 deg"', "an offset on the rail's elevation: the rail's elevation is 86 deg, with it 170 deg"
    ),
    "the air's temperature itself": drawn("air.temperature", 'mean = "297 K", sd = "2 K"', "it is an offset on the air temperature at all heights"),
    "the air's pressure itself": drawn("air.pressure", "mean = 0.5, sd = 0.01", "it is a factor on the air pressure at all heights"),
    "the centre of mass itself": drawn("vehicle.cg", 'mean = "0.83 m", sd = "4 mm"', "it is an offset on the station of the dry centre of mass"),
    "the centre of pressure itself": drawn("aero.cp", 'mean = "1.1 m", sd = "1 cm"', "it is an offset on the station of the centre of pressure"),
    "no burn time at all": drawn("motor.burn_time", "mean = 0, sd = 0.1", "it is a factor on the burn time (impulse kept)"),
    "the rail's azimuth, twice round": drawn("rail.azimuth", 'mean = "800 deg", sd = "1 deg"', "it is an offset on the rail's azimuth"),
    "the fins' cant": drawn("aero.fin_cant", 'mean = "2 rad", sd = "0.1 deg"', 'the cant of the fins "tail" is 0 deg'),
    "a neutral angle beyond the stops": drawn("servo.centring", 'mean = "40 deg", sd = "0.1 deg"', "it is an offset on each fin's neutral angle"),
    "a thrust line outside the body": drawn("motor.offset_y", 'mean = "0.3 m", sd = "1 mm"', "thrust line moved along body y"),
    "a uniform elevation": drawn("rail.elevation", 'kind = "uniform", low = "80 deg", high = "86 deg"', "an offset on the rail's elevation", "low"),
    "a fixed elevation": drawn("rail.elevation", 'kind = "fixed", mean = "84 deg"', "an offset on the rail's elevation"),
    "one of several elevations": drawn("rail.elevation", 'kind = "discrete", values = [0, "84 deg"]', "an offset on", "values[1]"),
    "an impulse no motor has": (
        IMPULSE,
        "motor.impulse = { mean = 320, sd = 2 }",
        "disperse.motor.impulse.mean",
        "it is a factor on the total impulse",
        "a factor is about 1",
    ),
}
BOUNDS = {
    "a finer step than rounding": ("[rail]", "[solver]\ntolerance = 1e-15\n[rail]", "solver.tolerance", "finer than rounding allows", '"1 um"'),
    "a canopy of ninety metres": ('diameter = "90 cm"', "diameter = 90", "stage[0].part[7].diameter", "90 m is more than 50 m", "a bare number is in m"),
    "an estimate that swings up": (
        "[rail]",
        '[sensors.gyro]\n[estimator]\nbaro_velocity = "927 1/s"\n[rail]',
        "estimator.baro_velocity",
        "swing up without bound",
        "write less than 78 1/s",
    ),
    "seconds in a column of milliseconds": (
        CURVE,
        "{ time = [0.0, 1e-4, 1e-3, 1.2e-3], thrust = [0.0, 250.0, 230.0, 0.0] }",
        "motor.D240.thrust_curve",
        "0.2515 N s in 0.0012 s from 0.12 kg is a specific impulse of 0.2137 s",
        "solid motors have 50 to 400 s",
    ),
    "a unit of sixteen thousand blanks": ('length = "3 m"', f'length = "3 m{" " * 16000}x"', "rail.length", "is not a quantity", "write a number and a unit"),
}

LIMITS = {**CENTRES, **BOUNDS}
