"""Physical errors planted in the package one at a time, and the test that catches each: a check of the tests themselves.

    python tests/planted/errors.py                    run every error against its test
    python tests/planted/errors.py --record           the same, and write caught.csv with what else near by catches it
    python tests/planted/errors.py "J2's sign" ...    some of them

Every error is of a kind that people make: a sign, a factor 2, a transposed rotation, a term left out, degrees from the
wrong side. `right` is the source text that it replaces and stands once in its file, so the list cannot rot
(test_planted_errors.py asserts it). An error is planted in a copy; the package itself is never touched.
"""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))  # run as a script, the folder above is not on the path

from planted import (  # noqa: E402
    against,
    all_round,
    as_built,
    canopies,
    ejections,
    estimates,
    flight_logs,
    landing,
    launch_card,
    loads,
    lost_bodies,
    motor_choice,
    rare_branches,
    records,
    recovery,
    roll,
    stability,
    static_firing,
    structure,
    sweep,
    telemetry,
    triggers,
    video,
    weathercock,
    wind,
)
from planted.entry import PlantedError  # noqa: E402

SOURCE = ROOT / "src" / "sixdof"
TABLE = Path(__file__).with_name("caught.csv")
TIME_LIMIT = 1200.0  # s, of one run of tests
ALSO = 5  # of the other tests that catch an error, so many are written down


class Verdict(NamedTuple):
    """What a run of tests said: failed by an assertion, broken in any other way, and the seconds it took."""

    failed: tuple[str, ...]
    broken: tuple[str, ...]
    code: int
    seconds: float


FORMS = "tests/validation/test_closed_forms.py::"
LOADS = "tests/core/forces/test_loads.py::"
SERVO = "tests/validation/test_servo_forms.py::"
NASA = "tests/validation/test_nasa_check_cases.py::"
SEPARATION = "tests/validation/test_separation.py::"
RECOVERY = "tests/validation/test_recovery.py::"
BARROWMAN = "tests/validation/test_barrowman.py::"
FLIGHT = "tests/validation/test_whole_flight.py::"
OPTIONS = "tests/validation/test_whole_flight_options.py::"
TURBULENCE = "tests/validation/test_turbulence.py::"
SLIPPED = "tests/validation/test_caught.py::"
VORTICES = "tests/validation/test_shed_vortices.py::"
FILTERS = "tests/core/computer/test_filters.py::"
LINEAR = "tests/validation/test_linear_models.py::"
LOOPS = "tests/study/loops/test_loop.py::"
LOOP_MARGINS = "tests/validation/test_loop_margins.py::"

