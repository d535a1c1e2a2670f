"""Ejection charges against hand numbers, closed forms of expansion, and an independent integration with scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sixdof.flight.harness import ejection_impulse, ejector_of, hanging_pieces
from sixdof.mission.errors import MissionError
from sixdof.mission.tables import Charge
from sixdof.vehicle.charge import Bay, bay_of, ejection, hole_flow, pin_forces

AIR = 90e3, 1.05  # Pa, kg/m^3
BAY = Bay(4e-3, 0.5e-3)
MU = 0.5


def charge(**keys) -> Charge:
    return Charge(**{"mass": "0.4 g", "stroke": "60 mm", "free_volume": "0.5 L", "expansion_exponent": 1.2} | keys)


def test_pressure__by_hand():
    """1 g, of which 43 % is gas of 510 kJ/kg, is 219.3 J; in half a litre 438.6 kPa over the air, 63.6 psi; on 40 cm^2 1754 N."""
    found = ejection(charge(mass="1 g"), BAY, *AIR, MU)
    assert found.pressure == pytest.approx(0.43 * 510.0 / 0.5e-3, rel=1e-12) == pytest.approx(438600.0)
    assert found.pressure / 6894.757 == pytest.approx(63.61, abs=0.01)
    assert found.force == pytest.approx(1754.4, rel=1e-12)


def test_pressure__agrees_with_the_rule_of_common_practice():
    """Common practice (black powder, R 22.16 ft lbf/(lbm degR), 3307 degR): N = p V/(R T); 15 psi in 125.7 cubic inches takes 0.97 g."""
    ounces = 15.0 * 125.7 / (22.16 * 12.0 * 3307.0) * 453.59237  # g
    volume = 125.7 * 0.0254**3
    assert Charge(mass="1 g", stroke=0.05, free_volume=volume).mass * 15.0 * 6894.757 / ejection(
        Charge(mass="1 g", stroke=0.05, free_volume=volume), Bay(8e-3, volume), *AIR, MU
    ).pressure == pytest.approx(ounces * 1e-3, rel=2e-3)  # the impetus is rounded to 510 kJ/kg


@pytest.mark.parametrize("exponent", [1.0, 1.1, 1.2, 1.4])
@pytest.mark.parametrize("friction", [0.0, 30.0])
def test_speed__is_the_work_of_expansion(exponent, friction):
    """p V^n = const: isothermal p0 V0 ln(V1/V0), else p0 V0/(n - 1) (1 - (V0/V1)^(n - 1)); less the air's and the friction's work."""
    found = ejection(charge(expansion_exponent=exponent, friction=friction), BAY, *AIR, MU)
    start, end = BAY.volume, BAY.volume + BAY.area * 0.06
    p0 = AIR[0] + found.pressure
    ratio = start / end
    work = p0 * start * (math.log(1.0 / ratio) if exponent == 1.0 else (1.0 - ratio ** (exponent - 1.0)) / (exponent - 1.0))
    energy = work - (AIR[0] * BAY.area + friction) * 0.06
    assert found.speed == pytest.approx(math.sqrt(2.0 * energy / MU), rel=1e-7)  # 64 steps of Runge-Kutta: 1e-9
    assert found.impulse == pytest.approx(math.sqrt(2.0 * energy * MU), rel=1e-7)
    assert found.leaked == 0.0 and found.parted


def independent(own: Charge, bay: Bay, pressure: float, density: float, mu: float):
    """Energy of a well-stirred bay, dU = -p dV - h dm, with a choked or subsonic orifice, solved by scipy: speed, share left, time.

    The library has the gas remaining in the bay expand as p V^n; here it is the first law that says so, for n = g.
    """
    g = own.expansion_exponent
    gas = own.mass * own.gas_share + density * bay.volume
    start = pressure + own.mass * own.gas_share * own.impetus / bay.volume
    r = start * bay.volume / gas / 1000.0  # J/(kg K), with 1000 K at the start

    def rates(t, y):
        x, v, m, u = y
        volume = bay.volume + bay.area * x
        p = (g - 1.0) * u / volume
        temperature = p * volume / (m * r)
        flow = orifice(p, r * temperature, pressure) * own.vent_area
        return v, (bay.area * (p - pressure) - own.friction) / mu, -flow, -p * bay.area * v - g / (g - 1.0) * r * temperature * flow

    def out(t, y):
        return y[0] - own.stroke

    out.terminal = True
    end = solve_ivp(rates, (0.0, 1.0), (0.0, 0.0, gas, start * bay.volume / (g - 1.0)), events=out, rtol=1e-10, atol=1e-12)
    return end.y[1, -1], end.y[2, -1] / gas, end.t[-1]


def orifice(p: float, rt: float, outside: float) -> float:
    """Mass flux by Mach number at the throat: rho c M with M from the pressure ratio, 1 at most; 1.25 as the library's holes have it."""
    g = 1.25
    if p <= outside:
        return 0.0
    mach = min(math.sqrt(2.0 / (g - 1.0) * ((p / outside) ** ((g - 1.0) / g) - 1.0)), 1.0)
    still = 1.0 + 0.5 * (g - 1.0) * mach**2
    return p / rt * still ** (-1.0 / (g - 1.0)) * mach * math.sqrt(g * rt / still)


