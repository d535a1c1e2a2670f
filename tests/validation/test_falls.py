"""How bodies come down without canopies: facts and validity clocks of a flight against its own timeline, its landing against theory."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
import xarray as xr
from drivers import fall_clocks

import sixdof
from sixdof._jit import lend
from sixdof.core import observe
from sixdof.core.columns import HANDOVER_COLUMNS, TALLY_COLUMNS, AirColumn, Handover, Tally
from sixdof.core.leg.work import make_work
from sixdof.core.whole.facts import descent_of, last_incidence
from sixdof.core.whole.tables import RIGGING_COLUMNS
from sixdof.flight.model import build_model
from sixdof.results.status import Descent
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.report.summary import summarise
from sixdof.vehicle.geometry import shape_of

TICK = 0.01  # s
PIECE = 150  # ticks
FREE = 3
LIMITS = np.radians([15.0, 45.0, 90.0, 135.0])


def bare(mission, **changes):
    """Return a mission without recovery whose log has a row a tick."""
    return mission.change({"recovery": [], "harness": [], "failure": [], "disperse": {}, "record.rate": "100 Hz"} | changes)


def fall_of(ds, body=0):
    """Return (time, incidence, airspeed) of the ticks of a body's fall."""
    time, incidence, speed = (ds[f"body_{name}"].values[body] for name in ("time", "incidence", "airspeed"))
    apogee, landing = (float(ds.event_time.sel(event=event)[body]) for event in ("apogee", "landing"))
    ticks = (time > apogee) & (time < landing)
    return time[ticks], incidence[ticks], speed[ticks]


def way_of(incidence):
    """Return (the way of coming down, mean incidence) of the last ticks: one full piece and what has begun of the next."""
    last = incidence[-(PIECE + (len(incidence) - 1) % PIECE + 1) :]
    if np.ptp(last) > LIMITS[2]:
        return Descent.TUMBLING, last.mean()
    return (Descent.NOSE_FIRST, Descent.BROADSIDE, Descent.TAIL_FIRST)[int(np.searchsorted(LIMITS[[1, 3]], last.mean()))], last.mean()


def check(ds, body):
    time, incidence, speed = fall_of(ds, body)
    way, mean = way_of(incidence)
    assert int(ds.descent[body]) == way
    assert float(ds.descent_incidence[body]) == pytest.approx(mean, abs=1e-9)
    beyond = TICK * np.sum((incidence > LIMITS[0]) & (speed > 5.0))
    assert float(ds.time_falling_incidence[body]) == pytest.approx(beyond, abs=1e-6)
    return way


def check_reynolds(ds, mission):
    """The other two clocks of the front body: on its length, and of the cross flow on its diameter; kinematic viscosity of its air table."""
    shape, world = shape_of([mission.stage[0]]), build_model(mission).world
    time, incidence, speed = fall_of(ds)
    height = np.interp(time, ds.body_time.values[0], ds.body_height.values[0])
    levels = world.air_z0 + np.arange(len(world.air)) / world.air_per_metre
    unit = speed * np.interp(height, levels, world.air[:, AirColumn.DENSITY]) / np.interp(height, levels, world.air[:, AirColumn.VISCOSITY])
    beyond = (speed > 5.0) & ((unit * shape.length < 5e5) | (unit * shape.length > 1e8))
    crisis = (speed > 5.0) & (unit * np.sin(incidence) * shape.diameter > 1e5)
    assert float(ds.time_falling_reynolds[0]) == pytest.approx(TICK * beyond.sum(), abs=2.1 * TICK)  # two crossings of a limit
    assert float(ds.time_falling_crisis[0]) == pytest.approx(TICK * crisis.sum(), abs=6.1 * TICK)
    return TICK * crisis.sum()


def test_fall__settles_where_the_tunnel_has_a_stable_zero(demo_mission):
    """Broadside, base a little lower; 1 deg: what is left of the swing after half a minute."""
    ds = sixdof.fly(bare(demo_mission))
    assert check(ds, 0) == Descent.BROADSIDE
    incidence = xr.DataArray(np.radians(np.arange(95.0, 135.0)), dims="incidence")
    cg, mach = float(ds.cg[-1]), float(ds.mach[-2])
    moment = wind_tunnel(demo_mission, mach=mach, incidence=incidence, roll=0.3, cg=cg).C_m.values
    crossing = np.flatnonzero((moment[:-1] > 0.0) & (moment[1:] <= 0.0))
    assert len(crossing) == 1
    assert math.degrees(float(ds.descent_incidence[0])) == pytest.approx(95.5 + crossing[0], abs=1.0)
    page = summarise(ds)
    assert "comes down broadside at 114 deg of incidence" in page and "energy at the ground" in page
    check_reynolds(ds, demo_mission)