PLANTED = (
    # ---------------------------------------------------------------- loads
    PlantedError(
        "jet damping left out",
        "core/forces/loads.py",
        "jet = cross(nozzle, cross(s.w, nozzle))",
        "jet = Vec3(0.0, 0.0, 0.0)",
        "the gas takes no moment of momentum across the axis with it",
        FORMS + "test_jet_damping__constant_inertia",
    ),
    PlantedError(
        "jet damping's sign",
        "core/forces/loads.py",
        "- body.flow * jet.y",
        "+ body.flow * jet.y",
        "the jet drives a pitching vehicle instead of damping it",
        FORMS + "test_jet_damping__constant_inertia",
    ),
    PlantedError(
        "inertia's rate left out",
        "core/forces/loads.py",
        "shrink = sym_times(body.inertia_rate, s.w)",
        "shrink = Vec3(0.0, 0.0, 0.0)",
        "I w' + I' w = M without I' w: a burning vehicle keeps its rate, not its momentum",
        FORMS + "test_jet_damping__inertia_burns_off_with_the_mass",
    ),
    PlantedError(
        "swirl of the jet left out",
        "core/forces/loads.py",
        "(jet.x + drawn.exit_swirl * s.w.x)",
        "jet.x",
        "the gas that leaves the exit disc takes no roll momentum with it",
        FORMS + "test_jet_damping__spin_rises",
    ),
    PlantedError(
        "nozzle pressure term's sign",
        "core/forces/loads.py",
        "(drawn.reference_pressure - pressure)",
        "(pressure - drawn.reference_pressure)",
        "thrust falls with height instead of rising",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "nozzle arm counted forward",
        "core/forces/loads.py",
        "nozzle = offset(body.cg, drawn.exit)",
        "nozzle = offset(drawn.exit, body.cg)",
        "a station aft of the nose tip taken for a distance forward of the centre of mass",
        FLIGHT + "test_burn__everything_dispersed",
    ),
    PlantedError(
        "Earth's rate added",
        "core/forces/loads.py",
        "rate = sub(s.w, to_body(m, drawn.world.earth_rate))",
        "rate = sub(s.w, scale(to_body(m, drawn.world.earth_rate), -1.0))",
        "the rate against the turning world axes is the inertial one plus the Earth's",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "wind added",
        "core/forces/loads.py",
        "u = to_body(m, sub(s.v, near.wind))",
        "u = to_body(m, add(s.v, near.wind))",
        "velocity through the air is that over the ground plus the wind",
        "tests/flight/test_bodies.py::test_wind__moves_the_air_and_blows_from_nowhere_else",
    ),
    PlantedError(
        "wind turned the other way",
        "core/forces/loads.py",
        "return k.cos * east + k.sin * north, k.cos * north - k.sin * east",
        "return k.cos * east - k.sin * north, k.cos * north + k.sin * east",
        "a dispersed wind direction turns anticlockwise on the compass",
        FLIGHT + "test_burn__everything_dispersed",
    ),
    PlantedError(
        "centrifugal term's sign",
        "core/forces/loads.py",
        "gx = k * x * (1.0 + w * (1.0 - q)) + turning * x",
        "gx = k * x * (1.0 + w * (1.0 - q)) - turning * x",
        "the Earth's rotation makes a body over the round Earth heavier",
        NASA + "test_published_end_values",
    ),
    PlantedError(
        "J2's sign",
        "core/forces/loads.py",
        "w = 1.5 * globe.j2 * ratio * ratio",
        "w = -1.5 * globe.j2 * ratio * ratio",
        "an Earth that is prolate to a falling body",
        NASA + "test_published_end_values",
    ),
    PlantedError(
        "geocentric latitude",
        "core/forces/loads.py",
        "(z + more * b * sin_u * sin_u * sin_u) / (p - globe.e2 * globe.a * cos_u * cos_u * cos_u)",
        "z / p",
        "height and vertical over the ellipsoid by the geocentric latitude",
        "tests/flight/test_bodies.py::test_start__is_what_was_asked_for",
    ),
    # ---------------------------------------------------------------- aerodynamics
    PlantedError(
        "roll damping's sign",
        "core/forces/aerodynamics.py",
        "stirred = (wash - spin) * inverse",
        "stirred = (wash + spin) * inverse",
        "a rolling vehicle's fins drive the roll",
        "tests/validation/test_flow_symmetry.py::test_rates__are_damped",
    ),
    PlantedError(
        "pitch damping of the fins, sign",
        "core/forces/aerodynamics.py",
        "across = -c * (u.y + rate.z * arm) - s * (u.z - rate.y * arm)",
        "across = -c * (u.y - rate.z * arm) - s * (u.z + rate.y * arm)",
        "fins behind the centre of mass move with the wrong sense as the vehicle pitches and yaws",
        "tests/vehicle/test_derivatives.py::test_damping__of_fins_as_their_slope_times_the_square_of_their_arm",
    ),
    PlantedError(
        "pitch damping of the body, sign",
        "core/forces/aerodynamics.py",
        "-k * (first * u.z - second * rate.y)",
        "-k * (first * u.z + second * rate.y)",
        "the body's own pitch damping drives",
        "tests/vehicle/test_derivatives.py::test_damping__of_a_cone_and_cylinder_in_closed_form",
    ),
    PlantedError(
        "p d/2V taken as p d/V",
        "core/forces/aerodynamics.py",
        "damping = 2.0 * flow.half * flow.speed\n",
        "damping = 4.0 * flow.half * flow.speed\n",
        "damping derivatives on a rate without the 2 below",
        NASA + "test_cases_without_published_values__independent_flight",
    ),
    PlantedError(
        "drag of backward flight",
        "core/forces/aerodynamics.py",
        "return -flow.half * flow.u.x * abs(flow.u.x) * aero.area",
        "return -flow.half * flow.u.x * flow.u.x * aero.area",
        "a body that flies base first is pushed on by its drag",
        LOADS + "test_backwards__drag_points_forward",
    ),
    PlantedError(
        "base drag, motor on and off swapped",
        "core/forces/aerodynamics.py",
        "forward = friction + lerp(table, i, f, BodyColumn.CA) + burning *",
        "forward = friction + lerp(table, i, f, BodyColumn.CA) + (1.0 - burning) *",
        "the jet fills the base after burnout, not before",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "potential cross force without half",
        "core/forces/aerodynamics.py",
        "k = -flow.half * drawn.aero.area",
        "k = -2.0 * flow.half * drawn.aero.area",
        "rho V^2 for rho V^2/2 in the body's normal force",
        "tests/validation/test_jorgensen.py::test_sample__normal_force_and_moment",
    ),
    PlantedError(
        "fin turned by 90 degrees",
        "core/forces/aerodynamics.py",
        "PanelLoad(Vec3(fx, -c * total, -s * total), Vec3(roll,",
        "PanelLoad(Vec3(fx, -s * total, -c * total), Vec3(roll,",
        "a fin's force along its span direction mirrored, not along its normal",
        "tests/validation/test_flow_symmetry.py::test_quarter_turn__of_a_cruciform",
    ),
    PlantedError(
        "hinge moment's sign",
        "core/forces/aerodynamics.py",
        "panel.load * (row[PanelColumn.HINGE] - panel.x)",
        "panel.load * (panel.x - row[PanelColumn.HINGE])",
        "a load behind the hinge drives the fin further",
        "tests/study/aero/test_authority.py::test_hinge__sign_and_line",
    ),
    PlantedError(
        "centre of mass off the axis, sign",
        "core/forces/aerodynamics.py",
        "moment.x + cg.z * fy - cg.y * fz",
        "moment.x - cg.z * fy + cg.y * fz",
        "normal force on the axis rolls a vehicle with an offset mass the wrong way",
        FLIGHT + "test_burn__everything_dispersed",
    ),
    PlantedError(
        "shed vortex's sense",
        "core/forces/aerodynamics.py",
        "out[p, SeenColumn.VORTEX] = load *",
        "out[p, SeenColumn.VORTEX] = -load *",
        "lift ahead gives upwash behind",
        VORTICES + "test_pair__lift_ahead_costs_lift_behind",
    ),
    # ---------------------------------------------------------------- mass of the burning vehicle
    PlantedError(
        "centre of mass moves the wrong way",
        "core/body.py",
        "cg = Station(grains.cg.x - k * m.x,",
        "cg = Station(grains.cg.x + k * m.x,",
        "propellant forward of the dry centre counted aft",
        SEPARATION + "test_stack__is_its_stages_at_every_moment",
    ),
    PlantedError(
        "parallel axis, sign",
        "core/body.py",
        "a.yy + f * (b.yy + f * pitch) - c * s.yy",
        "a.yy + f * (b.yy + f * pitch) + c * s.yy",
        "the way from dry centre to common centre adds to the inertia twice",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "inertia rate of the burning bore halved",
        "core/body.py",
        "f_rate * (b.yy + 2.0 * f * pitch - c_f * s.yy)",
        "f_rate * (b.yy + f * pitch - c_f * s.yy)",
        "derivative of f^2 without its 2",
        SLIPPED + "test_burning_bore__moment_of_momentum_stands",
    ),
    PlantedError(
        "impulse of a sloping thrust",
        "core/body.py",
        "(burn.force + 0.5 * burn.slope * x) * x * burn.per_impulse",
        "(burn.force + burn.slope * x) * x * burn.per_impulse",
        "the integral of a straight line without its half",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "burn stretched without its force",
        "core/body.py",
        "k = impulse_factor / burn_factor\n",
        "k = impulse_factor\n",
        "a longer burn at the same thrust makes more impulse than was drawn",
        FLIGHT + "test_burn__everything_dispersed",
    ),
    # ---------------------------------------------------------------- rotations
    PlantedError(
        "rotation transposed",
        "core/algebra.py",
        "m.xx * a.x + m.yx * a.y + m.zx * a.z, m.xy * a.x + m.yy * a.y + m.zy * a.z, m.xz * a.x + m.yz * a.y + m.zz * a.z",
        "m.xx * a.x + m.xy * a.y + m.xz * a.z, m.yx * a.x + m.yy * a.y + m.yz * a.z, m.zx * a.x + m.zy * a.y + m.zz * a.z",
        "world to body by the matrix from body to world",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "quaternion rate without its half",
        "core/algebra.py",
        "0.5 * (q.w * w.x + q.y * w.z - q.z * w.y)",
        "(q.w * w.x + q.y * w.z - q.z * w.y)",
        "attitude turns twice as fast as the rate about x says",
        "tests/validation/test_axisymmetric_top.py::test_precession__nose_circles_the_angular_momentum",
    ),
    PlantedError(
        "quaternion rate in world axes",
        "core/algebra.py",
        "0.5 * (q.w * w.y + q.z * w.x - q.x * w.z)",
        "0.5 * (q.w * w.y - q.z * w.x + q.x * w.z)",
        "(0, w) q in place of q (0, w) in one component: body rates taken in world axes",
        "tests/validation/test_axisymmetric_top.py::test_precession__nose_circles_the_angular_momentum",
    ),
    PlantedError(
        "azimuth anticlockwise",
        "core/algebra.py",
        "0.0, 0.0, -sin(0.5 * azimuth))",
        "0.0, 0.0, sin(0.5 * azimuth))",
        "degrees from north towards west",
        FLIGHT + "test_burn__no_friction",
    ),
    # ---------------------------------------------------------------- motion
    PlantedError(
        "Coriolis sign",
        "core/flight/free.py",
        "f.x - 2.0 * c.x + g.x",
        "f.x + 2.0 * c.x + g.x",
        "what is dropped falls to the west",
        "tests/validation/test_coriolis.py::test_drop__east_and_south",
    ),
    PlantedError(
        "Coriolis without its 2",
        "core/flight/free.py",
        "f.x - 2.0 * c.x + g.x, f.y - 2.0 * c.y + g.y",
        "f.x - c.x + g.x, f.y - c.y + g.y",
        "W x v for 2 W x v",
        "tests/validation/test_coriolis.py::test_drop__east_and_south",
    ),
    PlantedError(
        "gyroscopic term's sign",
        "core/flight/free.py",
        "sub(moment, cross(s.w, h))",
        "sub(moment, cross(h, s.w))",
        "Euler's equations with h x w on the left",
        "tests/validation/test_torque_free_top.py::test_rates__jacobi",
    ),
    PlantedError(
        "rail friction pushes",
        "core/flight/held.py",
        "return along - drawn.rail.friction *",
        "return along + drawn.rail.friction *",
        "friction along the motion",
        FORMS + "test_rail__inclined_with_friction",
    ),
    PlantedError(
        "weight not carried by the rail",
        "core/flight/held.py",
        "return along - drawn.rail.friction * sqrt(dot(aside, aside))",
        "return along - drawn.rail.friction * abs(along)",
        "friction on the pull along the rail, not on the load across it",
        FORMS + "test_rail__no_friction_without_load_across",
    ),
    PlantedError(
        "guide's centripetal acceleration left out",
        "core/flight/rail.py",
        "point = add(add(a0, cross(turn0, guide)), cross(load.rate, cross(load.rate, guide)))",
        "point = add(a0, cross(turn0, guide))",
        "a swinging vehicle's aft guide leaves the line of the rail",
        SLIPPED + "test_pivot__turns_as_lagrange_says",
    ),
    # ---------------------------------------------------------------- servos
    PlantedError(
        "backlash half width",
        "core/actuator.py",
        "return clip(fin, motor - 0.5 * play, motor + 0.5 * play)",
        "return clip(fin, motor - play, motor + play)",
        "the whole play on either side",
        SERVO + "test_backlash__loop_area_and_describing_function",
    ),
    PlantedError(
        "load helps the motor against it",
        "core/actuator.py",
        "clip(1.0 + share, 0.0, 1.0), servo.rate_limit * clip(1.0 - share, 0.0, 1.0)",
        "clip(1.0 - share, 0.0, 1.0), servo.rate_limit * clip(1.0 + share, 0.0, 1.0)",
        "the torque-speed line of a motor on the wrong side",
        SERVO + "test_stall_torque__speed_falls_on_a_straight_line",
    ),
    PlantedError(
        "a fin's way weighed from the wrong end",
        "core/actuator.py",
        "3.0 * weight * (1.0 - past)",
        "3.0 * weight * past",
        "what a fin does early in a step counts as if it did it late",
        "tests/core/test_actuator.py::test_step__stands_for_the_fin_as_it_moves",
    ),
    PlantedError(
        "servo damping without its 2",
        "core/actuator.py",
        "2.0 * servo.damping * servo.frequency * x",
        "servo.damping * servo.frequency * x",
        "zeta w for 2 zeta w",
        SERVO + "test_step__overshoot_and_rise_time",
    ),
    # ---------------------------------------------------------------- sensors, estimator, turbulence
    PlantedError(
        "noise density times the wrong root",
        "core/computer/sensors.py",
        "sensor.noise * sqrt(1.0 / period)",
        "sensor.noise * sqrt(period)",
        "a sample's deviation grows with the period, not with the rate",
        "tests/validation/test_gyro_and_coning.py::test_gyro_noise__allan_deviation",
    ),
    PlantedError(
        "barometer lag inverted",
        "core/computer/sensors.py",
        "1.0 - exp(-step / sensor.lag)",
        "exp(-step / sensor.lag)",
        "a slow barometer follows quickly",
        "tests/core/computer/test_sensors.py::test_barometer__lag_of_a_step_and_of_a_climb",
    ),
    PlantedError(
        "gravity added to what is felt",
        "core/computer/estimator.py",
        "felt.z - G0",
        "felt.z + G0",
        "specific force taken for acceleration plus weight",
        "tests/core/computer/test_estimator.py::test_accelerometer_bias__moves_by_half_a_t_squared",
    ),
    PlantedError(
        "Earth's rate left in the gyros",
        "core/computer/estimator.py",
        "w = sub(rate, to_body(m, earth_rate))",
        "w = rate",
        "an attitude at rest drifts by 15 degrees an hour",
        "tests/core/computer/test_estimator.py::test_earth_rate__is_taken_out",
    ),
    PlantedError(
        "Dryden variance",
        "core/forces/turbulence.py",
        "sqrt(-expm1(-2.0 * h)) * x",
        "sqrt(-expm1(-h)) * x",
        "driving noise of a first-order process for half the correlation",
        TURBULENCE + "test_step__of_any_length_is_exact",
    ),
    PlantedError(
        "Dryden length in metres for feet",
        "core/forces/turbulence.py",
        "h = clip(height, LOWEST, LOW) / FOOT",
        "h = clip(height, LOWEST, LOW)",
        "the specification's feet left out",
        TURBULENCE + "test_scales__are_the_standards",
    ),
    # ---------------------------------------------------------------- descent, flight computer, observer
    PlantedError(
        "canopy drag without half",
        "core/flight/canopy.py",
        "f = scale(u, -thickness * (lines + airframe))",
        "f = scale(u, -2.0 * thickness * (lines + airframe))",
        "rho V^2 for rho V^2/2 under a canopy",
        FORMS + "test_canopy__terminal_speed",
    ),
    PlantedError(
        "canopy fills with time, not its square",
        "core/flight/canopy.py",
        "share = reefed * fill * fill",
        "share = reefed * fill",
        "an opening load of another law",
        RECOVERY + "test_opening_load__of_a_small_mass_is_the_closed_form_peak",
    ),
    PlantedError(
        "gravity felt",
        "core/flight/free.py",
        "rate.v.z + 2.0 * c.z - g.z)",
        "rate.v.z + 2.0 * c.z)",
        "an accelerometer in free fall reads its acceleration",
        SEPARATION + "test_joint_force__is_newtons_second_law_of_the_fore_stages",
    ),
    PlantedError(
        "rail left when the fore guide leaves",
        "core/flight/events.py",
        "return drawn.rail.aft_travel - guide_travel",
        "return drawn.rail.fore_travel - guide_travel",
        "the body swings free while its aft guide still holds",
        FLIGHT + "test_burn__no_friction",
    ),
    PlantedError(
        "joint force: drag of the fore stages added",
        "core/observe.py",
        "select(load.velocity.x >= 0.0, air, -air)",
        "select(load.velocity.x >= 0.0, -air, air)",
        "drag on the fore stages pulls the joint apart",
        SEPARATION + "test_joint_force__is_newtons_second_law_of_the_fore_stages",
    ),
    PlantedError(
        "attitude error in world axes",
        "core/computer/control.py",
        "e = multiply(conjugate(q), Quat(sensed[Sensed.COMMANDED_W], sensed[Sensed.COMMANDED_X], sensed[Sensed.COMMANDED_Y], sensed[Sensed.COMMANDED_Z]))",
        "e = multiply(Quat(sensed[Sensed.COMMANDED_W], sensed[Sensed.COMMANDED_X], sensed[Sensed.COMMANDED_Y], sensed[Sensed.COMMANDED_Z]), conjugate(q))",
        "the turn that is wanted, about world axes, handed to fins on body axes",
        "tests/validation/test_control_loop.py::test_attitude_error__against_rotations",
    ),
    PlantedError(
        "gain schedule backwards between rows",
        "core/computer/control.py",
        "f = (x - entry(gains, at)) /",
        "f = (entry(gains, at + GAIN_ROW) - x) /",
        "straight line between two rows run from the far end",
        OPTIONS + "test_schedule__as_the_reference",
    ),
    # ---------------------------------------------------------------- world
    PlantedError(
        "geometric for geopotential height",
        "world/atmosphere.py",
        "    height = geopotential(altitude)\n",
        "    height = altitude\n",
        "the standard's layers counted in geometric altitude",
        "tests/validation/test_against_ussa1976.py::test_standard__matches_every_row",
    ),
    PlantedError(
        "warm air's pressure",
        "world/atmosphere.py",
        "LAYER_TEMPERATURE[layer] + offset, LAYER_LAPSE[layer])",
        "LAYER_TEMPERATURE[layer], LAYER_LAPSE[layer])",
        "a warm day's column weighs as much as the standard's",
        "tests/world/test_atmosphere.py::test_at_site__pressure_is_the_hydrostatic_integral",
    ),
    PlantedError(
        "gravity falls with h, not 2 h",
        "world/gravity.py",
        "first = 2.0 * (1.0 + FLATTENING",
        "first = (1.0 + FLATTENING",
        "free-air gradient without its 2",
        "tests/validation/test_wgs84_gravity.py::test_normal_gravity__matches_the_table",
    ),
    PlantedError(
        "wind to for wind from",
        "world/wind.py",
        "return -speed * np.sin(blows_from), -speed * np.cos(blows_from)",
        "return speed * np.sin(blows_from), speed * np.cos(blows_from)",
        "a west wind blows towards the west",
        "tests/world/test_wind.py::test_components__a_wind_from_a_side_moves_to_the_other",
    ),
    PlantedError(
        "wind direction from east, anticlockwise",
        "world/wind.py",
        "return -speed * np.sin(blows_from), -speed * np.cos(blows_from)",
        "return -speed * np.cos(blows_from), -speed * np.sin(blows_from)",
        "a compass direction taken for a mathematician's angle",
        "tests/world/test_wind.py::test_components__a_wind_from_a_side_moves_to_the_other",
    ),
    PlantedError(
        "launch point at the geocentric latitude",
        "world/build.py",
        "(prime * (1.0 - e2) + height) * sl",
        "(prime + height) * sl",
        "the ellipsoid's z without 1 - e^2",
        "tests/flight/test_bodies.py::test_start__is_what_was_asked_for",
    ),
    PlantedError(
        "Earth turns about the horizon",
        "world/build.py",
        "Vec3(0.0, EARTH_RATE * float(np.cos(latitude)), EARTH_RATE * float(np.sin(latitude)))",
        "Vec3(0.0, EARTH_RATE * float(np.sin(latitude)), EARTH_RATE * float(np.cos(latitude)))",
        "sine for cosine of the latitude in the Earth's rate",
        "tests/world/test_build.py::test_world_table__earth_turns_eastward_about_the_pole",
    ),
    PlantedError(
        "latitude of a place, sign of e'^2 b",
        "world/geodesy.py",
        "np.arctan2(z + more * b *",
        "np.arctan2(z - more * b *",
        "Bowring's formula with one sign wrong",
        "tests/flight/test_bodies.py::test_start__is_what_was_asked_for",
    ),
    PlantedError(
        "C_l_p l/2V: one length for two",
        "flight/rigid_body.py",
        "0.25 * area * span**2 * roll",
        "0.5 * area * span**2 * roll",
        "the 2 of p l/2V forgotten where constant coefficients are read",
        NASA + "test_cases_without_published_values__independent_flight",
    ),
    # ---------------------------------------------------------------- mass and motors
    PlantedError(
        "parallel axis left out",
        "vehicle/solids.py",
        " + parallel_axis(masses, offset(places, place)).sum(axis=0)",
        "",
        "inertias about different centres added up",
        "tests/validation/test_mass_properties.py::test_combine__two_bodies_on_the_axis",
    ),
    PlantedError(
        "stations taken forward",
        "vehicle/solids.py",
        "np.array([-1.0, 1.0, 1.0])",
        "np.array([1.0, 1.0, 1.0])",
        "products of inertia with x aft",
        "tests/vehicle/test_solids.py::test_combine__product_sign_of_a_mass_aft_and_on_plus_z",
    ),
    PlantedError(
        "tube's inertia with the bore taken off",
        "vehicle/solids.py",
        "squares = outer**2 + inner**2",
        "squares = outer**2 - inner**2",
        "m (Ro^2 - Ri^2)/2 for m (Ro^2 + Ri^2)/2",
        "tests/vehicle/test_solids.py::test_grain__is_a_tube_of_the_bore_it_has",
    ),
    PlantedError(
        "every fin has the mass of the set",
        "vehicle/mass.py",
        "part.count * fins.area * part.thickness) / part.count",
        "part.count * fins.area * part.thickness)",
        "n times the fins' mass",
        "tests/vehicle/test_mass.py::test_part_masses__density_and_material_come_from_geometry",
    ),
    PlantedError(
        "measured cg from the nose tip",
        "vehicle/mass.py",
        "place[0] = fore + measured.cg",
        "place[0] = measured.cg",
        "a booster's own station taken for one of the stack",
        "tests/vehicle/test_mass.py::test_measured__cg_of_a_booster_counts_from_its_own_fore_end",
    ),
    PlantedError(
        "grain inertia without the way along the axis",
        "vehicle/mass.py",
        "Lump(row[GrainColumn.MASS] * f, row[[GrainColumn.X, GrainColumn.Y, GrainColumn.Z]]",
        "Lump(row[GrainColumn.MASS] * f, row[[GrainColumn.Y, GrainColumn.Y, GrainColumn.Z]]",
        "propellant at the nose tip in what is reported of a burning vehicle",
        "tests/vehicle/test_mass.py::test_mass_table__is_the_sum_of_its_parts",
    ),
    PlantedError(
        "motor mounted the wrong way round",
        "vehicle/mounting.py",
        "aft - motor.length, aft, y, z)",
        "aft, aft + motor.length, y, z)",
        "a motor behind its mount instead of in it",
        "tests/vehicle/test_mass.py::test_grain_rows__sit_in_their_mounts",
    ),
    PlantedError(
        "nozzle exit's diameter for its radius",
        "vehicle/motor.py",
        "0.5 * placed.motor.nozzle_exit_diameter",
        "placed.motor.nozzle_exit_diameter",
        "four times the exit area",
        "tests/vehicle/test_motor.py::test_thrust_table__ring_of_equal_motors",
    ),
    PlantedError(
        "impulse by rectangles",
        "vehicle/motor.py",
        "np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(time))",
        "np.cumsum(force[1:] * np.diff(time))",
        "a thrust curve's straight lines integrated from their ends",
        "tests/vehicle/test_motor.py::test_facts__of_a_trapezoid_are_the_closed_forms",
    ),
    # ---------------------------------------------------------------- aerodynamic tables
    PlantedError(
        "interference factor left out",
        "vehicle/aero/table.py",
        "columns[:, FinColumn.KW] = interference.panel_incidence(ratio) * kept",
        "columns[:, FinColumn.KW] = kept",
        "fins beside a body loaded as if alone",
        BARROWMAN + "test_total__factor_is_slender_theory_instead_of_a_straight_line",
    ),
    PlantedError(
        "deflection with the factor of incidence",
        "vehicle/aero/table.py",
        "interference.panel_deflection(ratio) * kept",
        "interference.panel_incidence(ratio) * kept",
        "K_W(B) for k_W(B) of a deflected fin",
        VORTICES + "test_vortex__circulation_of_a_pair",
    ),
    PlantedError(
        "fin's arm from the root",
        "vehicle/aero/table.py",
        "row[PanelColumn.Y] = fin.body_radius + fin.y_mac",
        "row[PanelColumn.Y] = fin.y_mac",
        "the body's radius left out of the rolling moment's arm",
        BARROWMAN + "test_roll__worked_example_forcing_damping_and_steady_spin",
    ),
    PlantedError(
        "section slope pi",
        "vehicle/aero/fin.py",
        "return 2.0 * math.pi * span**2 / (1.0 + np.sqrt",
        "return math.pi * span**2 / (1.0 + np.sqrt",
        "pi for 2 pi: half a fin's slope",
        BARROWMAN + "test_fin_slope__diederich_table",
    ),
    PlantedError(
        "fin's centre at half chord",
        "vehicle/aero/fin.py",
        "np.full(np.shape(m), 0.25)",
        "np.full(np.shape(m), 0.5)",
        "subsonic load at the middle of the chord",
        BARROWMAN + "test_fins__worked_example_slope_and_centre",
    ),
    PlantedError(
        "body slope 1 for 2",
        "vehicle/aero/body.py",
        "found = 2.0 / shape.area * moments",
        "found = 1.0 / shape.area * moments",
        "a nose's normal force slope is 1",
        BARROWMAN + "test_total__worked_example_with_its_own_interference_factor",
    ),
    PlantedError(
        "fins wetted on one side",
        "vehicle/aero/friction.py",
        "2.0 * fin.area * fin.part.count * form",
        "fin.area * fin.part.count * form",
        "friction on one side of each panel",
        SLIPPED + "test_fins__are_wetted_on_both_sides",
    ),
    PlantedError(
        "laminar drag at twice Blasius",
        "vehicle/aero/friction.py",
        "return 1.328 / np.sqrt(reynolds)",
        "return 0.664 / np.sqrt(reynolds)",
        "local coefficient for the mean one",
        "tests/validation/test_drag_forms.py::test_friction__laminar",
    ),
    PlantedError(
        "jet enlarges the base drag",
        "vehicle/aero/drag.py",
        '"base, burning": -min(',
        '"base, burning": min(',
        "a burning motor's exit adds suction",
        "tests/vehicle/aero/test_aero.py::test_burning__jet_fills_part_of_the_base",
    ),
    PlantedError(
        "carry-over without its square",
        "vehicle/aero/interference.py",
        "0.0, 1.0)) ** 2 - panel_incidence(x)",
        "0.0, 1.0)) - panel_incidence(x)",
        "(1 + x) - K_W(B) for (1 + x)^2 - K_W(B)",
        "tests/validation/test_interference_naca1307.py::test_factor__table",
    ),
    PlantedError(
        "image vortex of the same sense",
        "vehicle/aero/wake.py",
        "(mean(s, h) - mean(s * inverse, h * inverse))",
        "(mean(s, h) + mean(s * inverse, h * inverse))",
        "the body's circle is no streamline",
        VORTICES + "test_one_vortex__force_and_roll_of_four_fins_against_the_lattice",
    ),
    PlantedError(
        "fins counted anticlockwise",
        "vehicle/geometry.py",
        "return -np.sin(angle), np.cos(angle)",
        "return np.sin(angle), np.cos(angle)",
        "fin numbers run the other way round seen from behind",
        "tests/vehicle/test_geometry.py::test_ring__goes_clockwise_from_plus_z_seen_from_behind",
    ),
    PlantedError(
        "reported damping on p d/V",
        "vehicle/derivatives.py",
        "fin_roll_damping=-2.0 *",
        "fin_roll_damping=-1.0 *",
        "C_l_p half as large in the tables",
        "tests/vehicle/test_derivatives.py::test_damping__as_the_kernel_flies",
    ),
    # ---------------------------------------------------------------- autopilot
    PlantedError(
        "mixer: pitch and yaw the wrong way",
        "autopilot/mixer.py",
        "lever = 1.0 if ahead[number] else -1.0",
        "lever = -1.0 if ahead[number] else 1.0",
        "fins behind the centre of mass turned as if ahead of it",
        LOADS + "test_mixer__positive_demand_gives_positive_moment",
    ),
    PlantedError(
        "canopy area of its diameter as radius",
        "autopilot/canopies.py",
        "math.pi * p.diameter**2 / 4.0",
        "math.pi * p.diameter**2",
        "pi D^2 for pi D^2/4",
        SLIPPED + "test_canopy__hangs_by_its_drag_on_the_area_of_its_circle",
    ),
    PlantedError(
        "servo's Hz for rad/s",
        "autopilot/servo.py",
        "frequency=2.0 * math.pi * servo.natural_frequency",
        "frequency=servo.natural_frequency",
        "a servo six times too slow",
        FLIGHT + "test_to_apogee__nominal",
    ),
    PlantedError(
        "schedule over the wrong quantity",
        "autopilot/gains.py",
        'else 1.0 if autopilot.schedule_over == "dynamic_pressure" else 2.0',
        'else 2.0 if autopilot.schedule_over == "dynamic_pressure" else 1.0',
        "gains over Mach number read at dynamic pressure",
        SLIPPED + "test_schedule__of_the_mission_is_over_what_it_says",
    ),
    PlantedError(
        "magnetic dip upwards",
        "autopilot/sensors.py",
        "level * math.cos(compass.declination), -math.sin(compass.dip))",
        "level * math.cos(compass.declination), math.sin(compass.dip))",
        "the northern field points into the sky",
        SLIPPED + "test_compass__field_of_the_north_points_down_and_declination_is_eastward",
    ),
    # ---------------------------------------------------------------- parting
    PlantedError(
        "separation: the two masses swapped",
        "core/whole/dividing.py",
        "d_aft = scale(d_fore, -fore.mass / aft.mass)",
        "d_aft = scale(d_fore, -aft.mass / fore.mass)",
        "the common centre jumps as the stack parts",
        SEPARATION + "test_separation__keeps_momentum_and_adds_the_work_of_the_impulse",
    ),
    PlantedError(
        "separation: speed of a turning stack left out",
        "core/whole/dividing.py",
        "own = add(cross(rate, d), Vec3(push / mass, 0.0, 0.0))",
        "own = Vec3(push / mass, 0.0, 0.0)",
        "each body keeps the common centre's velocity, without w x d",
        SEPARATION + "test_separation__keeps_momentum_and_adds_the_work_of_the_impulse",
    ),
    PlantedError(
        "separation: both pushed by one mass",
        "core/whole/dividing.py",
        "Vec3(push / mass, 0.0, 0.0)",
        "Vec3(push / fore.mass, 0.0, 0.0)",
        "the impulse split as if both bodies weighed the same",
        SEPARATION + "test_separation__keeps_momentum_and_adds_the_work_of_the_impulse",
    ),
    PlantedError(
        "joint's tilt turns about the nose tip",
        "core/whole/stack.py",
        "return Bend(turn_y, turn_z, moment_y, moment_z)",
        "return Bend(turn_y, turn_z, 0.0, 0.0)",
        "a tilted booster swings about the nose, not about its joint",
        SEPARATION + "test_tilted_joint__turns_thrust_fins_and_the_parted_booster",
    ),
    PlantedError(
        "harness: one piece's mass for the reduced one",
        "core/whole/harness.py",
        "reduced = fore * aft / (fore + aft)",
        "reduced = loose",
        "the snatch of a harness as if one end were held fast",
        RECOVERY + "test_snatch__is_the_energy_of_the_charge_in_the_harness_as_a_spring",
    ),
    PlantedError(
        "impact energy without half",
        "core/whole/facts.py",
        "out[BodyFact.ENERGY] = 0.5 * mass * square",
        "out[BodyFact.ENERGY] = mass * square",
        "m V^2 for m V^2/2",
        SLIPPED + "test_impact__kinetic_energy",
    ),
    # ---------------------------------------------------------------- filters of the flight computer, linear models
    PlantedError(
        "gyro lag: last tick's share",
        "core/computer/sensors.py",
        "old = 1.0 - e - new",
        "old = 1.0 - e + new",
        "the rate of the last tick weighs as if there were no new one",
        FILTERS + "test_lag__is_the_exact_first_order_lag_of_straight_lines",
    ),
    PlantedError(
        "notch: a1's sign",
        "core/computer/control.py",
        "- gains[Gain.NOTCH_A1] * n",
        "+ gains[Gain.NOTCH_A1] * n",
        "the filter's feedback taken from the other side of its equation",
        FILTERS + "test_notched__is_the_difference_equation",
    ),
    PlantedError(
        "computation delay left out",
        "autopilot/servo.py",
        "delay = servo.delay + mission.autopilot.computation_delay",
        "delay = servo.delay",
        "commands leave the computer as its sensors are read",
        FILTERS + "test_computation_delay__adds_to_that_of_the_servos",
    ),
    PlantedError(
        "angles in turning axes, sign",
        "study/loops/linear_slopes.py",
        "slope[:, ANGLE, ANGLE] = -_cross_matrix(",
        "slope[:, ANGLE, ANGLE] = _cross_matrix(",
        "small turns of a turning body carried the other way round",
        LINEAR + "test_deviation__is_what_models_along_the_flight_predict",
    ),
    PlantedError(
        "central difference without half",
        "study/loops/linear_slopes.py",
        "change / (2.0 * share * step * scales",
        "change / (share * step * scales",
        "a difference over two steps divided by one",
        LINEAR + "test_derivatives__no_incidence",
    ),
    PlantedError(
        "gust's sign in a linear model",
        "study/loops/linear_slopes.py",
        "mean - along * size[:, None]",
        "along * size[:, None] - mean",
        "the air of a flight through gusts moves the other way in its linear models",
        "tests/study/loops/test_linear.py::test_gusts__of_the_flight_are_flown_in",
    ),
    # ---------------------------------------------------------------- attitude loops
    PlantedError(
        "old and new command swapped",
        "study/loops/sampled_plant.py",
        "return phi2 @ phi1, new, phi2 @ held, gust",
        "return phi2 @ phi1, phi2 @ held, new, gust",
        "in the tick in which a command is late, it is taken to act first and the one before it last",
        LOOPS + "test_servo__states_are_the_kernel",
    ),
    PlantedError(
        "gust of the late part left out",
        "study/loops/sampled_plant.py",
        "gust + phi2 @ gust1",
        "gust",
        "a gust blows only once the new command is in force, and not for the rest of the tick",
        LOOPS + "test_servo__delay_changes_nothing_but_commands",
    ),
    PlantedError(
        "late for what is left of the tick",
        "study/loops/sampled_plant.py",
        "_advance(a, b, g, period, late)",
        "_advance(a, b, g, period, period - late)",
        "a command late by a quarter of a tick is taken as late by three quarters",
        LOOPS + "test_servo__states_are_the_kernel",
    ),
    PlantedError(
        "bending slope in yaw, sign",
        "study/loops/sampled_plant.py",
        "else -bending.slope_at_gyro",
        "else bending.slope_at_gyro",
        "the yaw gyro reads the airframe's bending as if sideways and downwards turned the same way",
        LOOP_MARGINS + "test_bending__against_an_independent_model",
    ),
    PlantedError(
        "integral one tick late",
        "study/loops/law_model.py",
        "raw = gains.scale[:, None] * (direct + integral + derivative",
        "raw = gains.scale[:, None] * (direct + row(integral=1.0) + derivative",
        "i T/(z - 1) for i T z/(z - 1): the sum leaves this tick's error out",
        LOOPS + "test_law__response_is_that_of_the_textbook",
    ),
    PlantedError(
        "derivative filter's shares swapped",
        "study/loops/law_model.py",
        "row(derivative=1.0 - share, rate=-share * d)",
        "row(derivative=share, rate=-(1.0 - share) * d)",
        "the new reading gets the weight of the old ones",
        LOOPS + "test_law__matrices_are_the_kernel",
    ),
    PlantedError(
        "notch states swapped",
        "study/loops/law_model.py",
        "row(goal=1.0), notch_1, notch_2]",
        "row(goal=1.0), notch_2, notch_1]",
        "what the notch keeps for the next tick and for the one after change places",
        LOOPS + "test_law__matrices_are_the_kernel",
    ),
    PlantedError(
        "drawn gain factors left out",
        "study/loops/law_model.py",
        'found *= models["gain_factor"].values[None, :, None]',
        "found *= 1.0",
        "the loops of a drawn flight have the gains as written",
        LOOPS + "test_law__drawn_factors_and_pressure",
    ),
    PlantedError(
        "estimate's trapezoid, sign",
        "study/loops/sampled_plant.py",
        "last_read) + 0.5 * period * read",
        "last_read) - 0.5 * period * read",
        "the new half of the rule that sums rates to an angle is taken off",
        LOOPS + "test_sensors__lag_and_estimate_are_the_kernel",
    ),
    PlantedError(
        "law on the wrong side of the plant",
        "study/loops/loop.py",
        '"angle": -angle[:, None] * angles',
        '"angle": -angle[None, :] * angles',
        "in the coupled loop each demand's column is multiplied by the law of its own channel, not each angle's row",
        LOOPS + "test_closed_response__full_closes_the_coupled_loops",
    ),
    PlantedError(
        "delay margin from the near side",
        "study/loops/crossings.py",
        "lag = np.where(margin > 0.0, margin, margin + 2.0 * np.pi)",
        "lag = np.abs(margin)",
        "a loop below the critical point taken to reach it by less lag; a delay turns it the long way round",
        LOOP_MARGINS + "test_crossings__delay_goes_the_long_way_round",
    ),
    PlantedError(
        "delay margin by the crossover in Hz",
        "study/loops/crossings.py",
        "lag / omega",
        "lag / (0.5 * omega / np.pi)",
        "an angle in rad divided by turns a second",
        LOOP_MARGINS + "test_crossings__integrator_with_dead_time",
    ),
    PlantedError(
        "coupled: channels in the wrong order",
        "study/loops/margins.py",
        "_one_of(values, c)",
        "_one_of(values, 2 - c)",
        "roll's margins come from yaw's loop on the grid, and yaw's from roll's",
        LOOP_MARGINS + "test_coupled__one_channel_at_its_margin_with_the_others_closed",
    ),
    PlantedError(
        "other loops closed the wrong way",
        "study/loops/margins.py",
        "inner = np.eye(2) + loop",
        "inner = np.eye(2) - loop",
        "positive feedback in the channels that stay closed",
        LOOP_MARGINS + "test_coupled__one_channel_at_its_margin_with_the_others_closed",
    ),
    PlantedError(
        "full play for half of it",
        "study/loops/describing.py",
        '0.5 * _size(play, "play")',
        '_size(play, "play")',
        "the output follows the whole play behind instead of half of it",
        "tests/study/loops/test_describing.py::test_backlash__is_that_of_the_core",
    ),
    PlantedError(
        "frozen flight: sensors a tick late",
        "study/loops/frozen.py",
        "self.sensing + sensors.d[0] @ true",
        "self.sensing + sensors.d[0] @ (true - true)",
        "the law is told what the sensors knew at the last tick, and nothing of this one",
        "tests/study/loops/test_frozen.py::test_simulate_frozen__without_imperfections_it_is_the_linear_loop",
    ),
    PlantedError(
        "Parseval's factor 2",
        "study/tuning/problem.py",
        "return 2.0 / np.pi * (np.trapezoid",
        "return 1.0 / np.pi * (np.trapezoid",
        "the integral over positive frequencies taken for that over all of them",
        "tests/study/tuning/test_tuning.py::test_slowness__of_a_first_order_lag_is_its_time_constant",
    ),
    *stability.ERRORS,
    *sweep.ERRORS,
    *triggers.ERRORS,
    *weathercock.ERRORS,
    *all_round.ERRORS,
    *structure.ERRORS,
    *roll.ERRORS,
    *recovery.ERRORS,
    *loads.ERRORS,
    *canopies.ERRORS,
    *ejections.ERRORS,
    *rare_branches.ERRORS,
    *records.ERRORS,
    *wind.ERRORS,
    *launch_card.ERRORS,
    *landing.ERRORS,
    *motor_choice.ERRORS,
    *static_firing.ERRORS,
    *video.ERRORS,
    *telemetry.ERRORS,
    *lost_bodies.ERRORS,
    *flight_logs.ERRORS,
    *as_built.ERRORS,
    *estimates.ERRORS,
    *against.ERRORS,
)


