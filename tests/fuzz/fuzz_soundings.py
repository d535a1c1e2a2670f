"""Fuzzed soundings and forecasts: CSV, netCDF-4 and classic netCDF, damaged byte by byte or odd in what they hold."""

from __future__ import annotations

import math
import random
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import xarray as xr
from fuzz_judge import Unclear, attempt, check_flown
from fuzz_missions import CONFIGS
from fuzz_tables import altered

import sixdof
from sixdof.mission.files.level_files import read_members, read_sounding
from sixdof.mission.tables import WindMember
from sixdof.world.atmosphere import HIGHEST
from sixdof.world.sounding import air_over

SONDE = """# invented
pressure (hPa); geopotential height (ft); Temperature (degC); RH (%); wind speed (knot); wind direction (deg); quality
880; 4200; 21; 50; 10; 350; good
700; 10000; 2; 40; 30; 020; good
500; 19000; -15; 10; 50; 090; poor
300; 30500; -42; 5; 70; 100; poor
"""
HEIGHTS = "alt, t, td, u, v\n1250, 296, 280, 1, -2\n3000, 281, 270, 3, 4\n9000, 240, 220, 20, 1\n"
FORECASTS = """member, height (m), speed (m/s), blows_from (deg)
control, 10, 3, 270
p01, 10, 4, 250
control, 900, 8, 300
p01, 1200, 9, 310
"""
TEXTS = (SONDE, HEIGHTS, FORECASTS)


def profile() -> xr.Dataset:
    entries = {
        "a": ("plev", [5600.0, 3050.0, 1480.0, 1300.0], {"standard_name": "geopotential_height", "units": "m"}),
        "b": ("plev", [-15.0, 4.0, 19.0, 21.0], {"standard_name": "air_temperature", "units": "degC"}),
        "c": ("plev", [20.0, 12.0, 6.0, 3.0], {"standard_name": "eastward_wind", "units": "m s-1"}),
        "d": ("plev", [1.0, -2.0, 2.0, 4.0], {"standard_name": "northward_wind", "units": "m s**-1"}),
        "e": ("plev", [10.0, 30.0, np.nan, 60.0], {"standard_name": "relative_humidity", "units": "%"}),
    }
    return xr.Dataset(entries, {"plev": ("plev", [500.0, 700.0, 850.0, 868.0], {"standard_name": "air_pressure", "units": "hPa"})})


def _forecast() -> xr.Dataset:
    east = np.array([[3.0, 6.0, 9.0], [4.0, 8.0, 12.0], [2.0, 4.0, 8.0]])
    coords = {"number": ("number", [0, 1, 2], {"standard_name": "realization"}), "height": ("height", [10.0, 500.0, 2000.0], {"units": "m"})}
    winds = {name: (("number", "height"), sign * east, {"units": "m s-1"}) for name, sign in (("u", 1.0), ("v", -0.5))}
    return xr.Dataset(winds, coords)