@pytest.mark.parametrize("vent", ["7 mm^2", "40 mm^2", "80 mm^2"])
def test_speed__with_leak_and_friction_is_that_of_the_first_law(vent):
    own = charge(vent_area=vent, friction=30.0, expansion_exponent=1.25)
    found = ejection(own, BAY, *AIR, MU)
    speed, left, time = independent(own, BAY, *AIR, MU)
    assert (found.speed, 1.0 - found.leaked, found.time) == pytest.approx((speed, left, time), rel=1e-6)
    assert found.leaked > 0.01 or vent == "7 mm^2"


def test_hole__choked_flow_is_that_of_the_textbook():
    """Choked: p0 sqrt(g/(R T)) (2/(g + 1))^((g + 1)/(2 (g - 1))), whatever the pressure outside; none into higher pressure."""
    g, rt = 1.25, 4e5
    choked = 3e5 * math.sqrt(g / rt) * (2.0 / (g + 1.0)) ** ((g + 1.0) / (2.0 * (g - 1.0)))
    assert hole_flow(3e5, rt, 1e5) == pytest.approx(choked, rel=1e-12) == hole_flow(3e5, rt, 2e4)
    assert hole_flow(1.001e5, rt, 1e5) == pytest.approx(math.sqrt(2.0 * 1.001e5 / rt * 100.0), rel=1e-3)  # Bernoulli
    assert hole_flow(0.9e5, rt, 1e5) == 0.0


def test_pins__hold_a_charge_too_small():
    own = charge(pins=4, pin_strength_low=100.0, pin_strength_high=150.0, friction=20.0, mass="0.29 g")  # 508.8 N against 500 N + 20 N
    held = ejection(own, BAY, *AIR, MU)
    assert (held.sheared, held.parted, held.speed, held.impulse) == (False, False, 0.0, 0.0)
    assert held.force == pytest.approx(0.29e-3 * 0.43 * 510e3 / 0.5e-3 * 4e-3) and held.pins == (400.0, 600.0)
    assert ejection(own.model_copy(update={"mass": 0.3e-3}), BAY, *AIR, MU).parted  # 526 N


def test_pins__by_diameter_and_material():
    """Common practice: a moulded nylon screw of 1.7 mm core shears at 25 to 38 lbf."""
    low, high = pin_forces(charge(pins=2, pin_diameter="1.7 mm"))
    assert (low / 2 / 4.448, high / 2 / 4.448) == pytest.approx((25.5, 38.3), abs=0.1)


def test_friction__stops_pieces_that_have_begun_to_move():
    own = charge(friction=400.0, mass="0.25 g", stroke="0.5 m")
    found = ejection(own, BAY, *AIR, MU)
    assert found.sheared and not found.parted and found.impulse == 0.0


# ---------------------------------------------------------------- in a mission