# ---------------------------------------------------------------- planting and running


def is_core(file: str) -> bool:
    """Tell whether an edit of this file changes the kernels."""
    return file.startswith("core/") or file.startswith("_jit/")


def plant(error: PlantedError | None, folder: Path, *, core: bool) -> Path:
    """Copy the package into `folder`, plant the error (None: nothing) and return the copy.

    core : copy the kernels too. Without them the copy takes the package's own, compiled and cached already.
    """
    copy = folder / "sixdof"
    shutil.copytree(SOURCE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    if not core:
        shutil.rmtree(copy / "core")
        shutil.rmtree(copy / "_jit")
    if error is not None:
        path = copy / error.file
        text = path.read_text()
        if text.count(error.right) != 1:
            times = text.count(error.right)
            raise ValueError(f'"{error.name}": its right text stands {times} times in {error.file}, not once')
        path.write_text(text.replace(error.right, error.wrong))
    return copy


# the copy's module is imported first and looked at, so that no test can have run against the package itself
LAUNCH = """
import importlib, sys
import pytest, sixdof
module, expected, kernels, *arguments = sys.argv[1:]
if kernels:
    sixdof.__path__.append(kernels)
if importlib.import_module(module).__file__ != expected:
    sys.exit(9)
sys.exit(pytest.main(arguments))
"""


def run_tests(copy: Path, file: str, tests: Sequence[str], *, core: bool, stop: bool = True) -> Verdict:
    """Run tests with the package of `copy`, whose `file` must be the one imported.

    An edited kernel is run as plain Python: seconds, where compiling all of them again takes a minute and more.
    """
    report = copy.parent / "report.xml"
    report.unlink(missing_ok=True)
    module = ".".join(["sixdof", *Path(file).with_suffix("").parts]).removesuffix(".__init__")
    environment = os.environ | {"PYTHONPATH": str(copy.parent), "PYTHONDONTWRITEBYTECODE": "1"}
    environment["SIXDOF_COMPILING"] = "1"  # a copy is flown once: it compiles what its test needs, and no more
    environment["HYPOTHESIS_STORAGE_DIRECTORY"] = str(copy.parent / "hypothesis")
    plainly = ["-W", "ignore::RuntimeWarning"] if core else []  # compiled kernels divide by zero without a word
    if core:
        environment["NUMBA_DISABLE_JIT"] = "1"
    else:
        environment.pop("NUMBA_DISABLE_JIT", None)
    command = [sys.executable, "-c", LAUNCH, module, str(copy / file), "" if core else str(SOURCE), *tests]
    command += ["-q", "--tb=line", "-n", "0", "-p", "no:cacheprovider", f"--junitxml={report}", *plainly, *(["-x"] if stop else [])]
    start = time.perf_counter()
    try:
        code = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, timeout=TIME_LIMIT).returncode
    except subprocess.TimeoutExpired:
        code = -1
    seconds = time.perf_counter() - start
    return Verdict(*_read(report), code, seconds)


