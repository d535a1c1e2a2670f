"""The air and the mean wind of a mission over height."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.world.atmosphere import density_altitude, standard
from sixdof.world.humidity import saturation_pressure
from sixdof.world.report import speed_and_direction
from sixdof.world.sounding import air_over
from sixdof.world.wind import mean_wind

TOP, ROWS = 3000.0, 301


def air_against_height(mission: Mission, height=None) -> xr.Dataset:
    """Return air and mean wind over height above the ground at the launch point.

    Parameters
    ----------
    height : (n,) m; 0 to 3000 m in steps of 10 m by default.

    Returns
    -------
    Dataset
        Over `height`: temperature, pressure, density, relative_humidity (over water) and density_altitude, and the standard
        atmosphere's standard_temperature and standard_density at the same altitudes. Over `member` (one where the wind is not given
        as members) and `height`: wind_speed and wind_from, where the wind comes from.

    Raises
    ------
    ValueError
        For heights beyond -5 to 80 km above mean sea level, readings no weather explains, a sounding that does not hang together.

    Examples
    --------
    >>> air = sixdof.aero.air_against_height(mission, [10.0, 1000.0])
    >>> bool(air.density[0] > air.density[1])
    True
    """
    height = np.linspace(0.0, TOP, ROWS) if height is None else np.asarray(height, dtype=float)
    altitude = mission.site.altitude + height
    air, vapour = air_over(mission, altitude)
    usual = standard(altitude)
    members = mission.air.wind.member
    winds = [mean_wind(mission, height, k) for k in range(max(len(members), 1))]
    speed, direction = speed_and_direction(np.array(winds))
    humidity = vapour * air.pressure / saturation_pressure(air.temperature)
    over = {
        "temperature": (air.temperature, "K", "air temperature"),
        "pressure": (air.pressure, "Pa", "air pressure"),
        "density": (air.density, "kg m-3", "air density"),
        "relative_humidity": (humidity, "1", "relative humidity over water"),
        "density_altitude": (density_altitude(air.density), "m", "density altitude"),
        "standard_temperature": (usual.temperature, "K", "temperature of the standard atmosphere"),
        "standard_density": (usual.density, "kg m-3", "density of the standard atmosphere"),
    }
    variables = {name: ("height", values, {"units": unit, "long_name": text}) for name, (values, unit, text) in over.items()}
    variables["wind_speed"] = (("member", "height"), speed, {"units": "m/s", "long_name": "mean wind speed"})
    variables["wind_from"] = (("member", "height"), direction, {"units": "rad", "long_name": "direction the wind comes from, true"})
    coords = {
        "height": ("height", height, {"units": "m", "long_name": "height above ground"}),
        "member": ("member", [each.name for each in members] or [""], {"long_name": "member of the forecasts"}),
    }
    return xr.Dataset(variables, coords, {"title": mission.title})
