"""The column of air over a site: the standard's through the site's readings, or a sounding's."""

from __future__ import annotations

import numpy as np

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Levels, Sounding
from sixdof.world.atmosphere import (
    G0,
    GAS_CONSTANT,
    HIGHEST,
    LAYER_BASE,
    LAYER_LAPSE,
    LOWEST,
    MOST_TEMPERATURE_OFFSET,
    Atmosphere,
    at_site,
    geometric,
    geopotential,
    is_weather,
    of_gas,
    site_pressure,
    standard,
    standard_temperature,
)
from sixdof.world.humidity import saturation_pressure, vapour_of_dew_point, vapour_of_relative_humidity, vapour_of_specific_humidity, virtual_temperature

FINE = 100.0  # m between the nodes of the hydrostatic integral: virtual temperature is all but linear between them
ROUNDS = 30  # of the fixed point between pressure and vapour at most; each gains about two digits
SETTLED = 1e-12  # of ln p
MOST_VAPOUR = 0.1  # mole share: no air on Earth holds as much; keeps humidity given for the thinnest air from being all of it
MISFIT = 0.05  # of a sounding's own pressure against the hydrostatic one: instruments stay within 2 %


def air_over(mission: Mission, altitude) -> tuple[Atmosphere, np.ndarray]:
    """Return the air of a mission at geometric altitudes above mean sea level (m, any shape), and its mole share of vapour.

    With humidity, density and sound follow from the virtual temperature: density exactly (ideal gases), sound but for the change of
    the ratio of specific heats, 0.1 % of it in the moistest air; so density, pressure and sound stay those of one hydrostatic
    column, which is what a drawn temperature is applied to. Viscosity is dry air's.

    Raises ValueError for altitudes outside -5..80 km, MissionError (a ValueError) for readings no weather explains and for a sounding
    that is inconsistent.
    """
    altitude, air = np.asarray(altitude, dtype=float), mission.air
    if air.sounding is None:
        return at_site(altitude, mission.site.altitude, air.temperature, air.pressure), np.zeros_like(altitude)
    if not np.all((altitude >= LOWEST) & (altitude <= HIGHEST)):
        raise ValueError("altitude lies outside the air of -5 km to 80 km above mean sea level")
    return _Column(mission).at(geopotential(altitude))


def level_altitudes(mission: Mission, levels: Levels) -> np.ndarray:
    """Return the geometric altitudes (n,) of levels above mean sea level (m)."""
    if levels.altitude:
        return np.array(levels.altitude)
    if levels.geopotential_height:
        return geometric(levels.geopotential_height)
    if levels.height:
        return mission.site.altitude + np.array(levels.height)
    return geometric(_placed(mission))


def _placed(mission: Mission) -> np.ndarray:
    """Return the geopotential heights (n,) of a sounding known over pressure alone: the hydrostatic law from the site's pressure.

    Virtual temperature is linear in height between levels, so a layer's rise is R/g0 times its logarithmic mean times the fall of
    ln p (the standard's eq. 33a, solved for the height). Raises MissionError where the site lies above all levels.
    """
    sounding = mission.air.sounding
    log_p = np.log(sounding.pressure)
    tv = virtual_temperature(np.array(sounding.temperature), _vapour(sounding, np.exp(log_p)))
    at = np.log(site_pressure(mission.site.altitude, mission.air.pressure))
    if at <= log_p[-1]:
        raise _no_sounding(f"its levels, up to {sounding.pressure[-1]:g} Pa, do not reach the site, whose pressure is {mission.air.pressure:g} Pa", "")
    level = np.concatenate(([0.0], np.cumsum(_thickness(log_p[:-1], log_p[1:], tv[:-1], tv[1:]))))
    if at > log_p[0]:  # below the lowest level, with the standard's lapse
        t = tv[0] * np.exp((at - log_p[0]) * -GAS_CONSTANT * LAYER_LAPSE[0] / G0)
        ground = (t - tv[0]) / LAYER_LAPSE[0]
    else:
        k = int(np.searchsorted(-log_p, -at, side="right")) - 1
        share = (log_p[k] - at) / (log_p[k] - log_p[k + 1])
        t = tv[k] * (tv[k + 1] / tv[k]) ** share
        ground = level[k] + _thickness(log_p[k], at, tv[k], t)
    return level - ground + float(geopotential(mission.site.altitude))


def _thickness(log_p0, log_p1, t0, t1):
    return GAS_CONSTANT / G0 * _log_mean(t0, t1) * (log_p0 - log_p1)


def _log_mean(a, b):
    """Return the logarithmic mean (b - a)/ln(b/a)."""
    d = b / a - 1.0
    near = np.abs(d) < 1e-5  # there the series is exact to 1e-17
    safe = np.where(near, 1.0, d)
    return a * np.where(near, 1.0 + d / 2.0 - d * d / 12.0, safe / np.log1p(safe))


def _vapour(sounding: Sounding, pressure: np.ndarray) -> np.ndarray:
    """Return the mole share of vapour (n,) at the levels of a sounding whose pressures (n,) are known, Pa."""
    if sounding.relative_humidity:
        found = vapour_of_relative_humidity(sounding.relative_humidity, np.array(sounding.temperature), pressure)
    elif sounding.dew_point:
        found = vapour_of_dew_point(np.array(sounding.dew_point), pressure)
    elif sounding.specific_humidity:
        found = vapour_of_specific_humidity(sounding.specific_humidity)
    else:
        found = np.zeros(pressure.size)
    return np.clip(found, 0.0, MOST_VAPOUR)


