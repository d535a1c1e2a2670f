"""The flight computer's tables: their faults, what is sound, and `change` on every path of them."""

from __future__ import annotations

import math
import re

import pytest
from fault_cases_flight import FLIGHT, POINT, PROFILE, SERVO, autopilot, servo, tables

from sixdof.core.actuator import ISSUED
from sixdof.core.computer.sensors import HISTORY
from sixdof.core.flight.step import FALL_STRIDE as KERNEL_STRIDE
from sixdof.mission.checks.across import FALL_STRIDE, LONGEST_DELAY, LONGEST_LATENCY
from sixdof.mission.errors import MissionError
from sixdof.mission.load import loads_mission
from sixdof.mission.units import parse


@pytest.mark.parametrize("name", FLIGHT)
def test_fault__says_where_what_and_what_would_be_right(broken, name):
    old, new, key, message, hint = FLIGHT[name]
    with pytest.raises(MissionError) as caught:
        loads_mission(broken((old, new)))
    found = {fault.key: fault for fault in caught.value.faults}
    assert key in found, str(caught.value)
    assert message in found[key].message and hint in found[key].hint
    assert str(found[key]).count("\n") == 0


def test_clock__counts_as_the_kernels_do():
    assert LONGEST_DELAY == ISSUED - 2 and LONGEST_LATENCY == HISTORY - 1 and FALL_STRIDE == KERNEL_STRIDE


def test_barometer_loop__is_refused_where_its_matrix_grows(text):
    """Errors of height and climb rate, followed through 4000 readings under a canopy: they die away just below the limit and grow just above."""
    period = KERNEL_STRIDE / 100.0
    for share in (0.05, 0.5, 0.9):
        said = str(_refused(loads_mission(text), share, 1000.0))
        limit = float(re.search(r"less than ([\d.]+) 1/s", said)[1])
        for gain, grows in ((0.98 * limit, False), (1.02 * limit, True)):
            height, climb = 1.0, 0.0
            for _ in range(4000):
                height += climb * period
                gap = -height
                height, climb = height + share * gap, climb + gain * gap
                if abs(height) > 1e6:
                    break
            assert (abs(height) > 1.0) == grows, (share, gain, height)
            assert (_refused(loads_mission(text), share, gain) is not None) == grows


def _refused(mission, share, gain):
    try:
        mission.change({"sensors.gyro": {}, "estimator.baro_position": share, "estimator.baro_velocity": gain, "autopilot.rate": "100 Hz"})
    except MissionError as error:
        return error


