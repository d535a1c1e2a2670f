"""Flights of vehicles nobody tuned: invariants, the mirror image in the other hemisphere, and everything that can be done with a flight."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from strangers import FILES, FLIGHTS, SEED

import sixdof
from sixdof.core.layout import OUTCOMES
from sixdof.stats import Status
from sixdof.study.uncertainty.sensitivity import largest_drivers, linear_shares
from sixdof.study.variants.comparison_text import comparison_text
from sixdof.study.variants.judging import VERDICTS, judge_criteria
from sixdof.study.variants.nominal import compare_nominal, nominal_page
from sixdof.study.verification.accuracy import step_study
from sixdof.vehicle.mass import part_masses

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))
from fuzz_judge import check_flight

EVERY = pytest.mark.parametrize("name", FILES)
MOTORS = Path(__file__).parent / "motors"
ALTERNATIVES = {"slender": "wick-*.csv", "canard": "reed-[hi].csv", "stack": "reed-j.csv"}


# ---------------------------------------------------------------- invariants


@EVERY
def test_flight__is_sound_and_lands(flights, name):
    ds = flights[name]
    check_flight(ds)
    assert int(ds.status) == Status.LANDED and float(ds.apogee_height) > 300.0
    assert float(ds.static_margin_min) > 1.0 and math.degrees(float(ds.incidence_max)) < 15.0
    down = ds.body_landing_time.values
    assert np.isfinite(down[: len(ds.attrs["mission"].split("[[stage]]")) - 1]).all() and (ds.body_landing_ground_speed.values[np.isfinite(down)] < 10.0).all()


@EVERY
def test_flight__goes_where_the_rail_points_in_still_air(missions, name):
    """South-west, beyond 180 deg: what is left aside is the Earth's turn, a few metres of some hundred."""
    still = missions[name].change(
        {
            "air.wind": {},
            "air.gust": [],
            "air.turbulence": None,
            "sensors": None,
            "guidance.waypoint": [],
            "disperse": {},
            "correlation": [],
            "rule": [rule.model_dump() for rule in missions[name].rule if not rule.action.startswith("guide")],
        }
    )
    ds = sixdof.fly(still)
    bearing = math.degrees(math.atan2(float(ds.apogee_east), float(ds.apogee_north))) % 360.0
    assert bearing == pytest.approx(math.degrees(still.rail.azimuth), abs=4.0) and bearing > 180.0
    assert np.abs(ds.tilt_yaw.sel(time=slice(0.5, 0.6 * float(ds.apogee_time)))).max() < math.radians(1.0)


@EVERY
def test_flight__weighs_what_its_parts_weigh(missions, flights, name):
    """The sum of all parts, motors included, at ignition; every gram of the propellant that burns gone at apogee."""
    mission, ds = missions[name], flights[name]
    mounted = [mission.motor[part.motor] for stage in mission.stage for part in stage.part if part.kind == "mount"]
    dry = sum(row.mass for row in part_masses(mission, range(len(mission.stage))) if row.kind not in ("case", "propellant"))
    assert float(ds.mass[0]) == pytest.approx(dry + sum(motor.case_mass + motor.propellant_mass for motor in mounted), rel=1e-9)
    burnt = float(ds.mass.sel(time=float(ds.apogee_time), method="nearest"))
    front = sum(row.mass for row in part_masses(mission, [0]) if row.kind not in ("case", "propellant"))
    assert burnt == pytest.approx(front + mounted[0].case_mass, rel=1e-9)


# ---------------------------------------------------------------- the mirror image


def mirrored(mission):
    """Return the mission as a mirror on the equator shows it: the south's world is the north's, and right is left."""

    def turned(angle):
        return (math.pi - angle) % (2.0 * math.pi)

    wind = mission.air.wind.model_dump()
    if wind["profile"] == "table":
        wind = {"profile": "table", "table": [(h, v, turned(b)) for h, v, b in wind["table"]]}
    else:
        wind |= {"blows_from": turned(wind["blows_from"]), "veer": -wind["veer"]}
        wind = {key: value for key, value in wind.items() if key in mission.air.wind.model_fields_set}
    changes = {
        "site.latitude": -mission.site.latitude,
        "rail.azimuth": turned(mission.rail.azimuth),
        "air.wind": wind,
        "air.gust": [gust.model_dump() | {"blows_from": turned(gust.blows_from)} for gust in mission.air.gust],
        "guidance.waypoint": [point.model_dump() | {"north": -point.north} for point in mission.guidance.waypoint],
    }
    for i, stage in enumerate(mission.stage):
        changes |= {f"stage.{i}.part.{part.name}.clocking": (-part.clocking) % (2.0 * math.pi) for part in stage.part if part.kind == "fins"}
    return mission.change(changes)


@EVERY
def test_mirror__the_same_flight_in_the_north(missions, name):
    """To rounding, which grows on the way down; numbers of sensors and turbulence have no mirror image, nor have a servo's steps."""
    mission = missions[name].change({"sensors": None, "air.turbulence": None, "servo.resolution": 0.0, "disperse": {}, "correlation": [], "failure": []})
    south, north = sixdof.fly(mission), sixdof.fly(mirrored(mission))
    up = {"time": slice(0.0, 0.95 * float(south.apogee_time))}
    for key, sign in {
        "height": 1,
        "east": 1,
        "north": -1,
        "tilt_pitch": 1,
        "tilt_yaw": -1,
        "roll": -1,
        "incidence": 1,
        "incidence_yaw": -1,
        "static_margin": 1,
        "dynamic_pressure": 1,
    }.items():
        a, b = south[key].sel(up).values, sign * north[key].sel(up).values
        np.testing.assert_allclose(a, b, rtol=1e-7, atol=1e-7, err_msg=key)
    assert float(north.apogee_height) == pytest.approx(float(south.apogee_height), abs=1e-6)
    np.testing.assert_allclose(north.body_landing_east, south.body_landing_east, atol=1e-2)
    np.testing.assert_allclose(north.body_landing_north, -south.body_landing_north, atol=1e-2)
    np.testing.assert_allclose(north.body_landing_latitude, -south.body_landing_latitude, atol=1e-7)