def test_fall__of_a_nose_heavy_vehicle_is_nose_first(demo_mission):
    parts = [part.model_dump() for part in demo_mission.stage[0].part]
    heavy = {"kind": "mass", "mass": 0.6, "station": 0.1}
    ds = sixdof.fly(bare(demo_mission, **{"stage.0.part": [*parts, heavy]}))
    assert check(ds, 0) == Descent.NOSE_FIRST
    assert float(ds.body_landing_ground_speed[0]) > 60.0 and float(ds.time_falling_incidence[0]) < 5.0


def test_fall__of_both_stages(stack_mission):
    ds = sixdof.fly(bare(stack_mission))
    ways = [check(ds, body) for body in (0, 1)]
    assert Descent.BROADSIDE in ways  # the sustainer, at 22 m/s; base first it would be twice as fast
    front = ways.index(Descent.BROADSIDE)
    assert 18.0 < float(ds.body_landing_ground_speed[front]) < 27.0
    assert "fall without a canopy beyond 15 deg incidence (" in summarise(ds)


def test_fall__without_fins(demo_mission):
    parts = [part.model_dump() for part in demo_mission.stage[0].part if part.kind != "fins"]
    ds = sixdof.fly(bare(demo_mission, **{"stage.0.part": parts, "rule": []}))
    assert check(ds, 0) == Descent.TAIL_FIRST  # still swinging: it falls from 118 m
    assert check_reynolds(ds, bare(demo_mission, **{"stage.0.part": parts, "rule": []})) > 0.2


def tally_of(*pieces):
    """Return a tally with (ticks, mean, least, largest incidence in deg) of the last piece and of the one before."""
    tally = np.zeros(TALLY_COLUMNS)
    for i, (ticks, mean, least, most) in enumerate(pieces):
        first = Tally.TICKS + i * observe.PIECE
        tally[first : first + 4] = ticks, ticks * math.radians(mean), math.radians(least), math.radians(most)
    return tally


@pytest.mark.parametrize(
    "pieces, way",
    [
        ([(100, 5.0, 0.0, 20.0)], Descent.NOSE_FIRST),
        ([(10, 80.0, 60.0, 100.0), (150, 40.0, 30.0, 60.0)], Descent.NOSE_FIRST),
        ([(150, 60.0, 50.0, 70.0), (150, 50.0, 40.0, 60.0)], Descent.BROADSIDE),
        ([(150, 150.0, 140.0, 160.0), (150, 110.0, 100.0, 130.0)], Descent.BROADSIDE),
        ([(150, 150.0, 140.0, 160.0)], Descent.TAIL_FIRST),
        ([(20, 90.0, 80.0, 95.0), (150, 20.0, 1.0, 30.0)], Descent.TUMBLING),
        ([(150, 90.0, 10.0, 170.0)], Descent.TUMBLING),
    ],
)
def test_way__by_mean_and_range_of_the_last_seconds(pieces, way):
    hand = np.zeros(HANDOVER_COLUMNS)
    hand[Handover.PHASE] = FREE
    model = models.model()
    work = make_work(model)._replace(handover=hand, tally=tally_of(*pieces))
    assert descent_of(np.zeros((0, RIGGING_COLUMNS)), 0, 0, lend(work)) == way


@pytest.mark.parametrize(
    "flow, clocks",
    [
        ((-4.0, 0.0, 2.0), ""),
        ((-30.0, 0.0, 0.0), "incidence"),
        ((30.0, 0.0, 7.0), ""),
        ((120.0, 0.0, 31.0), "crisis"),
        ((120.0, 33.0, 0.0), "incidence crisis"),
        ((5.5, 0.0, 0.5), "reynolds"),
        ((0.0, 0.0, -5.5), "incidence reynolds"),
        ((280.0, 0.0, 0.0), "mach"),
        ((265.0, 0.0, 0.0), ""),
    ],
)
def test_clocks__by_the_flow(flow, clocks):
    """Air of 340 m/s and 3e-5 m^2/s, a body of 0.1 m by 2 m: Re 5e5 on the length is 7.5 m/s, 1e5 on the diameter 30 m/s."""
    body = models.model(world=models.world(density=0.6, sound=340.0, viscosity=1.8e-5))
    tally = fall_clocks(body, models.draw(), flow=flow, ticks=20, period=0.01)
    names = ("incidence", "mach", "reynolds", "crisis")
    found = {name: tally[Tally.FALL_INCIDENCE + i] for i, name in enumerate(names)}
    assert found == pytest.approx({name: 0.2 * (name in clocks.split()) for name in names})


def test_last_incidence__none_without_a_fall():
    assert np.isnan(last_incidence(np.zeros(TALLY_COLUMNS))).all()