def _no_sounding(message: str, hint: str) -> MissionError:
    return MissionError([Fault("", "air.sounding", None, message, hint)])


class _Column:
    """A sounding, computed at nodes of geopotential height, in which the hydrostatic law is plain: d ln p = -g0/(R Tv) dH."""

    def __init__(self, mission: Mission):
        sounding = mission.air.sounding
        self.sounding, self.warmth = sounding, np.array(sounding.temperature)
        self.level = geopotential(level_altitudes(mission, sounding))
        site = float(geopotential(mission.site.altitude))
        own = sounding.pressure if any((sounding.height, sounding.altitude, sounding.geopotential_height)) else ()
        nearest = int(np.argmin(np.abs(self.level - site)))
        anchor = (self.level[nearest], own[nearest]) if own else (site, site_pressure(mission.site.altitude, mission.air.pressure))
        low, high = min(geopotential(LOWEST), self.level[0]), max(geopotential(HIGHEST), self.level[-1])
        grid = np.arange(low, high + FINE, FINE)
        self.node = np.unique(np.concatenate((grid, self.level, LAYER_BASE, [site, anchor[0]])))
        self._check_temperature()
        self._settle(*anchor)
        if own:
            self._check_pressure(mission, np.array(own), site)

    def temperature(self, height: np.ndarray) -> np.ndarray:
        """Return the temperature (K) at geopotential heights (m)."""
        usual = standard_temperature(height)
        ends = self.warmth[[0, -1]] - standard_temperature(self.level[[0, -1]])
        within = np.interp(height, self.level, self.warmth)
        return np.where(height < self.level[0], usual + ends[0], np.where(height > self.level[-1], usual + ends[1], within))

    def _settle(self, base: float, pressure: float) -> None:
        """Find pressure, vapour and virtual temperature at the nodes, which need each other: moist air is lighter."""
        t = self.temperature(self.node)
        self.vapour = np.zeros(t.size)
        before = None
        for _ in range(ROUNDS):
            self.virtual = virtual_temperature(t, self.vapour)
            rises = np.diff(self.node) / _log_mean(self.virtual[:-1], self.virtual[1:])
            log_p = -G0 / GAS_CONSTANT * np.concatenate(([0.0], np.cumsum(rises)))
            self.log_p = log_p + np.log(pressure) - np.interp(base, self.node, log_p)  # the base is a node
            if before is not None and np.max(np.abs(self.log_p - before)) < SETTLED:
                return
            before = self.log_p
            self.vapour = self._vapour_at_nodes(t)

    def _vapour_at_nodes(self, t: np.ndarray) -> np.ndarray:
        pressure = np.exp(self.log_p)
        own = _vapour(self.sounding, np.exp(np.interp(self.level, self.node, self.log_p)))
        share = np.interp(self.node, self.level, own)
        outside = (self.node < self.level[0]) | (self.node > self.level[-1])
        share = np.where(outside, np.minimum(share, saturation_pressure(t) / pressure), share)
        above = np.searchsorted(self.node, self.level[-1])
        share[above:] = np.minimum.accumulate(share[above:])  # what has frozen out below does not come back
        return share

    def at(self, height: np.ndarray) -> tuple[Atmosphere, np.ndarray]:
        """Return the air and the mole share of vapour at geopotential heights (m)."""
        k = np.clip(np.searchsorted(self.node, height, side="right") - 1, 0, self.node.size - 2)
        virtual = np.interp(height, self.node, self.virtual)
        log_p = self.log_p[k] - G0 / GAS_CONSTANT * (height - self.node[k]) / _log_mean(self.virtual[k], virtual)
        return of_gas(self.temperature(height), np.exp(log_p), virtual), np.interp(height, self.node, self.vapour)

    # ---------------------------------------------------------------- consistency

    def _check_temperature(self) -> None:
        usual = standard_temperature(self.level)
        k = int(np.argmax(np.abs(self.warmth - usual)))
        if abs(self.warmth[k] - usual[k]) > MOST_TEMPERATURE_OFFSET:
            raise _no_sounding(
                f"{self.warmth[k]:.1f} K is not a temperature at {geometric(self.level[k]):.0f} m above mean sea level, where the standard is {usual[k]:.1f} K",
                "check the units of heights and temperatures",
            )

    def _check_pressure(self, mission: Mission, own: np.ndarray, site: float) -> None:
        misfit = np.abs(np.log(own) - np.interp(self.level, self.node, self.log_p))
        k = int(np.argmax(misfit))
        if misfit[k] > MISFIT:
            there = float(np.exp(np.interp(self.level[k], self.node, self.log_p)))
            raise _no_sounding(
                f"its heights, pressures and temperatures do not fit together: at {geometric(self.level[k]):.0f} m above mean sea "
                f"level it says {own[k]:.0f} Pa, and the weight of its air gives {there:.0f} Pa",
                "check the units of its columns",
            )
        here, usual = float(np.exp(np.interp(site, self.node, self.log_p))), float(standard(mission.site.altitude).pressure)
        if not is_weather(here, usual):
            raise _no_sounding(
                f"it gives {here:.0f} Pa at the site, where the standard is {usual:.0f} Pa",
                "height counts from the ground, altitude and geopotential_height from mean sea level",
            )
