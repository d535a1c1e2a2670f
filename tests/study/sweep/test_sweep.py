"""The same drawn flights under many conditions: each point of a sweep is the ensemble of the mission that says the same."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

import sixdof
from sixdof.preflight import fly_conditions, keeping, sweep
from sixdof.study.sweep.conditions import changed, settings_of

FINE = 1e-4  # of a direction: the kernel reads the wind from a table over height
KEEP = ("apogee_height", "rail_departure_speed", "event_lean", "landing_east", "landing_north")


def bare(mission: sixdof.Mission, *names: str) -> sixdof.Mission:
    """A mission that disperses nothing of `names`, so that its own numbers fly."""
    return mission.change({f"disperse.{name}": None for name in names if name in mission.disperse})


def flown(mission: sixdof.Mission, flights: int, seed: int = 3):
    return sixdof.disperse(mission, flights, seed=seed, progress=False, tracks="none", threads=1)


def held(ds, **point):
    return ds.sel(point, method="nearest") if point else ds


def same(swept, whole) -> None:
    for name in KEEP:
        assert np.array_equal(swept[name].values, whole[name].values, equal_nan=True), name


@pytest.fixture(scope="module")
def sampler() -> sixdof.Mission:
    return sixdof.load_mission("configs/sampler.toml")


def test_point__is_the_ensemble_of_the_mission_that_says_so(sampler):
    grid = {"wind.speed": ["2 m/s", "7 m/s"], "rail.elevation": ["84 deg", "89 deg"]}
    swept = sweep(sampler, grid, 3, seed=3, keep=KEEP, threads=1, progress=False)
    assert dict(swept.sizes) | {"body": 1} == {"wind_speed": 2, "rail_elevation": 2, "flight": 3, "body": 1, "event": swept.sizes["event"]}
    calm = bare(sampler, "wind.speed")
    for speed in (2.0, 7.0):
        for elevation in (84.0, 89.0):
            there = calm.change({"air.wind.speed": speed, "rail.elevation": math.radians(elevation)})
            whole = flown(there, 3)
            one = swept.sel(wind_speed=speed).sel(rail_elevation=math.radians(elevation), method="nearest")
            # an elevation as an offset from the mission's own differs from the number itself by a rounding
            for name in KEEP:
                np.testing.assert_allclose(one[name].values, whole[name].values, rtol=1e-7, atol=1e-9, err_msg=name)


def test_noise__is_the_flights_own_at_every_point():
    """Sensors and turbulence are drawn by the number of the flight: a condition that changes nothing changes no bit."""
    mission = sixdof.load_mission("configs/two-stage.toml")
    twice = fly_conditions(mission, [{}, {"motor.impulse": 1.0}, {"vehicle.cg of drayhorse": 0.0}], 2, seed=4, threads=1, progress=False)
    whole = flown(mission, 2, seed=4)
    for k in range(3):
        same(twice.isel(condition=k), whole)


def test_factor_and_offset__act_on_what_is_drawn_and_on_one_stage_alone():
    mission = sixdof.load_mission("configs/two-stage.toml")
    ds = fly_conditions(mission, [{}, {"motor.impulse of drayhorse": 0.9, "vehicle.cg": "10 mm"}], 2, seed=4, threads=1, progress=False)
    impulse, cg = ds.motor_impulse, ds.vehicle_cg
    assert np.allclose(impulse.sel(stage="drayhorse").isel(condition=1), 0.9 * impulse.sel(stage="drayhorse").isel(condition=0), rtol=1e-15)
    assert np.array_equal(impulse.sel(stage="whinchat").isel(condition=1), impulse.sel(stage="whinchat").isel(condition=0))
    assert np.allclose(cg.isel(condition=1) - cg.isel(condition=0), 0.010, rtol=0.0, atol=1e-15)
    slower = ds.rail_departure_speed.isel(condition=1) / ds.rail_departure_speed.isel(condition=0)
    assert (slower < 0.96).all()  # v^2 goes with the impulse: sqrt(0.9) = 0.949


def test_condition__can_be_flown_again_alone():
    mission = sixdof.load_mission("configs/two-stage.toml")
    ds = fly_conditions(mission, [{}, {"wind.speed": "7 m/s", "wind.blows_from": "200 deg"}], 2, seed=4, threads=1, progress=False)
    again = sixdof.refly(ds.isel(condition=1, drop=True), 1)
    assert float(again.apogee_height) == float(ds.apogee_height.sel(condition=1, flight=1))


def test_condition__of_another_mission_is_not_flown_again_by_the_first(sampler):
    """A longer rail, a guided vehicle's rail turned: each condition has a mission of its own, and none stands for all."""
    conditions = [{"wind.speed": 3.0}, {"rail.length": "4 m"}, {"rail.azimuth": "100 deg"}, {"wind.speed": 5.0}]
    ds = fly_conditions(sampler, conditions, 2, seed=4, threads=1, progress=False)
    assert "mission" not in ds.attrs and "seal" not in ds.attrs
    missions = [sixdof.parts.loads_mission(str(text)) for text in ds["mission"].values]
    assert [one.rail.length for one in missions] == [sampler.rail.length, 4.0, sampler.rail.length, sampler.rail.length]
    assert [round(math.degrees(one.rail.azimuth)) for one in missions] == [75, 75, 100, 75]
    with pytest.raises(ValueError, match="with its attributes"):
        sixdof.refly(ds.isel(condition=1, drop=True), 1)