# ---------------------------------------------------------------- ensembles and files


def assert_same(alone, ensemble, number):
    """To the bit but for a last one or two: a process that has just compiled the kernels and a worker that loads them may contract sums differently."""
    one = ensemble.sel(flight=number)
    for key in (*OUTCOMES, "body_landing_time"):
        np.testing.assert_allclose(alone[key].values, one[key].values, rtol=1e-13, atol=1e-15, err_msg=key)


@EVERY
def test_ensemble__lands_and_flies_again(ensembles, name):
    ds = ensembles[name]
    assert ds.sizes["flight"] == FLIGHTS and (ds.status == Status.LANDED).all()
    assert np.ptp(ds.apogee_height.values) > 1.0
    worst = int(np.argmax(ds.landing_ground_speed.values))
    for number in {0, worst}:
        assert_same(sixdof.refly(ds, number), ds, number)


@EVERY
@pytest.mark.parametrize("ending", ["nc", "zarr"])
def test_files__written_and_read(ensembles, flights, name, ending, tmp_path):
    for what, ds in (("one", flights[name]), ("many", ensembles[name])):
        if ending == "zarr" and what == "one":
            continue  # stores are of ensembles
        path = tmp_path / f"{what}.{ending}"
        if ending == "zarr":
            mission = sixdof.parts.loads_mission(ds.attrs["mission"]).change({"disperse": {"motor.impulse": {"sd": 0.01}}, "correlation": []})
            again = sixdof.disperse(mission, 2, seed=SEED, out=path, progress=False)
            np.testing.assert_array_equal(sixdof.open_result(path).apogee_height.values, again.apogee_height.values)
            continue
        sixdof.save(ds, path)
        back = sixdof.open_result(path)
        assert set(back.variables) == set(ds.variables)
        for key in ("apogee_height", "height", "event_time", "body_landing_latitude"):
            np.testing.assert_array_equal(back[key].values, ds[key].values)
        back.close()


# ---------------------------------------------------------------- studies of flights


@EVERY
def test_rehearsal__fires_what_the_flight_fired(missions, flights, name):
    mission, ds = missions[name], flights[name]
    bench = sixdof.rehearse(mission)
    assert bench.sizes["misfire"] == 0
    for k, rule in enumerate(str(r) for r in bench.rule.values):
        fired, flown = float(bench.rule_fired[k]), float(ds.rule_fired.sel(rule=rule))
        if rule.startswith("deploy") and mission.stage[0].name not in rule and len(mission.stage) > 1:
            continue  # other stages' altimeters
        assert fired == pytest.approx(flown, abs=0.051, nan_ok=True), rule  # five ticks under a canopy
    for stage in mission.stage[1:]:
        assert sixdof.rehearse(mission, stage=stage.name).sizes["misfire"] == 0


@EVERY
def test_earths__differ_by_little(missions, name):
    ds = compare_nominal({earth: missions[name].change({"site.earth": earth}) for earth in ("flat", "wgs84")})
    assert abs(float(ds.apogee_height.diff("variant")[0])) < 0.1 and abs(float(ds.landing_north.diff("variant")[0])) < 2.0
    assert float(ds.landing_latitude[0]) < -31.0 and "latitude" in nominal_page(ds)


@EVERY
def test_steps__are_short_enough(missions, name):
    """Gusts are felt once per tick and servos with play decide by thresholds: centimetres, not micrometres."""
    ds = step_study(missions[name], (2,), finest=8)
    assert abs(float(ds.apogee_error[0])) < 0.05 and float(ds.event_error[0]) < 0.01


@EVERY
def test_compare__motors_on_the_same_draws(missions, name):
    mission = missions[name].change({"disperse": {"motor.impulse": {"sd": "2 %"}, "rail.elevation": {"sd": "0.5 deg"}}, "correlation": []})
    variants = sixdof.parts.motor_variants(mission, sorted(MOTORS.glob(ALTERNATIVES[name])))
    criteria = ["apogee_height > 200 m in 50 % of flights", "landing within 5 km of the rail in 50 % of flights"]
    ds = sixdof.compare(variants, 4, seed=SEED, criteria=criteria, progress=False, threads=1)
    text = comparison_text(ds)
    assert all(str(variant) in text for variant in ds.variant.values)
    assert (judge_criteria(ds).verdict >= 0).all() and len(VERDICTS) > 1
    if ds.sizes["variant"] > 1:
        low, high = sorted(ds.apogee_height.mean("flight").values)
        assert high > 1.05 * low


@pytest.mark.parametrize("name", ["slender", "canard"])
def test_sensitivity__names_what_was_drawn(missions, name):
    mission = missions[name].change(
        {"disperse": {"motor.impulse": {"sd": "3 %"}, "canopy.drag": {"sd": "10 %"}}, "correlation": [], "failure": [], "air.turbulence": None, "sensors": None}
    )
    ds = sixdof.disperse(mission, 24, seed=SEED, progress=False)
    shares = linear_shares(ds, "apogee_height")
    assert str(shares.input.values[0]).startswith("motor_impulse") and float(shares.share.sum()) > 0.9
    assert "motor_impulse" in largest_drivers(ds, "apogee_height")