def _bytes_of(ds: xr.Dataset, form: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "p.nc"
        ds.to_netcdf(path, format=form, engine="netcdf4" if form == "NETCDF4" else "scipy")
        return path.read_bytes()


FORMS = ("NETCDF4", "NETCDF3_CLASSIC", "NETCDF3_64BIT")


@cache
def file_of(kind: str, form: str) -> bytes:
    """Return the bytes of a sound file of a "profile" or a "forecast"."""
    return _bytes_of(profile() if kind == "profile" else _forecast(), form)


def _files() -> tuple[bytes, ...]:
    return tuple(file_of(kind, form) for kind in ("profile", "forecast") for form in FORMS)


def damaged(rng: random.Random, raw: bytes) -> bytes:
    """Return a file with some bytes changed, taken out or put in, or cut short."""
    data = bytearray(raw)
    for _ in range(rng.choice((1, 2, 5, 20, 100))):
        at = rng.randrange(len(data))
        pick = rng.random()
        if pick < 0.75:
            data[at] = rng.choice((rng.randrange(256), data[at] ^ 1, 0, 255, 127, 48 + rng.randrange(10)))
        elif pick < 0.85:
            del data[at : at + rng.randrange(1, 30)]
        elif pick < 0.95:
            data[at:at] = data[at : at + rng.randrange(1, 30)]
        else:
            del data[at:]
        data = data or bytearray(b"C")
    return bytes(data)


ODD_NUMBERS = (0.0, -1.0, 1e-300, 1e300, -1e300, math.inf, -math.inf, math.nan, 9.96921e36, 1e5, 273.15)
ODD_ATTRIBUTES = (
    "",
    "m",
    "K",
    "Pa",
    "1",
    "furlong",
    "m s-1",
    "degrees",
    "kg kg-1",
    5,
    1.5,
    np.array([1.0, 2.0]),
    "air_pressure",
    "air_temperature",
    "x" * 2000,
    "\n",
    "days since 2000-01-01",
    "eastward_wind",
    "height",
    "altitude",
    "geopotential",
)


def odd_profile(rng: random.Random) -> xr.Dataset:
    """Return a well-formed netCDF profile that is odd in what it holds."""
    ds = rng.choice((profile, _forecast))()
    for _ in range(rng.choice((1, 1, 2, 4))):
        name = rng.choice(list(ds.variables))
        pick = rng.random()
        if pick < 0.3:
            values = ds[name].values.astype(float).copy()
            values.flat[rng.randrange(values.size)] = rng.choice(ODD_NUMBERS)
            ds = (
                ds.assign({name: (ds[name].dims, values, ds[name].attrs)})
                if name in ds.data_vars
                else ds.assign_coords({name: (ds[name].dims, values, ds[name].attrs)})
            )
        elif pick < 0.5:
            ds[name].attrs[rng.choice(("units", "standard_name", "missing_value", "_FillValue", "scale_factor", "add_offset"))] = rng.choice(ODD_ATTRIBUTES)
        elif pick < 0.6:
            ds[name].attrs.pop("units", None)
        elif pick < 0.7:
            ds = ds.drop_vars(name)
        elif pick < 0.78:
            ds = ds.isel({dim: slice(0, rng.choice((0, 1, 2))) for dim in ds.sizes if rng.random() < 0.7})
        elif pick < 0.86:
            ds = ds.expand_dims({rng.choice(("time", "x", "lat", "member")): rng.choice((1, 2))})
        elif pick < 0.93:
            new = rng.choice(("p", "t", "u", "v", "z", "level", "rh", "q", "pressure", "temperature", "number", "x"))
            ds = ds.rename({name: new}) if new not in ds.variables and new not in ds.sizes else ds
        else:
            ds[name].attrs = dict(ds[rng.choice(list(ds.variables))].attrs)
        if not ds.variables:
            break
    return ds


@cache
def _demo() -> sixdof.Mission:
    return sixdof.load_mission(CONFIGS / "sampler.toml")


def _written(rng: random.Random, path: Path) -> bool:
    """Write one odd file; return False where the odd profile cannot be written at all."""
    pick = rng.random()
    if pick < 0.35:
        path.write_bytes(altered(rng, rng.choice(TEXTS)))
    elif pick < 0.75:
        path.write_bytes(damaged(rng, rng.choice(_files())))
    else:
        try:
            path.write_bytes(_bytes_of(odd_profile(rng), rng.choice(("NETCDF4", "NETCDF3_CLASSIC"))))
        except Exception:  # of xarray's: what it will not write is nobody's file
            return False
    return True


def read(rng: random.Random, folder: Path) -> str:
    """Read an odd file as a sounding and as forecasts; air made of it is finite and has a density."""
    path = folder / "air.dat"
    if not _written(rng, path):
        return "not written"
    how, columns = attempt(lambda: read_sounding(path))
    ends = {how}
    if how == "done":
        changes = {"air": {"sounding": columns}, "disperse": {}}
        how, mission = attempt(lambda: _demo().change(changes))
        if how == "refused":
            how, mission = attempt(lambda: _demo().change({"air": {"sounding": columns, "pressure": 87600.0}, "disperse": {}}))
        if how == "done" and attempt(lambda: _checked_air(mission))[0] == "done":
            ends.add("made air")
    how, members = attempt(lambda: read_members(path))
    if how == "done":
        ends.add("made wind")
        for member in members:
            WindMember(**member)
            if not all(math.isfinite(number) for values in member.values() if isinstance(values, tuple) for number in values):
                raise Unclear("a forecast that is not finite")
    return "refused" if ends == {"refused"} else " and ".join(sorted(ends - {"refused", "done"})) or "read"


def _checked_air(mission) -> None:
    air, vapour = air_over(mission, np.linspace(mission.site.altitude, min(mission.site.altitude + 40e3, HIGHEST), 400))
    for name, values in (*air._asdict().items(), ("vapour", vapour)):
        if not np.all(np.isfinite(values)):
            raise Unclear(f"air: {name} is not finite")
    if not (np.all(air.density > 0.0) and np.all(air.pressure > 0.0) and np.all(np.diff(air.pressure) < 0.0)):
        raise Unclear("air without density, or whose pressure does not fall with height")


def flown(rng: random.Random, folder: Path) -> str:
    """Fly the demo in the air of an odd file."""
    path = folder / "air.dat"
    if not _written(rng, path):
        return "not written"
    as_sounding = {"air": {"sounding": str(path)}, "disperse": {}}
    as_members = {"air.wind": {"profile": "members", "member": str(path)}, "disperse": {}}
    for changes in (as_sounding, as_members):
        how, mission = attempt(lambda: _demo().change(changes))
        if how == "done":
            return check_flown(mission)
    return how


FUZZERS = {"read": read, "flown": flown}