@pytest.mark.parametrize("flights", ["10", 0, 2.5, None])
def test_flights__are_a_whole_number(sampler, flights):
    with pytest.raises(ValueError, match="flights = .* must be a whole number of 1 or more"):
        sweep(sampler, {"wind.speed": [1.0, 2.0]}, flights, progress=False)


def test_paths__change_the_mission(sampler):
    swept = sweep(sampler, {"rail.length": ["2 m", "4 m"]}, 2, seed=3, keep=KEEP, threads=1, progress=False)
    assert swept.rail_length.values.tolist() == [2.0, 4.0] and swept.rail_length.attrs["units"] == "m"
    for length in (2.0, 4.0):
        same(swept.sel(rail_length=length), flown(sampler.change({"rail.length": length}), 2))


@pytest.mark.parametrize("name", ["sampler", "slender"])
def test_rail__is_turned_as_a_mission_that_says_so_guided_or_not(sampler, name):
    """A guided vehicle's computer is told where the rail leans: its profile turns along, which a draw of the rail would not do."""
    mission = sampler if name == "sampler" else stranger(name)
    swept = sweep(mission, {"rail.azimuth": ["90 deg"], "rail.elevation": ["85 deg"]}, 2, seed=3, keep=KEEP, threads=1, progress=False)
    whole = flown(mission.change({"rail.azimuth": "90 deg", "rail.elevation": "85 deg"}), 2)
    for each in KEEP:
        np.testing.assert_allclose(swept[each].values[0, 0], whole[each].values, rtol=1e-6, atol=1e-6, err_msg=each)


def test_changed__mission_is_the_very_one_the_next_time(sampler):
    settings = settings_of(sampler, {"rail.length": "4 m"}, "sweep")
    assert changed(sampler, settings) is changed(sampler, settings) and changed(sampler, settings).rail.length == 4.0
    assert changed(sampler.change({"title": "another"}), settings) is not changed(sampler, settings)


def test_names_as_values__are_words(sampler):
    swept = sweep(sampler, {"air.wind.profile": ["uniform", "power"]}, 1, keep="apogee_height", threads=1, progress=False)
    assert swept.air_wind_profile.values.tolist() == ["uniform", "power"] and set(swept.data_vars) == {"apogee_height", "mission", "status"}


SOUNDED = {
    "disperse.wind.speed": None,
    "disperse.wind.blows_from": None,
    "air.wind": {"profile": "table", "table": [["0 m", "2 m/s", "200 deg"], ["20 m", "4 m/s", "220 deg"], ["600 m", "9 m/s", "260 deg"]]},
}


def test_wind_of_levels__is_scaled_and_turned_as_a_whole(sampler):
    """Held against the table written out anew: every speed times a factor, every direction plus an angle."""
    mission = sampler.change(SOUNDED)
    rows = np.array([[0.0, 2.0, 200.0], [20.0, 4.0, 220.0], [600.0, 9.0, 260.0]])
    towards = -rows[:, 1, None] * np.stack([np.sin(np.radians(rows[:, 2])), np.cos(np.radians(rows[:, 2]))], axis=1)
    at_10 = 0.5 * (towards[0] + towards[1])  # between the ground and 20 m, in components
    speed, comes_from = np.hypot(*at_10), math.degrees(math.atan2(-at_10[0], -at_10[1]))
    ds = sweep(mission, {"wind.speed": [6.0], "wind.blows_from": ["300 deg"]}, 2, seed=3, keep=KEEP, threads=1, progress=False)
    table = [[height, f"{v * 6.0 / speed} m/s", f"{(d + 300.0 - comes_from) % 360.0} deg"] for height, v, d in rows]
    whole = flown(mission.change({"air.wind.table": table}), 2)
    one = ds.isel(wind_speed=0, wind_blows_from=0)
    for name in KEEP:
        np.testing.assert_allclose(one[name].values, whole[name].values, rtol=1e-7, atol=1e-7, err_msg=name)
    lean = float(one.event_lean.sel(event="liftoff").isel(body=0, flight=0))
    draws = sixdof.stats.make_draws(mission, 1, seed=3)
    azimuth = float(mission.rail.azimuth + draws["rail.azimuth"][0]) if "rail.azimuth" in draws else mission.rail.azimuth
    elevation = float(mission.rail.elevation + draws["rail.elevation"][0]) if "rail.elevation" in draws else mission.rail.elevation
    assert lean == pytest.approx(math.atan2(math.cos(elevation) * math.cos(azimuth - math.radians(300.0)), math.sin(elevation)), abs=FINE)


