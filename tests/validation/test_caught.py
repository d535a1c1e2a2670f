"""Closed forms that no other test held the package to: found by planting errors (tests/planted), one for each that slipped through."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import AT_REST, W, _state_of, let_go

from sixdof._jit import fixed, kernel, lend
from sixdof.autopilot.gains import gains_table
from sixdof.autopilot.sensors import sensors_table
from sixdof.core import layout as ly
from sixdof.core.body import body_at, burn_segment
from sixdof.core.columns import GRAIN_COLUMNS, FinRow, GrainColumn
from sixdof.core.computer.control import built_in_control
from sixdof.core.constants import CANOPY
from sixdof.core.flight.rail import pivot_rate
from sixdof.core.forces.loads import loads
from sixdof.core.layout import Sensed
from sixdof.core.leg.drawing import draw_model
from sixdof.core.leg.work import make_work
from sixdof.mission.tables import GainSet, Magnetometer, Sensors
from sixdof.vehicle.aero.drag import drag_breakdown

SMALL = 1e-4  # rad: twice the sine of half an angle is the angle to 4e-10 of it


def test_fins__are_wetted_on_both_sides(demo_mission):
    """2 n S Cf (1 + 2 t/c): Blasius' 1.328/sqrt(Re) on the mean chord of a trapezoid (Hoerner 1965), on pi d^2/4."""
    fins = next(part for part in demo_mission.stage[0].part if part.kind == "fins")
    root, tip = fins.root_chord, fins.tip_chord
    mean = 2.0 / 3.0 * (root + tip - root * tip / (root + tip))
    wetted = 2.0 * fins.count * 0.5 * (root + tip) * fins.semispan
    diameter = max(part.diameter for part in demo_mission.stage[0].part if part.kind in ("nose", "tube"))
    unit = 1e6  # 1/m: laminar along a chord of centimetres
    expected = wetted * 1.328 / math.sqrt(unit * mean) * (1.0 + 2.0 * fins.thickness / mean) / (0.25 * math.pi * diameter**2)
    found = drag_breakdown(demo_mission, [0], [1e-4], unit)["friction, fins"]
    assert found[0] == pytest.approx(expected, rel=1e-6)  # the factor of Mach 1e-4 is 1e-10


def test_canopy__hangs_by_its_drag_on_the_area_of_its_circle(demo_mission, demo_flight):
    """Near the ground the main's CD pi D^2/4 is what the drogue alone did not have, and q CdS is the weight (Knacke 1992)."""
    main = next(part for part in demo_mission.stage[0].part if part.kind == "parachute" and part.name == "main")
    hanging = demo_flight.where(demo_flight.phase == float(CANOPY), drop=True)
    alone = float(hanging.drag_area.where(hanging.height > 170.0, drop=True)[-1])  # m: the main opens at 150 m
    low = hanging.where(hanging.height > 40.0, drop=True).isel(time=-1)  # m: above the sheared wind, which tilts the drag by 2 %
    full = float(low.drag_area)
    assert full - alone == pytest.approx(main.drag_coefficient * math.pi * main.diameter**2 / 4.0, rel=1e-9)
    # 9.80665 against the gravity of the place 1e-3; slower in ever denser air: v'/g = v^2/(2 g H) is 2e-4
    assert float(low.dynamic_pressure) * full == pytest.approx(float(low.mass) * 9.80665, rel=2e-3)


def test_impact__kinetic_energy(demo_flight):
    energy = 0.5 * demo_flight.body_landing_mass * demo_flight.body_landing_ground_speed**2
    np.testing.assert_allclose(demo_flight.body_landing_energy, energy, rtol=1e-12)


@pytest.mark.parametrize("over, pressure, mach", [("dynamic_pressure", 2000.0, 0.9), ("mach", 9e9, 0.3)])
def test_schedule__of_the_mission_is_over_what_it_says(demo_mission, over, pressure, mach):
    """Half-way between two rows p is half-way between theirs: the demand is (0.2 + 0.6)/2 times the error."""
    ends = {"dynamic_pressure": (1000.0, 3000.0), "mach": (0.2, 0.4)}[over]
    channel = demo_mission.autopilot.pitch.model_copy(update={"i": 0.0, "d": 0.0})
    rows = tuple(GainSet(at=at, pitch=channel.model_copy(update={"p": p})) for at, p in zip(ends, (0.2, 0.6)))
    autopilot = demo_mission.autopilot.model_copy(update={"schedule": rows, "schedule_over": over, "gain_reference_q": None})
    gains = gains_table(demo_mission.model_copy(update={"autopilot": autopilot}))
    sensed, command = np.zeros(len(ly.SENSED)), np.zeros(3)
    sensed[Sensed.Q_W] = sensed[Sensed.ENABLED] = 1.0
    sensed[Sensed.COMMANDED_W], sensed[Sensed.COMMANDED_Y] = math.cos(0.5 * SMALL), math.sin(0.5 * SMALL)
    sensed[Sensed.PERIOD], sensed[Sensed.DYNAMIC_PRESSURE], sensed[Sensed.MACH] = 0.01, pressure, mach
    built_in_control(0.0, sensed, np.zeros(ly.MEMORY_SIZE), gains, command)
    assert command == pytest.approx([0.0, 0.4 * SMALL, 0.0], rel=1e-8, abs=1e-15)


