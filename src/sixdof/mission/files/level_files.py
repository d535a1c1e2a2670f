"""Soundings and forecasts of the wind from files: CSV with units in its header, or a CF-netCDF profile.

A netCDF file is known by its first bytes, whatever its name. Its variables are found by their CF standard_name first, then by common
names; their `units` say how to convert them.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from sixdof.core.constants import G0
from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.files import levels
from sixdof.mission.files.curves import Flaw
from sixdof.mission.files.incoming import MOST_UNPACKED, FileFault, check_ordinary, read_apart
from sixdof.mission.files.table_csv import read_known
from sixdof.mission.units import QuantityError, converter, example, shown

MEMBER = "member"  # column of a CSV
MEMBER_DIMS = ("member", "realization", "number", "ensemble", "ensemble_member")
CLASSIC, MAGIC = (b"CDF\x01", b"CDF\x02"), (b"CDF", b"\x89HDF")  # first bytes of netCDF 3, and of any netCDF
DRY = {"relative_humidity": 0.0, "dew_point": 100.0, "specific_humidity": 0.0}  # where humidity alone is missing at a level

# quantity: (unit, standard names, common names in lower case)
FOUND_AS = {
    "pressure": ("Pa", ("air_pressure",), ("p", "pres", "pressure", "plev", "level", "lev", "isobaricinhpa", "pressure_level", "isobaric")),
    "altitude": ("m", ("altitude", "height_above_mean_sea_level"), ("altitude", "alt")),
    "geopotential_height": ("m", ("geopotential_height",), ("geopotential_height", "gh", "zg", "hgt", "gph")),
    "geopotential": ("m**2/s**2", ("geopotential",), ("geopotential", "z", "phi")),
    "height": ("m", ("height",), ("height", "height_above_ground", "agl")),
    "temperature": ("K", ("air_temperature",), ("temperature", "air_temperature", "temp", "t", "ta", "tair")),
    "relative_humidity": ("1", ("relative_humidity",), ("relative_humidity", "rh", "hur", "r")),
    "dew_point": ("K", ("dew_point_temperature",), ("dew_point", "dewpoint", "td", "dpt")),
    "specific_humidity": ("1", ("specific_humidity",), ("specific_humidity", "q", "hus")),
    "east": ("m/s", ("eastward_wind",), ("eastward_wind", "u", "ua")),
    "north": ("m/s", ("northward_wind",), ("northward_wind", "v", "va")),
    "speed": ("m/s", ("wind_speed",), ("wind_speed", "wspd", "ws", "speed")),
    "blows_from": ("rad", ("wind_from_direction",), ("wind_from_direction", "wind_direction", "wdir")),
    "blows_to": ("rad", ("wind_to_direction",), ("wind_to_direction",)),
}
_HEIGHTS = ("altitude", "geopotential_height", "geopotential", "height")  # the first that is there says how high the levels are
_SPELLINGS = {  # of units, as udunits and weather services write them
    "degrees": "deg",
    "degree": "deg",
    "degrees_true": "deg",
    "degree_true": "deg",
    "celsius": "degC",
    "degree_celsius": "degC",
    "degrees_celsius": "degC",
    "deg_c": "degC",
    "kelvin": "K",
    "gpm": "m",
    "metres": "m",
    "meters": "m",
    "mb": "hPa",
    "millibars": "hPa",
    "kg kg-1": "1",
    "kg kg**-1": "1",
    "kg/kg": "1",
    "": "1",
    "knots": "knot",
    "kts": "knot",
}


def read_sounding(path: str | Path) -> dict[str, tuple[float, ...]]:
    """Return the columns of a sounding (see `tables.Sounding`) from a CSV or netCDF file, SI, lowest level first.

    Raises
    ------
    MissionError
        If the file cannot be read or is not a sounding: every fault with its line or level.
    """
    if not _is_netcdf(path):
        rows = read_known(path, levels.AIR_UNITS, levels.ALIASES)
        _raise_flaws(path, levels.air_flaws(rows.columns), _lines_of(rows.lines))
        return rows.columns
    members = _from_netcdf(path, "temperature")
    if len(members) != 1:
        hint = 'select one, or give the forecasts of its wind as member of air.wind, profile "members"'
        raise MissionError([Fault(str(path), "", None, f"holds {len(members)} members, and a sounding is one", hint)])
    (columns,) = members.values()
    _raise_flaws(path, levels.air_flaws(columns), _level)
    return columns


def read_members(path: str | Path) -> list[dict[str, object]]:
    """Return forecasts of the wind (see `tables.WindMember`) from a CSV or netCDF file: name and columns of each.

    Raises
    ------
    MissionError
        As `read_sounding`.
    """
    found = []
    if _is_netcdf(path):
        for name, columns in _from_netcdf(path, "wind").items():
            wind = {key: values for key, values in columns.items() if key in levels.WIND_UNITS}
            _raise_flaws(path, levels.wind_flaws(wind), lambda row: f"member {name}, {_level(row)}")
            found.append({"name": name, **wind})
        return found
    rows = read_known(path, levels.WIND_UNITS, levels.ALIASES, MEMBER)
    for name in dict.fromkeys(rows.labels):
        mine = [i for i, label in enumerate(rows.labels) if label == name]
        columns = {key: tuple(values[i] for i in mine) for key, values in rows.columns.items()}
        _raise_flaws(path, levels.wind_flaws(columns), _lines_of([rows.lines[i] for i in mine]))
        found.append({"name": name, **columns})
    return found


def _lines_of(lines: Sequence[int]) -> Callable[[int], str]:
    return lambda row: f"line {lines[row]}"


def _level(row: int) -> str:
    return f"level {row + 1} from below"


def _raise_flaws(path, flaws: Iterator[Flaw], place: Callable[[int], str]) -> None:
    faults = []
    for flaw in flaws:
        message = f"column {flaw.column}: {flaw.message}" if flaw.column else flaw.message
        faults.append(Fault(str(path), "", None, message, flaw.hint, "" if flaw.row is None else place(flaw.row)))
    if faults:
        raise MissionError(faults)


# ---------------------------------------------------------------- netCDF


def _head(path: str | Path) -> bytes:
    try:
        check_ordinary(path)
        with open(path, "rb") as file:
            return file.read(4)
    except (OSError, ValueError):
        return b""  # reading it as text says what is wrong


def _is_netcdf(path: str | Path) -> bool:
    return _head(path).startswith(MAGIC)


def _from_netcdf(path: str | Path, of: str) -> dict[str, dict[str, tuple[float, ...]]]:
    """Return name -> columns of every member of a netCDF profile (one, named "", where there is no such dimension).

    of : what the profile is of, "temperature" or "wind".
    """
    with ExitStack() as stack:
        try:
            dataset = _opened(path, stack)
        except FileFault as fault:
            raise MissionError([Fault(str(path), "", None, fault.message, fault.hint)]) from None
        except Exception:  # of a dozen kinds, from the file's library up: the user needs one sentence
            raise MissionError([Fault(str(path), "", None, "is not a netCDF file, or is damaged", "write it again")]) from None
        try:
            return _Profile(str(path), dataset, of).members()
        except (OSError, RuntimeError):  # of the file's library, which reads when asked
            raise MissionError([Fault(str(path), "", None, "is damaged", "write it again")]) from None


def _opened(path: str | Path, stack: ExitStack):
    """Return the Dataset of a netCDF file, read from memory: a damaged file may stay open otherwise, and is then never read afresh."""
    import netCDF4
    import xarray as xr

    raw = Path(path).read_bytes()
    if raw.startswith(CLASSIC):  # the netCDF library crashes on some damaged classic files (measured: 1 in 400), scipy's reader does not
        source = io.BytesIO(raw)
    else:
        read_apart(path, MOST_UNPACKED)
        file = netCDF4.Dataset("profile", memory=raw)
        stack.callback(lambda: file.close() if file.isopen() else None)
        source = xr.backends.NetCDF4DataStore(file)
    return stack.enter_context(xr.open_dataset(source, decode_times=False))


class _Profile:
    """The profile in an open netCDF file; `dim` is its vertical dimension, `member` that of its forecasts or None."""

    def __init__(self, file: str, dataset, of: str):
        self.file, self.dataset = file, dataset
        self.member = next((dim for dim in dataset.sizes if self._is_member(dim)), None)
        leading = ("temperature",) if of == "temperature" else ("east", "speed")
        self.dim = next((dim for dim in map(self._dim_of, leading) if dim is not None), None)
        if self.dim is None:
            known = " or ".join(FOUND_AS[key][1][0] for key in leading)
            names = ", ".join(name for key in leading for name in FOUND_AS[key][2][:4])
            raise self._error(f"holds no profile of {of}", f"it is found by its standard_name {known}, or a name such as {names}")

    def _error(self, message: str, hint: str) -> MissionError:
        return MissionError([Fault(self.file, "", None, message, hint)])

    def _is_member(self, dim) -> bool:
        coordinate = self.dataset.coords.get(dim)
        return coordinate is not None and _standard_name(coordinate) == "realization" or str(dim).lower() in MEMBER_DIMS

    def _own(self, name) -> list:
        """Return the dimensions of a variable that count: neither of one entry nor that of the members."""
        return [dim for dim in self.dataset[name].dims if self.dataset.sizes[dim] != 1 and dim != self.member]

    def _candidates(self, key: str) -> tuple[list, list]:
        """Return the variables that may be a quantity: with its standard_name, and with a common name and a unit that fits."""
        unit, standards, names = FOUND_AS[key]
        variables = self.dataset.variables
        known = [name for name in variables if _standard_name(variables[name]) in standards]
        called = [name for name in variables if str(name).lower() in names and "standard_name" not in variables[name].attrs]
        return known, [name for name in called if self._converter(name, unit, must=False) is not None]

    def _dim_of(self, key: str):
        """Return the one dimension that a quantity runs along, None where it is not in the file."""
        wide = None
        for name in sum(self._candidates(key), []):
            own = self._own(name)
            if len(own) == 1:
                return own[0]
            wide = name if len(own) > 1 else wide
        if wide is None:
            return None
        sizes = ", ".join(f"{dim} ({self.dataset.sizes[dim]})" for dim in self._own(wide))
        hint = 'a profile has one: select the time and the place first, such as ds.isel(time=0).sel(..., method="nearest")'
        raise self._error(f'variable "{wide}" has the dimensions {sizes}', hint)

    def _converter(self, name, unit: str, must: bool = True):
        """Return the function to the unit wanted, None where it does not fit and it need not (else raise)."""
        written = self.dataset[name].attrs.get("units")
        if written is None and must:
            raise self._error(f'variable "{name}" has no units', f"CF asks for the attribute units, such as that of {example(unit)}")
        if written is None:
            return None
        try:
            return _linear(converter(spelled, unit)) if (spelled := cf_unit(str(written))) != unit else np.asarray
        except QuantityError as error:
            if not must:
                return None
            message = f'variable "{name}": units {shown(str(written))} {error.message}'
            raise self._error(message, f"expected a unit such as that of {example(unit)}") from None

    def _values(self, key: str) -> np.ndarray | None:
        """Return a quantity (members, levels) in its unit, NaN where missing; None where the file has it not."""
        along = [[name for name in names if self._own(name) == [self.dim]] for names in self._candidates(key)]
        names = along[0] or along[1]
        if not names:
            return None
        if len(names) > 1:
            message = f"{' and '.join(f'{name!r}' for name in map(str, names))} could both be {key.replace('_', ' ')}"
            raise self._error(message, "drop one of them")
        convert = self._converter(names[0], FOUND_AS[key][0])
        array = self.dataset[names[0]]
        array = array.isel({dim: 0 for dim in array.dims if dim not in (self.dim, self.member)})
        array = array.transpose(*(dim for dim in (self.member, self.dim) if dim in array.dims))
        try:
            values = convert(array.values.astype(float))
        except (TypeError, ValueError):
            raise self._error(f'variable "{names[0]}" holds no numbers', "give numbers") from None
        count = 1 if self.member is None else self.dataset.sizes[self.member]
        return np.broadcast_to(np.where(np.isfinite(values), values, np.nan), (count, self.dataset.sizes[self.dim]))

    def members(self) -> dict[str, dict[str, tuple[float, ...]]]:
        """Return the columns of every member, lowest level first, levels with a missing value omitted."""
        columns = self._columns()
        names = [""]
        if self.member is not None:
            labels = self.dataset.coords.get(self.member)
            count = self.dataset.sizes[self.member]
            names = [str(i) for i in range(count)] if labels is None else [_text(x) for x in labels.values.ravel()]
            names = names if len(set(names)) == count else [str(i) for i in range(count)]
        return {name: self._upward({key: values[i] for key, values in columns.items()}) for i, name in enumerate(names)}

    def _columns(self) -> dict[str, np.ndarray]:
        found = {key: values for key in FOUND_AS if (values := self._values(key)) is not None}
        heights = [key for key in _HEIGHTS if key in found]
        for key in heights[1:]:
            del found[key]
        if "geopotential" in found:
            found["geopotential_height"] = found.pop("geopotential") / G0
        if "blows_to" in found:
            found.setdefault("blows_from", (found["blows_to"] + math.pi) % (2.0 * math.pi))
            del found["blows_to"]
        _keep_one_wind(found)
        for key in [key for key in levels.HUMIDITIES if key in found][1:]:
            del found[key]
        return found

    def _upward(self, columns: Mapping[str, np.ndarray]) -> dict[str, tuple[float, ...]]:
        needed = [values for key, values in columns.items() if key not in DRY]
        whole = np.all(np.isfinite(needed), axis=0)
        if not whole.any():
            raise self._error("a value is missing at every level", "give a profile with numbers")
        columns = {key: values[whole] for key, values in columns.items()}
        columns = {key: np.where(np.isnan(v), DRY[key], v) if key in DRY else v for key, v in columns.items()}
        height = next((columns[key] for key in levels.HEIGHTS if key in columns), -columns.get("pressure", np.zeros(1)))
        step = -1 if height[-1] < height[0] else 1
        return {key: tuple(map(float, values[::step])) for key, values in columns.items()}


def _standard_name(variable) -> str:
    return str(variable.attrs.get("standard_name"))  # a damaged file may hold an array of numbers there


def _keep_one_wind(found: dict[str, np.ndarray]) -> None:
    """Keep components where both are there, else speed and direction; halves of a pair say nothing."""
    pairs = [pair for pair in (("east", "north"), ("speed", "blows_from")) if all(key in found for key in pair)]
    for pair in levels.WINDS:
        for key in pair:
            if pair not in pairs[:1]:
                found.pop(key, None)


def _linear(convert: Callable[[float], float]) -> Callable[[np.ndarray], np.ndarray]:
    """Return a conversion of units as a function of arrays: each number on its own goes through decimals, which takes its time."""
    zero = convert(0.0)
    slope = (convert(1000.0) - zero) / 1000.0
    return lambda values: zero + slope * values


def _text(label) -> str:
    return label.decode(errors="replace").strip() if isinstance(label, bytes) else str(label).strip()


def cf_unit(text: str) -> str:
    """Return a unit as udunits writes it ("m s-1", "degrees_north") in the spelling of the mission file ("m s^-1")."""
    text = text.strip()
    plain = _SPELLINGS.get(text.lower(), text)
    return re.sub(r"([A-Za-z])(-?[0-9]+)", r"\1^\2", plain)
