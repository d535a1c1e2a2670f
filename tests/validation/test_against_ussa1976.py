"""U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562 / NASA-TM-X-74335).

data/atmosphere_ussa1976.csv: the standard's formulas (eqs. 18, 23, 33a, 33b, 42, 50, 51) with its constants, evaluated
outside this library and printed with 7 digits, 0 to 30 km at round geopotential and round geometric altitudes.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sixdof.world.atmosphere import G0, geometric, geopotential, standard

SEVEN_DIGITS = 1e-6  # the file holds 7 significant digits: half a unit of the last is 5e-7
TABLE_DIGITS = 1e-4  # the standard's own table prints 5 digits; one unit of the last at a leading 1

COLUMNS = {"temperature": "T_K", "pressure": "p_Pa", "density": "rho_kg_m3", "sound": "a_m_s", "viscosity": "mu_Pa_s"}


def rows():
    path = Path(__file__).parent / "data" / "atmosphere_ussa1976.csv"
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['altitude_kind']}-{row['altitude_km']}km")
def test_standard__matches_every_row(row):
    metres = 1000.0 * float(row["altitude_km"])
    altitude = metres if row["altitude_kind"] == "geometric" else geometric(metres)
    air = standard(altitude)
    for name, column in COLUMNS.items():
        assert float(getattr(air, name)) == pytest.approx(float(row[column]), rel=SEVEN_DIGITS), name
    assert float(geopotential(altitude)) == pytest.approx(float(row["H_geopotential_m"]), abs=5.1e-4)  # 3 decimals


# the standard's table 4, layer bases, as quoted: H km, T K, p mbar, rho kg/m^3
BASES = [
    (0.0, 288.150, 1.01325e3, 1.2250),
    (11.0, 216.650, 2.2632e2, 3.6392e-1),
    (20.0, 216.650, 5.4748e1, 8.8035e-2),
    (32.0, 228.650, 8.6801e0, 1.3225e-2),
    (47.0, 270.650, 1.1090e0, 1.4275e-3),
]


@pytest.mark.parametrize("height, temperature, millibar, density", BASES)
def test_standard__matches_the_layer_bases(height, temperature, millibar, density):
    air = standard(geometric(1000.0 * height))
    assert float(air.temperature) == pytest.approx(temperature, rel=1e-9)  # exact in the standard
    assert float(air.pressure) == pytest.approx(100.0 * millibar, rel=TABLE_DIGITS)
    assert float(air.density) == pytest.approx(density, rel=TABLE_DIGITS)


def test_standard__is_in_hydrostatic_balance_up_to_80_km():
    """dp/dH = -rho g0 by central differences, through every layer (the standard's eq. 20)."""
    height = np.arange(-4900.0, 78_900.0, 37.0)
    half = 5.0
    rise = standard(geometric(height + half)).pressure - standard(geometric(height - half)).pressure
    balance = -G0 * standard(geometric(height)).density * 2.0 * half
    # inside a layer differences of 10 m err below 1e-6; at a kink of temperature by lapse * h / T = 1.5e-4
    np.testing.assert_allclose(rise, balance, rtol=2e-4)
    assert np.median(np.abs(rise / balance - 1.0)) < 1e-6