def test_dispersed_factor__gives_way_to_a_wind_speed(sampler):
    mission = sampler.change({"disperse.wind.factor": {"sd": 0.2}, "disperse.wind.turn": {"sd": "10 deg"}})
    ds = fly_conditions(mission, [{}, {"wind.speed": 5.0, "wind.blows_from": 0.0}], 2, seed=1, threads=1, progress=False)
    assert (ds.wind_factor.isel(condition=1) == 1.0).all() and (ds.wind_turn.isel(condition=1) == 0.0).all()
    assert (ds.wind_factor.isel(condition=0) != 1.0).all() and (ds.wind_speed.isel(condition=1) == 5.0).all()


def test_canard__whose_paths_are_drawn(capsys):
    mission = stranger("canard")
    swept = sweep(mission, {"wind.speed": [2.0, 6.0]}, 2, seed=3, keep=KEEP, threads=1, progress=False)
    whole = flown(bare(mission, "wind.speed").change({"air.wind.speed": 6.0}), 2)
    same(swept.sel(wind_speed=6.0), whole)


@pytest.mark.parametrize(
    ("grid", "said"),
    [
        ({"wind.speeed": [1.0]}, "wind.speeed"),
        ({"wind.speed": "2 m/s"}, "list of values"),
        ({"wind.speed": []}, "has no values"),
        ({"wind.speed": ["2 kg"]}, "wind.speed"),
        ({"wind.speed": [-2.0]}, "less than 0"),
        ({"rail.elevation": ["97 deg"]}, "rail, key elevation"),
        ({"motor.impulse of nobody": [1.0]}, "nobody"),
        ({"wind.speed of thistledown": [1.0]}, "omit"),
    ],
)
def test_grid__that_cannot_be_is_refused_in_a_sentence(sampler, grid, said):
    with pytest.raises((TypeError, ValueError), match=said) as caught:
        sweep(sampler, grid, 1, progress=False)
    assert "\n" not in str(caught.value).strip()


def test_keep__names_what_there_is(sampler):
    with pytest.raises(ValueError, match="keep: there is no variable"):
        sweep(sampler, {"wind.speed": [1.0]}, 1, keep=["apogee"], threads=1, progress=False)


def test_keeping__a_killed_study_goes_on(sampler, tmp_path, monkeypatch):
    """Killed after the first of two groups: the second call flies what is missing, and the third nothing."""
    from sixdof.study.sweep import sweep as module

    conditions = [{}, {"rail.length": "4 m"}, {"wind.speed": 6.0}]
    folder = tmp_path / "flights"
    whole = fly_conditions(sampler, conditions, 3, seed=3, threads=1, progress=False)
    flown_rows, fly_rows = [], module.fly_rows

    def killed(mission, table, *given, **more):
        if flown_rows:
            raise KeyboardInterrupt
        flown_rows.append(table.sizes["flight"])
        return fly_rows(mission, table, *given, **more)

    monkeypatch.setattr(module, "fly_rows", killed)
    with pytest.raises(KeyboardInterrupt), keeping(folder):
        fly_conditions(sampler, conditions, 3, seed=3, threads=1, progress=False)
    monkeypatch.undo()
    assert len(list(folder.glob("*.zarr"))) == 1
    for _ in range(2):
        with keeping(folder):
            again = fly_conditions(sampler, conditions, 3, seed=3, threads=1, progress=False)
        assert len(list(folder.glob("*.zarr"))) == 2
        for k in range(3):
            same(again.isel(condition=k), whole.isel(condition=k))


def test_keeping__what_was_flown_is_not_flown_again(sampler, tmp_path, monkeypatch):
    from sixdof.ensemble import block_runner

    args = dict(seed=3, threads=1, progress=False)
    with keeping(tmp_path / "flights"):
        first, whole = sweep(sampler, {"wind.speed": [2.0, 5.0]}, 40, **args), flown(sampler, 40)
        monkeypatch.setattr(block_runner.FlightRunner, "fly", lambda self, draws, block, **_: pytest.fail("flown again") if len(draws.common) > 1 else None)
        same(sweep(sampler, {"wind.speed": [2.0, 5.0]}, 40, **args), first)
        same(flown(sampler, 40), whole)
    monkeypatch.undo()
    assert len(list((tmp_path / "flights").glob("*.zarr"))) == 2
    flown(sampler, 3)  # outside it nothing is kept
    assert len(list((tmp_path / "flights").glob("*.zarr"))) == 2


def test_keeping__wants_a_folder(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(FileExistsError, match="is a file"), keeping(tmp_path / "file"):
        pass
    with pytest.raises(FileNotFoundError, match="does not exist"), keeping(tmp_path / "no" / "folder"):
        pass