def test_compass__field_of_the_north_points_down_and_declination_is_eastward(demo_mission):
    """Inclination is positive downwards, declination positive to the east (IAGA): (cos I sin D, cos I cos D, -sin I)."""
    compass = Magnetometer(dip=math.radians(60.0), declination=math.radians(30.0))
    field = sensors_table(demo_mission.model_copy(update={"sensors": Sensors(magnetometer=compass)})).magnetometer.field
    assert field == pytest.approx((0.25, 0.25 * math.sqrt(3.0), -0.5 * math.sqrt(3.0)), rel=1e-12)


@kernel
def _pivot(model, draw, work, start, out):
    drawn = fixed(draw_model(model, draw, work))
    body = body_at(0.0, burn_segment(model.thrust, model.thrust.time.shape[0], 0.0, 1.0, 1.0), drawn.grains)
    s = _state_of(start)
    k = pivot_rate(s, body, drawn, loads(s, body, drawn, work.fins, FinRow.START, work.seen))
    out[0], out[1], out[2], out[3], out[4], out[5] = k.v.x, k.v.y, k.v.z, k.w.x, k.w.y, k.w.z


@pytest.mark.parametrize("lean", [0.1, 0.5, 1.2])
@pytest.mark.parametrize("gravity", [0.0, 9.80665])
def test_pivot__turns_as_lagrange_says(lean, gravity):
    """One guide on a smooth vertical rail, the body swinging about it at the rate w, its centre l ahead, leaning by a.

    Lagrange: (I + m l^2 cos^2 a) a'' = m l^2 w^2 sin a cos a, whatever the gravity (the body falls freely along the rail),
    and x'' = l (a'' cos a - w^2 sin a), z'' = -g.
    """
    mass, inertia, w = 8.0, 1.2, 3.0
    model = models.model(world=models.world(density=0.0, gravity=gravity), mass=models.mass(dry=mass, inertia=(0.012, inertia, inertia, 0.0, 0.0, 0.0)))
    model = model._replace(rail=model.rail._replace(friction=0.0))
    ahead = model.rail.aft_x - 1.0  # m: models.mass has its centre at 1 m
    assert ahead > 0.3
    # nose up, leaning towards east: turned about north by a - 90 deg from body x along east
    half = 0.5 * (lean - 0.5 * math.pi)
    across, up = ahead * w * math.cos(lean), -ahead * w * math.sin(lean)
    start = np.array([0.0, 0.0, 0.0, across, 0.0, up, math.cos(half), 0.0, math.sin(half), 0.0, 0.0, w, 0.0])
    found = np.empty(6)
    _pivot(lend(model), lend(models.draw()), lend(make_work(model)), start, found)
    sine, cosine, arm2 = math.sin(lean), math.cos(lean), mass * ahead**2
    turn = arm2 * w**2 * sine * cosine / (inertia + arm2 * cosine**2)
    expected = [ahead * (turn * cosine - w**2 * sine), 0.0, -gravity, 0.0, turn, 0.0]
    np.testing.assert_allclose(found, expected, rtol=1e-12, atol=1e-11)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_burning_bore__moment_of_momentum_stands(axis):
    """Nozzle and grain at the centre of mass, no air: I w stays.

    I = I0 + m (Ro^2 + Ri^2)/2 in roll, I0 + m (3 (Ro^2 + Ri^2) + L^2)/12 in pitch and yaw. A cylinder that burns from its bore
    at constant length has Ri^2 = Ro^2 - (Ro^2 - Ri0^2) f and the mass m f.
    """
    dry, propellant, outer, bore, length, burn = (0.012, 0.05, 0.07), 4.0, 0.1, 0.02, 0.3, 4.0
    web = outer**2 - bore**2
    pitch = propellant * (6.0 * outer**2 + length**2) / 12.0, -0.25 * propellant * web
    row = np.zeros(GRAIN_COLUMNS)
    row[[GrainColumn.MASS, GrainColumn.X]] = propellant, 1.0
    row[[GrainColumn.ROLL_A, GrainColumn.ROLL_B, GrainColumn.PITCH_A, GrainColumn.PITCH_B]] = (propellant * outer**2, -0.5 * propellant * web, *pitch)
    model = models.model(
        world=models.world(density=0.0, gravity=0.0),
        thrust=models.thrust((0.0, burn), (10.0, 10.0), propellant=propellant, exit_x=1.0),
        mass=models.mass(dry=8.0, cg=1.0, inertia=(*dry, 0.0, 0.0, 0.0), grains=[row]),
    )
    rate = 2.0
    start = [*AT_REST[:10], *(rate * (k == axis) for k in range(3))]
    rows = let_go(model, models.draw(), start, h=2e-3, until=0.75 * burn, rows=6)

    def inertia(unburnt):
        m, squares = propellant * unburnt, 2.0 * outer**2 - web * unburnt  # Ro^2 + Ri^2
        return dry[axis] + (0.5 * m * squares if axis == 0 else m * (3.0 * squares + length**2) / 12.0)

    unburnt = 1.0 - rows[:, 0] / burn
    # RK4 at 2 ms on a rate that falls over seconds: (h/T)^4 = 1e-13 a step
    np.testing.assert_allclose(rows[:, W][:, axis], rate * inertia(1.0) / inertia(unburnt), rtol=1e-9)
