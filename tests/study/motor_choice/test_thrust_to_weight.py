"""Thrust over weight against a sum over the curve in the CSV and the masses weighed out in the mission file."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.study.motor_choice.thrust_to_weight import liftoff_mass, thrust_to_weight
from sixdof.study.reading.result import event_values

G0 = 9.80665


def curve_of(path):
    rows = [line.split(";") for line in path.read_text().splitlines() if line and line[0].isdigit()]
    return np.array(rows, dtype=float).T


def mean_thrust(time, force, start, end):
    """The mean of straight lines between points, by the trapezoids of 200,000 steps."""
    t = np.linspace(start, end, 200_001)
    f = np.interp(t, time, force, right=0.0)
    return np.sum(0.5 * (f[1:] + f[:-1]) * np.diff(t)) / (end - start)


@pytest.fixture(scope="module")
def drawn(stack_mission):
    return sixdof.disperse(stack_mission, 4, seed=2, tracks="none", progress=False)


def test_weight__is_that_of_the_flights_own_log(stack_mission, drawn):
    """The mass that the kernel flies with at ignition."""
    first = [float(sixdof.refly(drawn, k).mass[0]) for k in range(2)]
    assert liftoff_mass(stack_mission, drawn)[:2] == pytest.approx(first, rel=1e-9)


def test_weight__of_the_mission_as_written_is_the_sum_of_its_parts(stack_mission):
    calm = sixdof.disperse(stack_mission.change({"disperse": {}}), 1, tracks="none", progress=False)
    total = sum(row.mass for row in sixdof.parts.part_masses(stack_mission, [0, 1]))
    assert liftoff_mass(stack_mission, calm)[0] == pytest.approx(total, rel=1e-12)


def test_ratios__by_hand_from_the_csv_and_what_was_drawn(stack_path, stack_mission, drawn):
    """Scaled as drawn: the impulse factor over the burn factor on thrust, the burn factor on time."""
    time, force = curve_of(stack_path.parent / "motors" / "mesa-i.csv")
    found = thrust_to_weight(stack_mission, drawn)
    for k in range(4):
        one = drawn.isel(flight=k)
        impulse, burn = (float(one[name].sel(stage="drayhorse")) for name in ("motor_impulse", "motor_burn_time"))
        weight = G0 * liftoff_mass(stack_mission, drawn)[k]
        stretched, scaled = time * burn, force * impulse / burn
        left, gone = (event_values(drawn, name)[k] for name in ("rail_departure", "liftoff"))
        assert found["thrust_to_weight_rail"][k] == pytest.approx(mean_thrust(stretched, scaled, gone, left) / weight, rel=1e-6)
        assert found["thrust_to_weight_start"][k] == pytest.approx(mean_thrust(stretched, scaled, 0.0, 0.5) / weight, rel=1e-6)


def test_rail__speed_follows_from_the_mean_thrust(stack_mission, drawn):
    """m v = the impulse of the mean thrust, less weight along the rail, friction and drag: between 94 and 100 % of what thrust and weight alone give."""
    found = thrust_to_weight(stack_mission, drawn)["thrust_to_weight_rail"]
    on_rail = event_values(drawn, "rail_departure") - event_values(drawn, "liftoff")
    alone = (found - np.sin(stack_mission.rail.elevation)) * G0 * on_rail
    share = drawn.rail_departure_speed.values / alone
    assert ((share > 0.94) & (share < 1.02)).all()  # above 1 by what propellant burns on the rail, and by the thinner air's thrust


def test_average__is_that_of_the_data_sheet_over_the_weight(stack_mission):
    calm = sixdof.disperse(stack_mission.change({"disperse": {}}), 1, tracks="none", progress=False)
    average = sixdof.parts.motor_facts(stack_mission.motor["mesa-i"]).average_thrust
    assert thrust_to_weight(stack_mission, calm)["thrust_to_weight_average"][0] == pytest.approx(average / (G0 * liftoff_mass(stack_mission, calm)[0]))
