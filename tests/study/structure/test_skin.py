"""Skin temperatures: recovery and films against published numbers, conduction in closed form, and the study against the flights themselves."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import erfcx

import sixdof
from sixdof.study.structure.skin_flights import heated
from sixdof.study.structure.skin_heat import plate, recovery_temperature, stagnation, stagnation_pressure, viscosity
from sixdof.study.structure.skin_walls import Conduction, Wall, walls_of
from sixdof.study.variants.judging import judge_criteria
from sixdof.vehicle.geometry import shape_of


def air(speed: float, temperature: float = 288.15, pressure: float = 101325.0) -> SimpleNamespace:
    sound = math.sqrt(1.4 * 287.053 * temperature)
    return SimpleNamespace(temperature=temperature, density=pressure / (287.053 * temperature), pressure=pressure, airspeed=speed, mach=speed / sound)


def wall(depth: float, density: float, heat: float, conductivity: float) -> Wall:
    return Wall("w", "m", 1, 0, 0.1, math.nan, 0.0, False, depth, density, heat, conductivity, 400.0)


# ---------------------------------------------------------------- recovery, films


@pytest.mark.parametrize("mach, ratio", [(0.5, 1.05), (1.0, 1.2), (2.0, 1.8), (3.0, 2.8)])
def test_recovery__total_temperature_and_the_shares_of_it(mach, ratio):
    # T0/T: NACA Report 1135, tables; a layer recovers 0.843 (laminar, sqrt(0.71)) or 0.892 (turbulent) of the rise
    assert float(recovery_temperature(300.0, mach, 1.0)) == pytest.approx(300.0 * ratio, rel=1e-12)
    for factor, known in ((math.sqrt(0.71), 0.843), (0.71 ** (1 / 3), 0.892)):
        assert (float(recovery_temperature(300.0, mach, factor)) / 300.0 - 1.0) / (ratio - 1.0) == pytest.approx(known, abs=6e-4)


@pytest.mark.parametrize("mach, ratio", [(0.8, 1.0 / 0.6560), (1.0, 1.0 / 0.5283), (1.5, 3.413), (2.0, 5.640)])
def test_stagnation_pressure__of_the_tables(mach, ratio):
    assert float(stagnation_pressure(1.0, mach)) == pytest.approx(ratio, rel=2e-4)  # NACA Report 1135: p0/p, and behind a shock p02/p1


def test_film__of_a_slow_cylinder_and_sphere():
    # slow flow about a cylinder: Nu_D = 1.14 Pr^0.4 Re_D^0.5 at the stagnation line, a sphere: 1.32 Pr^0.4 Re_D^0.5 (any textbook of convection)
    slow, radius = air(5.0), 0.01
    k = viscosity(288.15) * 1004.7 / 0.71
    reynolds = slow.density * 5.0 * 2.0 * radius / viscosity(288.15)
    for sphere, known in ((False, 1.14), (True, 1.32)):
        film = stagnation(slow, radius, sphere=sphere)
        assert float(film.coefficient) * 2.0 * radius / k == pytest.approx(known * 0.71**0.4 * math.sqrt(reynolds), rel=3e-3)
        assert film.recovery == pytest.approx(288.15, abs=0.02)


def test_film__of_a_plate_by_reynolds_analogy():
    # St Pr^(2/3) = cf/2 with Blasius' 0.664/sqrt(Re) and the turbulent 0.0592/Re^0.2; skin at the temperature of a slow stream
    for speed, distance, friction in ((8.0, 0.2, lambda re: 0.664 / math.sqrt(re)), (45.0, 0.5, lambda re: 0.0592 / re**0.2)):
        slow = air(speed)
        reynolds = slow.density * speed * distance / viscosity(288.15)
        film = plate(slow, distance, 288.15)
        stanton = float(film.coefficient) / (slow.density * speed * 1004.7)
        assert stanton * 0.71 ** (2 / 3) == pytest.approx(0.5 * friction(reynolds), rel=4e-3)  # the stream warms the reference a little


def test_film__grows_as_it_should():
    fast = air(400.0)
    assert float(stagnation(fast, 0.002, sphere=True).coefficient) == pytest.approx(2.0 * float(stagnation(fast, 0.008, sphere=True).coefficient))
    swept, straight = (float(stagnation(fast, 0.002, sweep=sweep, sphere=False).coefficient) for sweep in (0.7, 0.0))
    assert swept < straight
    assert float(plate(fast, 0.1, 300.0, cone=True).coefficient) == pytest.approx(1.15 * float(plate(fast, 0.1, 300.0).coefficient))
    coefficient = [float(stagnation(air(speed), 0.002, sphere=True).coefficient) for speed in np.linspace(100.0, 600.0, 60)]
    assert (np.diff(coefficient) > 0.0).all()  # through the bridge from one gradient to the other


# ---------------------------------------------------------------- conduction


def test_conduction__thin_metal_wall_is_an_exponential():
    # T = T_r - (T_r - T_0) exp(-h t/(rho c d)), Biot number 0.001
    h, recovery, start = 200.0, 420.0, 300.0
    body = Conduction([wall(1e-3, 2700.0, 900.0, 165.0)], start)
    for _ in range(1000):
        body.step(0.01, np.array([h]), np.array([recovery]), np.zeros(1))
    known = recovery - (recovery - start) * math.exp(-h * 10.0 / (2700.0 * 900.0 * 1e-3))
    assert body.mean[0] == pytest.approx(known, abs=0.05) and body.surface[0] == pytest.approx(known, abs=0.1)


@pytest.mark.parametrize("seconds", [0.5, 2.0])
def test_conduction__thick_plastic_wall_is_a_half_space(seconds):
    # surface under a film (Carslaw and Jaeger 1959, sec. 2.7): 1 - exp(h^2 a t/k^2) erfc(h sqrt(a t)/k)
    h, density, heat, k = 400.0, 1270.0, 1200.0, 0.2
    body = Conduction([wall(4e-3, density, heat, k)], 300.0)
    for _ in range(round(seconds / 0.01)):
        body.step(0.01, np.array([h]), np.array([400.0]), np.zeros(1))
    share = 1.0 - erfcx(h * math.sqrt(k / (density * heat) * seconds) / k)
    assert (body.surface[0] - 300.0) / 100.0 == pytest.approx(share, abs=0.02)


# ---------------------------------------------------------------- flights


def test_heated__heat_that_went_in_is_heat_that_is_there(stack_mission, stack_flight):
    notes: list[str] = []
    walls = walls_of(stack_mission, None, notes)
    found = heated(stack_flight, walls, shape_of(stack_mission.stage).stage_x0, None)
    assert not notes and [one.name for one in walls][:2] == ["nose tip", "nose"]
    fast = found.time < 12.0
    steps = np.diff(found.time[fast], prepend=0.0)[:, None]
    capacity = np.array([one.density * one.specific_heat * one.depth for one in walls])
    moves = stack_flight["mach"].values > 0.05
    sound = stack_flight["airspeed"].values[moves] / stack_flight["mach"].values[moves]
    ambient = np.interp(found.time[fast], stack_flight["time"].values[moves], sound**2 / (1.4 * 287.053))[:, None]
    radiated = 0.85 * 5.67e-8 * (found.surface[fast] ** 4 - ambient**4)
    entered = np.sum((found.flux[fast] - radiated) * steps, axis=0)
    stored = capacity * (found.mean[fast][-1] - found.mean[0])
    own = [one.stage == 0 for one in walls]  # the booster falls through air of its own
    assert entered[own] == pytest.approx(stored[own], rel=1e-3)  # ambient air to 0.1 K


def test_skin_temperature__recovery_is_that_of_the_flight(demo_mission):
    flights = sixdof.disperse(demo_mission, 3, seed=3, progress=False)
    ds = sixdof.workshop.skin_temperature(flights, progress=False)
    for row in range(3):
        again = sixdof.refly(flights, row)
        sound = again["airspeed"] / again["mach"]
        total = (sound**2 / (1.4 * 287.053) * (1.0 + 0.2 * again["mach"] ** 2)).where(again["mach"] > 0.05)
        assert float(ds["recovery_temperature"].sel(wall="nose tip")[row]) == pytest.approx(float(total.max()), abs=0.3)
    assert (ds["skin_temperature"] <= ds["recovery_temperature"] + 0.5).all() and (ds["wall_temperature"] <= ds["skin_temperature"] + 1.0).all()
    assert ds["skin_reserve"].values == pytest.approx((ds["service_temperature"] - ds["skin_temperature"]).min("wall").values)
    text = str(sixdof.report(ds))
    assert "Nothing gets too hot: the nearest is nose tip" in text and "petg bears 70 degC" in text and "nan" not in text and "not a clearance" in text


def test_skin_temperature__start_and_tip_are_the_users(demo_mission):
    warm = sixdof.workshop.skin_temperature(demo_mission, 1, initial="65 degC", tip_radius="1 mm", progress=False)
    assert float(warm["wall_temperature"].min()) >= 338.0
    assert "as given" in str(sixdof.report(warm))
    soft = demo_mission.change({"stage.0.part.0.material": "pla"})
    text = str(sixdof.report(sixdof.workshop.skin_temperature(soft, 1, initial="65 degC", progress=False)))
    assert "nose, pla: in 100 % of flights the surface passes the 55 degC that it bears" in text and "it softens" in text


def test_skin_temperature__measures_and_refusals(demo_mission):
    asked = ["skin_temperature_max < 70 degC in 60 % of flights", "skin_reserve > 60 K in 60 % of flights"]
    verdicts = judge_criteria(sixdof.compare({"demo": demo_mission}, 2, seed=3, criteria=asked, progress=False))
    assert verdicts["observed"].values.ravel() == pytest.approx([1.0, 0.0])
    with pytest.raises(ValueError, match=r'skin_temperature: tip_radius = "3 kg": .*unit'):
        sixdof.workshop.skin_temperature(demo_mission, 1, tip_radius="3 kg")
    parts = {
        f"stage.0.part.{k}": {"material": None, "mass": "100 g"}
        for k in range(len(demo_mission.stage[0].part))
        if hasattr(demo_mission.stage[0].part[k], "material")
    }
    bare = {f"{path}.{key}": value for path, keys in parts.items() for key, value in keys.items() if demo_mission.stage[0].part[int(path[13:])].material}
    with pytest.raises(ValueError, match=r"says no material, so its specific heat is not known; give material"):
        sixdof.workshop.skin_temperature(demo_mission.change(bare), 1, progress=False)


def test_page__of_a_vehicle_that_stays_on_the_rail_tells_nothing(demo_mission):
    heavy = demo_mission.change({"stage.0.part.air sampler.mass": "60 kg"})
    text = str(sixdof.report(sixdof.workshop.skin_temperature(heavy, 2, progress=False)))
    assert "Nothing is told: none of 2 flights leaves the rail." in text and "nan" not in text
