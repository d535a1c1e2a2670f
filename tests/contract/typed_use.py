"""What a builder's typed program may rely on: read by the type checker alone (`python -m mypy`), never run."""

from __future__ import annotations

from typing import assert_type

import numpy as np
import xarray as xr

import sixdof
from sixdof import aero, loops, parts, plot, stats

mission = sixdof.load_mission("sampler.toml")
assert_type(mission, sixdof.Mission)
assert_type(mission.change({"air.wind.speed": "8 m/s"}), sixdof.Mission)
assert_type(mission.only("sampler"), sixdof.Mission)

flight = sixdof.fly(mission)
assert_type(flight, xr.Dataset)
flights = sixdof.disperse(mission, 100, seed=1)
assert_type(flights, xr.Dataset)
assert_type(sixdof.refly(flights, 17), xr.Dataset)
text: str = sixdof.report(flights)

models = loops.linearise(mission)
assert_type(models, xr.Dataset)
assert_type(loops.margins(models), xr.Dataset)
tuned = sixdof.tune(mission)
assert_type(tuned, loops.Tuned)

variants = parts.motor_variants(mission, "motors")
compared = sixdof.compare(variants, 100, criteria=["apogee_height > 300 m in 90 % of flights"])
assert_type(compared, xr.Dataset)

assert_type(aero.stability_against_mach(mission), xr.Dataset)
low, middle, high = stats.quantile_interval(np.arange(100.0), 0.95)[:3]
plot.plot_flight(flight)