@pytest.fixture(scope="module")
def demo(stack_mission):
    return stack_mission


def test_demo__has_the_impulses_that_its_charges_are_made_for(demo):
    assert [ejection_impulse(demo, k) for k in (0, 1)] == pytest.approx([5.0, 4.0], rel=1e-3)


def test_bay__is_the_tube_where_it_separates(demo):
    bay = bay_of(demo.stage[0], demo.harness[0])
    assert bay.area == pytest.approx(0.25 * math.pi * 0.0726**2) and bay.volume == pytest.approx(0.45e-3)
    by_length = demo.change({"harness.drogue.charge.free_volume": None, "harness.drogue.charge.bay_length": "230 mm"})
    assert bay_of(by_length.stage[0], by_length.harness[0]).volume == pytest.approx(bay.area * (0.23 - 0.05 - 0.13))  # less drogue and main


def test_pieces__are_the_burnt_out_stage_that_hangs(demo):
    fore, aft = hanging_pieces(demo, 0)
    part = {getattr(each, "name", "") or each.kind: each for each in demo.stage[0].part}
    assert 0.4 + 0.25 < fore < fore + aft  # instruments and computer ride ahead
    assert part["drogue"].station > demo.harness[0].separation_station
    never = demo.change({"rule": [], "stage.drayhorse.joint.retention_force": None, "failure": [], "disperse": {}})
    assert hanging_pieces(never, 0)[1] > aft + sum(hanging_pieces(demo, 1)) - 1e-9  # a booster that nothing separates hangs there as well
    assert hanging_pieces(never, 0)[0] == pytest.approx(fore)


def test_impulse__thinner_air_gives_more(demo):
    low, high = (ejector_of(demo, 0).fire(air=air).impulse for air in (AIR, (30e3, 0.45)))
    assert 1.02 < high / low < 1.1  # less air to push back


def test_impulse__is_what_flies(demo):
    """The kernel's snatch load is J sqrt(k/mu), of the impulse that the charge gives, whatever table says so."""
    import sixdof

    plain = demo.change({"failure": [], "disperse": {}, "recovery.main.height": "1 km", "record.rate": "5 Hz"})
    written = plain.change({"harness.drogue.charge": None, "harness.drogue.impulse": ejection_impulse(demo, 0)})
    loads = [float(sixdof.fly(one).snatch_load.sel(canopy="drogue")) for one in (plain, written)]
    assert loads[0] == loads[1]
    fore, aft = hanging_pieces(demo, 0)
    assert loads[0] == pytest.approx(ejection_impulse(demo, 0) * math.sqrt(11e3 / 5.0 * (fore + aft) / (fore * aft)), rel=1e-9)


def test_snatch__is_v_sqrt_of_k_mu_of_two_masses_and_a_spring(demo):
    """Two masses thrown apart, a slack cord of 5 m that pulls as a spring beyond it, integrated by scipy."""
    (fore, aft), k, found = hanging_pieces(demo, 0), 11e3 / 5.0, ejector_of(demo, 0).fire()

    def rates(t, y):
        pull = k * max(y[0] - y[1] - 5.0, 0.0)
        return y[2], y[3], -pull / fore, pull / aft

    start = 0.0, 0.0, found.impulse / fore, -found.impulse / aft
    times = np.linspace(0.45, 0.6, 20001)
    end = solve_ivp(rates, (0.0, 0.6), start, t_eval=times, rtol=1e-10, atol=1e-12, max_step=1e-4)
    largest = k * (end.y[0] - end.y[1] - 5.0).max()
    assert found.speed * math.sqrt(k * fore * aft / (fore + aft)) == pytest.approx(largest, rel=1e-6)


def test_mission__one_truth_about_the_impulse(demo):
    with pytest.raises(MissionError, match='harness "drogue", key impulse: the impulse follows from the charge'):
        demo.change({"harness.drogue.impulse": "5 N*s"})


def test_mission__a_charge_alone_is_read_back(demo):
    from sixdof.mission.load import loads_mission

    assert loads_mission(demo.to_toml()) == demo
