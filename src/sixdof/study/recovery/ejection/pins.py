"""What pulls at the pins of a bay before its charge fires: drag separation along the flight, and air shut up in the bay.

Seen along the axis, what lies ahead of the joint is pushed by what lies behind it with m1 f + D1: its mass times the specific force that the flight has there,
and its own drag, which the joint need not give it. Where that is negative the joint is pulled apart, and the pins hold it; this happens in the coast
where what is behind slows down faster than what is ahead would, alone. A bay without holes keeps the air of the ground, whose
pressure pushes it open by A (p0 - p); one with holes lags by what drives the air out through them, Bernoulli's rho w^2/2 with w = V dp/dt/(a p).
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.flight.harness import cut_of, harness_stage
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Nose, Stage, Transition
from sixdof.study.reading.result import drawn_factor, event_values
from sixdof.vehicle.aero.drag import drag_breakdown, fore_axial
from sixdof.vehicle.charge import Bay, bay_of
from sixdof.vehicle.geometry import shape_of
from sixdof.world.sounding import air_over

MACHS = np.linspace(0.0, 4.0, 81)
NOSE_FIRST = np.radians(30.0)  # beyond it a body tumbles, and drag along the axis says nothing
BODIES = ("nose", "tube", "transition")


class Pulled(NamedTuple):
    """The largest pull on the pins of one flight before the charge fires, N: by drag, by the bay's air, by both at their worst instant, and its time, s."""

    flight: float
    air: float
    both: float
    time: float


class _Body(NamedTuple):
    """The stages first .. last as they fly together: masses ahead of the cut and in all that do not burn and that do, kg, by stage; drag over MACHS."""

    fore: dict[int, float]
    fore_grains: float
    aft: dict[int, float]
    share: np.ndarray
    axial: np.ndarray
    area: float


