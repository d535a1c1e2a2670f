"""What a process loads before its first flight: nothing that the flight does not need."""

from __future__ import annotations

import subprocess
import sys

import pytest

FIRST_FLIGHT = """
import sys
import sixdof
sixdof.fly(sixdof.load_mission(sys.argv[1]))
print(*sys.modules)
"""
# installed or not, a flight needs none of these; a few of them take longer to load than all that it needs
NOT_NEEDED = [
    "dask",
    "shapely",
    "distributed",
    "pint",
    "cupy",
    "sparse",
    "netCDF4",
    "h5py",
    "zarr",
    "numcodecs",
    "matplotlib",
    "contourpy",
    "control",
    "tqdm",
    "cloudpickle",
    "scipy.special",
    "scipy.linalg",
    "scipy.interpolate",
    "scipy.optimize",
    "scipy.stats",
    "scipy.signal",
    "scipy.sparse",
    "scipy.integrate",
    "numpy.testing",
    "numpy.f2py",
    "unittest",
    "IPython",
    "sixdof.study",
    "sixdof.plot",
    "sixdof.pages",
    "sixdof.cli",
    "sixdof.ensemble",
    "sixdof.rehearsal",
    "sixdof.mission.explain",
]


def test_first_flight__loads_nothing_it_does_not_need(demo_path, demo_flight):
    loaded = subprocess.run([sys.executable, "-c", FIRST_FLIGHT, str(demo_path)], capture_output=True, text=True, check=True).stdout.split()
    assert "sixdof.core.flight" in loaded and "xarray" in loaded
    by_pandas = {"cloudpickle"} if "pyarrow" in loaded else set()  # pandas loads pyarrow where it is installed, which loads that: 5 ms
    assert [name for name in NOT_NEEDED if name in loaded and name not in by_pandas] == []


@pytest.mark.slow
def test_first_ensemble__loads_no_library_of_arrays_that_it_does_not_use(demo_path, demo_flight):
    code = FIRST_FLIGHT.replace("sixdof.fly(", "sixdof.disperse(").replace("(sys.argv[1]))", "(sys.argv[1]), 1, seed=1, progress=False)")
    loaded = subprocess.run([sys.executable, "-c", code, str(demo_path)], capture_output=True, text=True, check=True).stdout.split()
    assert "sixdof.ensemble.run" in loaded
    assert [name for name in ("dask", "pint", "sparse", "cupy", "netCDF4", "zarr", "matplotlib", "scipy.linalg", "scipy.stats") if name in loaded] == []