def _read(report: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the tests that failed by an assertion, and those that broke in another way (error, exception)."""
    failed, broken = [], []
    if report.is_file():
        for case in ElementTree.parse(report).iter("testcase"):
            name = f"{case.get('classname').replace('.', '/')}.py::{case.get('name').split('[')[0]}"
            for failure in case.iter("failure"):
                by_assertion = failure.get("message", "").startswith(("assert", "AssertionError", "Failed"))
                (failed if by_assertion else broken).append(name)
            broken += [name for _ in case.iter("error")]
    return tuple(dict.fromkeys(failed)), tuple(dict.fromkeys(broken))


def caught(verdict: Verdict, test: str) -> bool:
    """Tell whether the test failed, by its own assertion and in no other way."""
    return verdict.code == 1 and verdict.failed == (test,) and not verdict.broken


def check(error: PlantedError) -> Verdict:
    """Plant one error in a copy of its own and run the test that is to catch it."""
    core = is_core(error.file)
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        return run_tests(plant(error, Path(folder), core=core), error.file, [error.caught_by], core=core)


# ---------------------------------------------------------------- the table


def near_by(error: PlantedError) -> list[str]:
    """Return what is cheap to run beside the test named: its file and the tests of the error's room; nothing for kernels."""
    if is_core(error.file):
        return []
    room = Path("tests") / Path(error.file).parent
    return [error.caught_by.split("::")[0], *([str(room)] if room != Path("tests") and (ROOT / room).is_dir() else [])]


def also_caught(error: PlantedError) -> list[str]:
    """Plant one error and return the other tests near by that catch it."""
    tests = near_by(error)
    if not tests:
        return []
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        verdict = run_tests(plant(error, Path(folder), core=False), error.file, tests, core=False, stop=False)
    return [test for test in verdict.failed if test != error.caught_by]


def written() -> dict[str, list[str]]:
    """Return the rows of the table as it stands, by the errors' names."""
    if not TABLE.is_file():
        return {}
    with TABLE.open(newline="") as file:
        return {row[0]: row for row in list(csv.reader(file))[1:]}


def write(rows: dict[str, list[str]]) -> None:
    """Write the table in the errors' order; what is planted no more is left out."""
    with TABLE.open("w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["error", "file", "what is wrong", "caught by", "seconds", "near by also caught by"])
        table.writerows(rows[error.name] for error in PLANTED if error.name in rows)


def main(arguments: Sequence[str]) -> int:
    record = "--record" in arguments
    names = [name for name in arguments if not name.startswith("--")]
    chosen = [error for error in PLANTED if not names or error.name in names]
    missed = 0
    for error in chosen:
        verdict = check(error)
        good = caught(verdict, error.caught_by)
        missed += not good
        word = "caught" if good else "MISSED"
        print(f"{word} {verdict.seconds:6.1f} s  {error.file:<24} {error.name}  [{error.caught_by}]", flush=True)
        if not good:
            print(f"       code {verdict.code}, failed {verdict.failed}, broken {verdict.broken}", flush=True)
        if record:
            others = also_caught(error)
            also = "; ".join(others[:ALSO]) + (f"; and {len(others) - ALSO} more" if len(others) > ALSO else "")
            by = error.caught_by if good else "NOTHING"
            write(written() | {error.name: [error.name, error.file, error.words, by, f"{verdict.seconds:.1f}", also]})
    print(f"{len(chosen) - missed} of {len(chosen)} caught")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