SOUND = {
    "fast servo in small steps": (SERVO, 'natural_frequency = "70 Hz"\n[solver]\nsteps_per_tick = 3'),
    "longest delay": servo('delay = "0.62 s"'),
    "longest latency": tables('[sensors.receiver]\nlatency = "2.55 s"'),
    "latency of a slow computer": (
        "[autopilot.profile]",
        '[sensors.receiver]\nlatency = "6 s"\n[sensors.barometer]\nrate = 9\n[autopilot]\nrate = "40 Hz"\n[autopilot.profile]',
    ),
    "waypoint above the floor": tables('[guidance]\nminimum_height = "20 m"\n' + POINT + "20.1"),
    "profile over height": (PROFILE, 'over = "height"\nheight = ["0 m", "90 m"]\ntilt_pitch = [0, 0.1]'),
    "profile over the mode's time": (PROFILE, PROFILE + '\nover = "mode_time"'),
    "cascade": autopilot('structure = "cascade"\npitch = { p = 5, d = "0.1 s" }\nrate_limit = "60 deg/s"'),
    "schedule over Mach beside gain_reference_q": autopilot(
        'schedule = [{ at = 0.1, pitch = { p = 1 } }, { at = 0.5 }]\nschedule_over = "mach"\ngain_reference_q = 5000'
    ),
    "derivative of a filtered error": autopilot('derivative = "error"\nfilter = "20 ms"'),
    "with a booster": autopilot("with_booster = { pitch = { p = 1 } }"),
    "three fins failed": autopilot("known_failed = [1, 2, 4]"),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound__and_the_same_after_a_round_trip(broken, name):
    mission = loads_mission(broken(SOUND[name]))
    assert loads_mission(mission.to_toml()) == mission


@pytest.mark.parametrize("written", ["0.01 deg/s/sqrt(Hz)", "0.01 deg/s/Hz^0.5", "0.01 deg/s/√Hz", "0.01 deg / s / sqrt(Hz)", "0.01 deg/s/Hz**0.5"])
def test_noise_density__spellings(written):
    assert parse(written, "rad/s/Hz**0.5") == pytest.approx(math.radians(0.01), rel=4e-16)


def test_noise_density__of_accelerations():
    # standard gravity is 9.80665 m/s^2 by definition (3rd CGPM, 1901)
    assert parse("100 um/s^2/sqrt(Hz)", "m/s**2/Hz**0.5") == 1e-4
    assert parse("2 gravity", "m/s**2") == 19.6133


CHANGES = {
    "servo.delay": "8 ms",
    "servo.backlash": "0.3 deg",
    "servo.stall_torque": "0.2 N*m",
    "servo.failure": [{"fin": 2, "kind": "dead", "time": "1 s"}],
    "sensors.gyro.noise": "0.01 deg/s/sqrt(Hz)",
    "sensors.gyro.bias": "0.1 deg/s",
    "sensors.accelerometer.range": "160 m/s^2",
    "sensors.barometer.lag": "50 ms",
    "sensors.receiver.rate": "10 Hz",
    "sensors.magnetometer.dip": "60 deg",
    "estimator.heading": "1 deg",
    "guidance.mode": "hold",
    "guidance.slew_limit": "20 deg/s",
    "guidance.waypoint": [{"east": 1, "north": 2, "height": 90}],
    "autopilot.schedule": [{"at": 1.0, "pitch": {"p": 1.0}}, {"at": 2.0}],
    "autopilot.with_booster.pitch.p": 0.2,
    "autopilot.structure": "cascade",
    "autopilot.priority": "pitch",
    "autopilot.known_failed": [3],
    "autopilot.profile.join": "smooth",
}


@pytest.mark.parametrize("path", CHANGES)
def test_change__reaches_every_table(text, path):
    mission = loads_mission(text)
    changed = mission.change({path: CHANGES[path]})
    assert changed != mission
    assert loads_mission(changed.to_toml()) == changed


def test_change__reaches_into_lists(broken):
    mission = loads_mission(broken(tables(POINT + "90\n" + POINT + "99"))).change({"servo.failure": [{"fin": 1}], "autopilot.schedule": [{"at": 1.0}]})
    changed = mission.change({"guidance.waypoint.1.height": "120 m", "servo.failure.0.time": "2 s", "autopilot.schedule.0.yaw.d": 0.1})
    assert changed.guidance.waypoint[1].height == 120.0
    named = mission.change({"guidance.waypoint.1.name": "the second"})
    assert named.change({"guidance.waypoint.the second.height": "120 m"}) == named.change({"guidance.waypoint.1.height": "120 m"})

    assert changed.servo.failure[0].time == 2.0 and changed.autopilot.schedule[0].yaw.d == 0.1
    with pytest.raises(MissionError, match="waypoint 7.*counted from 0"):
        mission.change({"guidance.waypoint.7.height": "120 m"})


def test_waypoint__is_named_or_counted_from_1_in_a_fault(broken):
    where = "[guidance]\n" + POINT + "80\n" + POINT + "3\n" + 'name = "low"\n' + POINT + "4\n"
    old, new = tables(where)
    with pytest.raises(MissionError) as caught:
        loads_mission(broken((old, new)))
    starts = [str(fault)[: str(fault).index(", key")] for fault in caught.value.faults]
    assert starts == ['waypoint "low"', "waypoint 3"]


def test_change__is_checked_across_tables(text):
    with pytest.raises(MissionError, match="more than the autopilot's rate, 50 Hz"):
        loads_mission(text).change({"sensors.barometer.rate": "100 Hz", "autopilot.rate": "50 Hz"})
