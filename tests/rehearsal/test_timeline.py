"""Rehearsals whose firing times are stated by hand, and flights rehearsed from what their computers sensed."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsed import SECOND, SECOND_END, TOP, leaning, profile
from staged import RULES, stack
from two_stages import booster

import sixdof
from sixdof.mission.load import build_mission
from sixdof.study.report.rehearsal_report import timeline

TICK = 0.01  # s, of the demo's flight computer
EXACT = pytest.approx  # ticks are k/100 s to rounding
LATER = [
    {"name": "fins on", "when": "ignition", "stage": "thistledown", "delay": 0.2, "action": "enable_fins"},
    {"name": "steer", "when": "burnout", "stage": "thistledown", "action": "guide_hold"},
    {"name": "fins off", "when": "apogee", "action": "disable_fins"},
]


@pytest.fixture(scope="module")
def mission(demo_mission):
    return stack(demo_mission, rules=[*RULES, *LATER], joint={"delay": 0.02})


@pytest.fixture(scope="module")
def done(mission):
    return sixdof.rehearse(mission, profile())


def fired(ds):
    return dict(zip(ds["rule"].values.tolist(), ds["rule_fired"].values.tolist()))


def test_profile__every_rule_fires_when_it_can_be_worked_out_by_hand(done):
    want = {
        "part": 2.0 + 0.5,  # burnout, delay
        "light": 2.52 + 0.3,  # the joint lets go 20 ms after the command
        "fins on": SECOND + 0.2,
        "steer": SECOND_END,
        "fins off": TOP + TICK,  # the first tick at which the climb rate is negative
        "deploy drogue: apogee": TOP + TICK + 0.5,
        "deploy drogue: backup": 0.5 + 16.0,
        "deploy main: falling through": 29.01,  # 480.1 m - 20 m/s (t - 12.5 s) = 150 m at 29.005 s
        "deploy booster main: apogee": np.nan,  # the booster's own altimeter
    }
    assert fired(done) == EXACT(want, abs=1e-9, nan_ok=True)
    assert done["rule_acted"].values.tolist() == [1, 1, 1, 1, 1, 1, 0, 1, 0]


def test_profile__what_was_noticed(done):
    assert float(done["liftoff_noticed"]) == EXACT(0.5)
    # rail of 3 m at 86 deg: the aft guide, 120 mm above the foot of the demo, leaves within the first 3 m of the way
    assert 0.5 < float(done["rail_departure_noticed"]) <= 0.5 + 3.0 / 40.0 + TICK
    assert done["ignition_noticed"].values == EXACT([0.5, SECOND])
    assert done["burnout_noticed"].values == EXACT([2.0, SECOND_END])
    assert done["separation_noticed"].values == EXACT([2.52])
    assert float(done["apogee_noticed"]) == EXACT(TOP + TICK)
    assert done["ignition_commanded"].values == EXACT([2.82, np.nan], nan_ok=True)
    assert done["separation_commanded"].values == EXACT([np.nan, 2.5], nan_ok=True)
    assert done["deployment_commanded"].values == EXACT([TOP + TICK + 0.5, 29.01, np.nan], nan_ok=True)


def test_profile__states_over_time(done):
    time = done["time"].values
    live = (time > SECOND + 0.2 - 1e-9) & (time < TOP + TICK - 1e-9)
    assert np.array_equal(done["fins_live"].values == 1, live)
    assert np.array_equal(done["attached"].values, (time < 2.52 - 1e-9).astype(int))
    assert np.array_equal(done["guidance_mode"].values, np.where(time > SECOND_END - 1e-9, 2, 0))
    assert not done["fin_command"].values[~live].any()
    assert done["sensed"].sel(reading="height").values == EXACT(profile()["height"], abs=1e-9)


def test_profile__nothing_misfires_and_the_backup_came_second(done):
    assert done["misfire"].values.tolist() == []
    assert done["remark"].values.tolist() == ["deploy drogue: backup fires at 16.50 s without effect: deploy drogue: apogee did it at 13.01 s"]


def test_profile__dataset_survives_the_disk_and_says_what_its_variables_are(done, tmp_path):
    again = sixdof.open_result(sixdof.save(done, tmp_path / "rehearsal.nc"))
    assert again.identical(done)
    for name, variable in done.data_vars.items():
        assert variable.attrs["long_name"] and variable.attrs["units"], name
    assert sixdof.parts.loads_mission(done.attrs["mission"]).stage[1].name == "booster"


def test_profile__a_rehearsal_can_be_rehearsed(mission, done):
    again = sixdof.rehearse(mission, done)
    assert again["rule_fired"].values == EXACT(done["rule_fired"].values, nan_ok=True)


def test_timeline__is_in_order_and_says_what_was_sensed(done):
    text = timeline(done)
    lines = text.splitlines()
    rows = [line.split() for line in lines if line[:11].strip().replace(".", "").isdigit()]
    times = [float(row[0]) for row in rows]
    assert times == sorted(times) and len(times) >= 15
    light = next(line for line in lines if "light fires" in line)
    assert light.split()[:3] == ["2.82", "92.9", "40.0"]  # 40 m/s (2.82 s - 0.5 s) + 0.1 m
    assert "nothing misfired" in text and "backup fires at 16.50 s" in text
    assert "never a clearance" in text or "not a clearance" in text


def test_timeline__takes_a_rehearsal_only(demo_flight):
    with pytest.raises(ValueError, match="as sixdof.rehearse returns it"):
        timeline(demo_flight)


# ---------------------------------------------------------------- scripts and what they omit


def test_left_out__velocity_follows_from_height_and_height_from_the_barometer(mission, done):
    bare = profile(velocity_up=None)
    bare["baro_height"] = bare.pop("height")
    ds = sixdof.rehearse(mission, bare)
    # the rate is the mean over the neighbours: at the top it is (40 - 20)/2 m/s, and a tick later it is negative
    assert fired(ds) == EXACT(fired(done), abs=1e-9, nan_ok=True)


def test_left_out__height_is_the_integral_of_the_climb_rate(mission):
    ds = sixdof.rehearse(mission, profile(height=None))
    top = float(ds["sensed"].sel(reading="height").max())
    # 40 m/s for 12 s and half a tick of 40 m/s as it jumps, half a tick at the mean of 40 and -20 m/s
    assert top == EXACT(40.0 * 12.0 + 0.5 * TICK * 40.0 + TICK * 0.5 * 20.0, abs=1e-6)


def test_left_out__attitude_and_force_are_those_of_the_rail(mission):
    ds = sixdof.rehearse(mission, profile(specific_force_x=None))
    assert np.degrees(ds["sensed_tilt"].values) == EXACT(4.0, abs=1e-9)  # elevation 86 deg
    force = [float(ds["sensed"].sel(reading=f"specific_force_{axis}")[0]) for axis in "xyz"]
    assert force[0] == EXACT(9.80665 * np.sin(np.radians(86.0))) and np.linalg.norm(force) == EXACT(9.80665)
    assert any("because the script has no column specific_force_x" in text for text in ds["misfire"].values)


def test_left_out__the_vehicle_on_a_bench_notices_nothing(mission):
    ds = sixdof.rehearse(mission, {"time": [0.0, 30.0]})
    assert np.isnan(ds["rule_fired"].values).all() and np.isnan(ds["liftoff_noticed"])
    assert "light never fires: liftoff is never sensed" in ds["misfire"].values
    assert "nothing is noticed" in timeline(ds)


def test_csv__units_in_the_heads(mission, done, tmp_path):
    columns = profile()
    rows = np.column_stack([1000.0 * columns["time"], columns["height"] / 0.3048, columns["velocity_up"], columns["specific_force_x"]])
    path = tmp_path / "script.csv"
    head = "# made by hand\ntime (ms), height [ft], velocity up (m/s), specific_force_x (m/s^2)\n"
    path.write_text(head + "\n".join(", ".join(f"{value:.9f}" for value in row) for row in rows))
    ds = sixdof.rehearse(mission, path)
    assert fired(ds) == EXACT(fired(done), abs=1e-9, nan_ok=True)
    assert ds.attrs["script"] == str(path)


def test_booster__the_script_may_tell_of_the_wires(mission):
    ds = sixdof.rehearse(mission, profile(booster=lambda t: (t < 2.705).astype(float)))
    assert ds["separation_noticed"].values == EXACT([2.71])  # held from the row before, not taken half-way
    assert fired(ds)["light"] == EXACT(2.71 + 0.3)


def test_attitude__signs_of_the_quaternion_do_not_matter(mission):
    time = np.arange(0.0, 40.1, 0.5)
    tilt = np.linspace(0.05, 1.0, len(time))
    plain = leaning(tilt)
    sign = np.where(np.arange(len(time)) % 2, -1.0, 1.0)
    flipped = {name: sign * values for name, values in plain.items()}
    a, b = (sixdof.rehearse(mission, {"time": time, **q}) for q in (plain, flipped))
    assert a["sensed_tilt"].values == EXACT(b["sensed_tilt"].values, abs=1e-9)
    # steps of 0.01 rad between rows: the mean of two unit quaternions leans half-way
    assert a["sensed_tilt"].values == EXACT(np.interp(a["time"].values, time, tilt), abs=1e-6)


# ---------------------------------------------------------------- debounce


@pytest.mark.parametrize(("debounce", "expected"), [(0.0, 8.01), (0.3, TOP + 0.16 + 0.3)])
def test_debounce__a_spike_of_the_barometer(demo_mission, debounce, expected):
    """A pressure spike reads 30 m too low for 0.15 s in the climb; 3 m of drop are sensed 0.15 s after the top at 20 m/s."""
    detection = {"apogee": "barometer", "apogee_drop": 3.0, "apogee_debounce": debounce}
    mission = stack(demo_mission, rules=[*RULES, *LATER], changes={"detection": detection})
    columns = profile()
    time = columns["time"]
    spike = np.where((time > 8.005) & (time < 8.155), 30.0, 0.0)
    ds = sixdof.rehearse(mission, columns | {"baro_height": columns["height"] - spike})
    # the first tick below the top by more than 3 m is the one after 12.65 s
    assert float(ds["apogee_noticed"]) == EXACT(expected, abs=1e-9)
    early = [text for text in ds["misfire"].values if text.startswith("drogue is deployed")]
    # a drogue released after a false apogee is too fast; without one nothing is said
    assert len(early) == (1 if debounce == 0.0 else 0)


# ---------------------------------------------------------------- flights


def test_flight__rehearsed_tick_for_tick(mission):
    """What the computer of a flight sensed makes it fire when it did; under a canopy a flight looks every fifth tick only."""
    flown = sixdof.fly(mission)
    first = float(np.nanmin(flown["rule_fired"].sel(rule=["deploy drogue: apogee", "deploy drogue: backup"]).values))
    for ds in (sixdof.rehearse(mission), sixdof.rehearse(mission, flown)):
        own = ds["rule_stage"].values == "thistledown"
        want, found = flown["rule_fired"].values[own], ds["rule_fired"].values[own]
        assert np.isfinite(want).all()
        late = want > first + 1e-9
        assert found[~late] == EXACT(want[~late], abs=TICK + 1e-9)
        assert found[late] == EXACT(want[late], abs=5 * TICK + 1e-9)
        assert ds["rule_acted"].values[own].tolist() == flown["rule_acted"].values[own].tolist()


def test_flight__flown_for_the_rehearsal_gives_its_very_ticks_in_the_climb(mission):
    flown = sixdof.fly(mission.change({"record.rate": "100 Hz"}))
    ds = sixdof.rehearse(mission)
    climb = ["part", "light", "fins on", "steer"]  # from the drogue on the flight looks every fifth tick
    assert ds["rule_fired"].sel(rule=climb).values == EXACT(flown["rule_fired"].sel(rule=climb).values, abs=1e-12)
    up = ds["time"].values < float(flown["event_time"].isel(body=0).sel(event="deployment drogue")) - 1e-9
    both = flown.sel(time=ds["time"].values[up], method="nearest")
    # the built-in law on the same readings gives the same demands: all that differs is the mixer of the vehicle with its booster
    for name in ("roll_demand", "pitch_demand", "yaw_demand"):
        assert ds[name].values[up] == EXACT(both[name].values, abs=1e-12), name


def test_flight__with_a_failure(demo_mission):
    failures = [{"kind": "no_separation", "of": "booster", "probability": 0.0}]
    mission = stack(demo_mission, failures=failures)
    name = "no_separation: booster"
    ds = sixdof.rehearse(mission, failures=[name])
    recorded = sixdof.rehearse(mission, sixdof.fly(mission), failures=[name])  # this recording tells of a separation
    for each in (ds, recorded):
        assert (each["attached"].values == 1).all()
        assert np.isnan(each["ignition_commanded"].values).all()
        assert any("booster is commanded to separate" in text and "separation fails" in text for text in each["misfire"].values)


def test_altimeter__of_the_booster(mission):
    flown = sixdof.fly(mission)
    ds = sixdof.rehearse(mission, stage="booster")
    main = "deploy booster main: apogee"
    assert float(ds["rule_fired"].sel(rule=main)) == EXACT(float(flown["rule_fired"].sel(rule=main)), abs=TICK + 1e-9)
    assert np.isnan(ds["rule_fired"].drop_sel(rule=main).values).all()  # rows of others never fire
    assert "fins_live" not in ds and ds["misfire"].values.tolist() == []
    assert "booster's altimeter" in timeline(ds)
    assert ds["separation_noticed"].values == EXACT(flown["separation_time"].values, abs=TICK + 1e-9)


def test_three_stages__each_separation_follows_its_command(demo_mission):
    """A flight's flag `booster` tells only when the last of two has gone: the rehearsal takes the commands for the wires."""
    tables = stack(demo_mission).model_dump()
    first = booster().model_dump() | {"name": "first", "joint": {"impulse": 3.0}}
    for part in first["part"]:
        part |= {"fore_diameter": 0.1} if part["kind"] == "transition" else {}
        part |= {"name": "first fins"} if part["kind"] == "fins" else {}
    tables["stage"] = [*tables["stage"], first]
    tables["rule"] = [
        {"name": "part 1", "when": "burnout", "delay": 0.5, "action": "separate"},
        {"name": "light 2", "when": "separation", "stage": "first", "delay": 0.3, "action": "ignite", "target": "booster"},
        {"name": "part 2", "when": "burnout", "stage": "booster", "delay": 0.5, "action": "separate", "target": "booster"},
        {"name": "light 3", "when": "separation", "stage": "booster", "delay": 0.3, "action": "ignite", "target": "thistledown"},
    ]
    mission = build_mission(**tables)
    flown = sixdof.fly(mission)
    rules = [rule["name"] for rule in tables["rule"]]
    for ds in (sixdof.rehearse(mission), sixdof.rehearse(mission, flown)):
        assert ds["rule_fired"].sel(rule=rules).values == EXACT(flown["rule_fired"].sel(rule=rules).values, abs=TICK + 1e-9)
        assert ds["separation_noticed"].values == EXACT(np.sort(flown["separation_time"].values) + TICK, abs=TICK + 1e-9)
        assert set(ds["attached"].values) == {0, 1, 2}
        assert not any("still attached" in text or "still sensed" in text for text in ds["misfire"].values)
    altimeter = sixdof.rehearse(mission, stage="booster")
    # a flight's flag is all that its altimeter is told here: it learns of both separations as the last stage above it goes
    last = float(flown["separation_time"].sel(joint="booster")) + TICK
    assert altimeter["separation_noticed"].values == EXACT([last, last], abs=TICK + 1e-9)