class PinLoads:
    """Makes of a flight with its timeline what pulls at the pins of one harness; called in several threads."""

    def __init__(self, mission: Mission, number: int):
        self.mission, self.harness, self.stage = mission, mission.harness[number], harness_stage(mission, number)
        count = len(mission.stage)
        self.bodies = {(a, b): self._body(a, b) for a in range(self.stage + 1) for b in range(self.stage, count)}
        charge = self.harness.charge
        self.bay, self.vent = (bay_of(mission.stage[self.stage], self.harness), charge.vent_area) if charge is not None else (Bay(0.0, 0.0), 0.0)
        heights = np.arange(0.0, 20_000.0, 50.0)
        air, _ = air_over(mission, mission.site.altitude + heights)
        self.air = heights, air.pressure, air.density

    def __call__(self, ds: xr.Dataset) -> Pulled:
        time, pull, pressure, density = self._along(ds)
        before = time < self._fired(ds)
        if not before.any():
            return Pulled(0.0, 0.0, 0.0, np.nan)
        air = self._shut_up(time, pressure, density)
        both = np.where(before, pull + air, -np.inf)
        worst = int(np.argmax(both))
        return Pulled(max(float(pull[before].max()), 0.0), float(air[before].max()), max(float(both[worst]), 0.0), float(time[worst]))

    def _fired(self, ds: xr.Dataset) -> float:
        when = float(event_values(ds, f"deployment {self.harness.canopy}", body=self.stage)[0])
        return when if np.isfinite(when) else float(event_values(ds, "apogee", body=self.stage)[0])

    def _along(self, ds: xr.Dataset) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Return time, pull (N), and pressure and density outside, while the harness's stage flies nose first: in front, then by itself."""
        parts = [self._in_front(ds)]
        if self.stage > 0 and "body_time" in ds:
            parts.append(self._behind(ds))
        time, pull, height = (np.concatenate(rows) for rows in zip(*parts))
        factor = float(drawn_factor(ds, "air_pressure", "", "")[0])
        return time, pull, *(factor * np.interp(height, self.air[0], row) for row in self.air[1:])

    def _in_front(self, ds: xr.Dataset) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return time, pull and height while the stage is part of the front body: specific force and drag are the kernel's."""
        time, apart = ds["time"].values, self._separations(ds)
        last = np.full(time.size, len(self.mission.stage) - 1)
        for joint in range(len(apart), 0, -1):
            last = np.where(time >= apart[joint - 1], np.minimum(last, joint - 1), last)
        own = (last >= self.stage) & (ds["incidence"].values < NOSE_FIRST)
        pull = np.full(time.size, -np.inf)
        force, mach, thrust, mass = ds["specific_force"].values[:, 0], ds["mach"].values, ds["thrust"].values, ds["mass"].values
        pressure, drag = ds["dynamic_pressure"].values, float(drawn_factor(ds, "aero_drag", "stage", self.mission.stage[0].name)[0])
        for b in range(self.stage, len(self.mission.stage)):
            body = self.bodies[0, b]
            whole = np.where(thrust > 0.0, pressure * body.area * drag * np.interp(mach, MACHS, body.axial), -mass * force)
            fore = self._fore(ds, body)
            pull = np.where(last == b, -fore * force - whole * np.interp(mach, MACHS, body.share), pull)
        return time[own], pull[own], ds["height"].values[own]

    def _behind(self, ds: xr.Dataset) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return time, pull and height of the stage in a body of its own, coasting: drag by the build-up at the speed flown."""
        track = ds[["body_time", "body_height", "body_airspeed", "body_mach", "body_incidence"]].isel(body=self.stage)
        time, height = track["body_time"].values, track["body_height"].values
        own = np.isfinite(time) & (time >= self._separations(ds)[self.stage - 1]) & (track["body_incidence"].values < NOSE_FIRST)
        time, height = time[own], height[own]
        speed, mach = track["body_airspeed"].values[own], track["body_mach"].values[own]
        pull = np.full(time.size, -np.inf)
        apart = self._separations(ds)
        last = np.full(time.size, len(self.mission.stage) - 1)
        for joint in range(len(apart), self.stage, -1):
            last = np.where(time >= apart[joint - 1], np.minimum(last, joint - 1), last)
        drawn = float(drawn_factor(ds, "aero_drag", "stage", self.mission.stage[self.stage].name)[0])
        pressure = 0.5 * np.interp(height, self.air[0], self.air[2]) * speed**2
        for b in range(self.stage, len(self.mission.stage)):
            body = self.bodies[self.stage, b]
            drag = pressure * body.area * drawn * np.interp(mach, MACHS, body.axial)
            fore, aft = self._fore(ds, body), self._masses(ds, body.aft)
            pull = np.where(last == b, drag * (fore / (fore + aft) - np.interp(mach, MACHS, body.share)), pull)
        return time, pull, height

    def _separations(self, ds: xr.Dataset) -> np.ndarray:
        times = ds["separation_time"].values if "separation_time" in ds else np.empty(0)
        return np.where(np.isfinite(times), times, np.inf)

    def _masses(self, ds: xr.Dataset, masses: dict[int, float]) -> float:
        return sum(mass * float(drawn_factor(ds, "vehicle_mass", "stage", self.mission.stage[k].name)[0]) for k, mass in masses.items())

    def _fore(self, ds: xr.Dataset, body: _Body) -> float:
        return self._masses(ds, body.fore) + body.fore_grains

    def _shut_up(self, time: np.ndarray, pressure: np.ndarray, density: np.ndarray) -> np.ndarray:
        """Return the force (N) of the air in the bay on either piece over the air outside."""
        sealed = self.bay.area * np.maximum(pressure[0] - pressure, 0.0)
        if not self.vent or time.size < 3:
            return sealed
        outflow = self.bay.volume * np.maximum(-np.gradient(pressure, time), 0.0) / (self.vent * pressure)
        return np.minimum(self.bay.area * 0.5 * density * outflow**2, sealed)

    def _body(self, first: int, last: int) -> _Body:
        shape = shape_of(self.mission.stage[first : last + 1])
        cut = cut_of(self.mission, self.stage, self.harness.separation_station, first, last, shape)
        rows = drag_breakdown(self.mission, range(first, last + 1), MACHS)
        stages = split_at(self.mission.stage[first : last + 1], self.stage - first, self.harness.separation_station)
        ahead = fore_axial(SimpleNamespace(stage=stages), range(len(stages)), MACHS) * shape_of(stages).area / shape.area
        share = ahead / np.maximum(rows["total"], 1e-9)
        return _Body(
            _by_stage(cut.fore),
            sum(float(lump.mass) for _, lump in cut.fore_grains),
            _by_stage(cut.aft),
            share,
            rows.get("measured", rows["total"]),
            shape.area,
        )


def _by_stage(lumps) -> dict[int, float]:
    found: dict[int, float] = {}
    for k, lump in lumps:
        found[k] = found.get(k, 0.0) + float(lump.mass)
    return found


def split_at(stages: tuple[Stage, ...], number: int, station: float) -> list[Stage]:
    """Return stages with all that lies behind a station of one of them as one bare stage, so that drag ahead of it is told apart; a nose is not cut."""
    stage = stages[number]
    ahead, behind, x0 = [], [], 0.0
    for part in stage.part:
        if part.kind not in BODIES:
            place = getattr(part, "station", 0.0) + 0.5 * (part.root_chord or 0.0 if part.kind == "fins" else 0.0)
            ahead += [part] if place < station else []
            continue
        x1 = x0 + part.length
        if x1 <= station or isinstance(part, Nose):
            ahead.append(part)
        elif x0 >= station:
            behind.append(part)
        else:
            fore, aft = _halves(part, (station - x0) / part.length)
            ahead, behind = [*ahead, fore], [*behind, aft]
        x0 = x1
    behind += [part for other in stages[number + 1 :] for part in other.part if part.kind in BODIES]
    rest = [stage.model_copy(update={"part": tuple(behind)})] if behind else []
    return [*stages[:number], stage.model_copy(update={"part": tuple(ahead)}), *rest]


def _halves(part, share: float):
    """Return a tube or transition in two, at a share of its length."""
    fore, aft = {"length": share * part.length}, {"length": (1.0 - share) * part.length}
    if isinstance(part, Transition):
        middle = part.fore_diameter + share * (part.aft_diameter - part.fore_diameter)
        fore, aft = fore | {"aft_diameter": middle}, aft | {"fore_diameter": middle}
    return part.model_copy(update=fore), part.model_copy(update=aft)


def pulled(mission: Mission, numbers: list[int]) -> Callable[[xr.Dataset], list[Pulled]]:
    """Return the function that makes of a flight with its timeline the pull on the pins of some harnesses."""
    each = [PinLoads(mission, number) for number in numbers]
    return lambda ds: [one(ds) for one in each]