def test_motor_delay__counts_from_the_end_of_the_thrust_curve(demo_mission):
    """The demo's H motor burns to 1.65 s (last row of its curve); a pyrotechnic delay of 9 s."""
    recovery = [entry.model_dump() for entry in demo_mission.recovery]
    recovery[0]["motor_delay"] = 9.0
    ds = sixdof.rehearse(demo_mission.change({"recovery": recovery}), profile())
    assert fired(ds)["deploy drogue: motor delay"] == EXACT(1.65 + 9.0, abs=TICK + 1e-9)


# ---------------------------------------------------------------- laws of one's own


def test_law__plain_python_is_called_once_a_tick(mission):
    seen = []

    def steady(t, sensed, memory, gains, command):
        memory[0] += 1.0
        seen.append((t, sensed[4], memory[0]))
        command[1] = 0.01

    ds = sixdof.rehearse(mission, profile(end=15.0), control=steady)
    t, height, count = np.array(seen).T
    assert t == EXACT(ds["time"].values) and count.tolist() == list(range(1, len(t) + 1))
    assert height == EXACT(ds["sensed"].sel(reading="height").values)
    live = ds["fins_live"].values == 1
    assert ds["pitch_demand"].values[live] == EXACT(0.01) and not ds["pitch_demand"].values[~live].any()


def test_law__may_command_the_sequence_itself(mission):
    def sequence(t, sensed, memory, gains, command):
        command[4] = 1.0 if 1.0 <= t < 1.5 else 0.0
        command[6] = 1.0 if t >= 2.2 else 0.0
        command[7] = 1.0 if t >= 2.4 else 0.0

    ds = sixdof.rehearse(mission, profile(), control=sequence)
    assert float(ds["separation_commanded"].sel(stage="booster")) == EXACT(2.2)
    assert float(ds["ignition_commanded"].sel(stage="thistledown")) == EXACT(2.4)
    assert not ds["rule_acted"].sel(rule=["part", "light"]).any()
    assert "part fires at 2.50 s without effect: it was done already" in ds["remark"].values
    text = timeline(ds)
    assert "the control law: separate booster" in text and "the control law: enable the fins" in text


def test_law__its_own_error_is_shown(mission):
    def wrong(t, sensed, memory, gains, command):
        if t > 1.0:
            raise ZeroDivisionError("mine")

    for slot in ("guidance", "control"):
        with pytest.raises(ZeroDivisionError, match="mine"):
            sixdof.rehearse(mission, profile(), **{slot: wrong})
