"""Hinged fins: typical sections against an independent solution, divergence in closed form, frequencies, free play, and the kernel's own moments."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import fsolve
from scipy.special import jv, yv

import sixdof
from sixdof.study.structure.hinge import slopes_of
from sixdof.study.structure.hinge_flutter import Slopes, air_matrices, divergence_pressure, flutter_speeds, theodorsen
from sixdof.study.structure.hinge_modes import Modes, Panel, modes_of, panel_of, play_amplitude, play_factor
from sixdof.vehicle.geometry import shape_of

PLANE = Slopes(np.array([2.0 * math.pi]), np.array([0.25]), np.array([1.0]))  # a thin aerofoil in plane flow
# axis a, unbalance x, mass ratio mu, radius of gyration squared, frequency ratio: semichord 1, density 1, hinge frequency 1
SECTIONS = {"usual": (-0.2, 0.1, 20.0, 0.24, 0.4), "light": (-0.15, 0.25, 8.0, 0.3, 0.5), "slow turning": (-0.3, 0.2, 40.0, 0.25, 0.8)}


def section(a: float, x: float, mu: float, r2: float, sigma: float) -> tuple[Panel, Modes]:
    mass = mu * math.pi
    panel = Panel(np.array([1.0]), np.array([2.0]), np.array([0.0]), np.array([1.0]), np.array([1.0]), 1.0 + a, 1.0, 1.0)
    return panel, Modes(mass, mass * x, mass * r2, mass * sigma**2, mass * r2)


def lift_lag(k: float) -> complex:
    """C(k) from Bessel functions of the first and second kind, as NACA Report 496 writes it."""
    j1, j0, y1, y0 = jv(1, k), jv(0, k), yv(1, k), yv(0, k)
    square = (j1 + y0) ** 2 + (y1 - j0) ** 2
    return (j1 * (j1 + y0) + y1 * (y1 - j0) - 1j * (y1 * y0 + j1 * j0)) / square


def independent(a: float, x: float, mu: float, r2: float, sigma: float, start: tuple[float, float]) -> np.ndarray:
    """Return frequency and flutter speed of a typical section by Newton's method on its determinant, equations as in Bisplinghoff, Ashley and Halfman."""

    def determinant(z):
        w, v = z
        p, c = 1j * w, lift_lag(w / v)
        aft = 0.5 - a
        lift = -np.array([p * p + 2 * v * c * p, v * p - a * p * p + 2 * v * c * (v + aft * p)]) / mu
        moment = np.array([a * p * p + 2 * v * (a + 0.5) * c * p, -v * aft * p - (0.125 + a * a) * p * p + 2 * v * (a + 0.5) * c * (v + aft * p)]) / mu
        whole = np.linalg.det(np.array([[p * p + sigma**2, x * p * p], [x * p * p, r2 * (p * p + 1.0)]]) - np.array([lift, moment]))
        return whole.real, whole.imag

    return fsolve(determinant, start, xtol=1e-12)


@pytest.mark.parametrize("name", SECTIONS)
def test_flutter__of_a_typical_section_by_an_independent_determinant(name):
    panel, modes = section(*SECTIONS[name])
    speed, frequency = flutter_speeds(modes, panel.semichord, air_matrices(panel, PLANE), [1.0])
    w, v = independent(*SECTIONS[name], (2.0 * math.pi * float(frequency[0, 0]), float(speed[0, 0])))
    assert float(speed[0, 0]) == pytest.approx(v, rel=3e-3)  # reduced frequencies 2 % apart, straight lines between
    assert 2.0 * math.pi * float(frequency[0, 0]) == pytest.approx(w, rel=3e-3)


def test_flutter__usual_section_of_the_textbooks():
    # 2.165 semichords a hinge radian with finite-state aerodynamics, which are some 1 % from Theodorsen's (a textbook's, from memory)
    panel, modes = section(*SECTIONS["usual"])
    assert float(flutter_speeds(modes, panel.semichord, air_matrices(panel, PLANE), [1.0])[0][0, 0]) == pytest.approx(2.165, rel=0.015)
    v = math.sqrt(2.0 * float(divergence_pressure(panel, PLANE, modes.hinge_stiffness)[0]))
    assert v == pytest.approx(math.sqrt(0.24 * 20.0 / 0.6), rel=1e-12)  # r sqrt(mu/(1 + 2 a)) = 2.828


def test_flutter__none_with_the_mass_ahead_of_the_hinge():
    # of a light, all-moving section whose hinge lies ahead of the quarter chord and whose mass lies ahead of the hinge, nothing couples the two motions
    panel, modes = section(-0.6, -0.05, 20.0, 0.24, 0.4)
    assert np.isinf(flutter_speeds(modes, panel.semichord, air_matrices(panel, PLANE), [1.0])[0]).all()


def test_theodorsen__tabulated_values():
    # T. Theodorsen, NACA Report 496, table of F and G
    for k, f, g in ((0.1, 0.8319, -0.1723), (0.5, 0.5979, -0.1507), (1.0, 0.5394, -0.1003)):
        assert complex(theodorsen(np.array([k]))[0]) == pytest.approx(complex(f, g), abs=6e-5)


# ---------------------------------------------------------------- panels of a vehicle


@pytest.fixture(scope="module")
def tail(demo_mission):
    mission = demo_mission.change({"stage.0.part.tail.hinge_stiffness": "25 N*m/rad"})
    shape = shape_of(mission.stage)
    return mission, shape, shape.fins[0]


def test_modes__of_a_rectangular_plate_in_closed_form():
    usual = {"count": 2, "station": 0.0, "thickness": 0.003, "control": True, "hinge": 0.02, "density": 1600.0, "material": "carbon-fibre"}
    part = sixdof.parts.Fins(**usual, root_chord=0.06, tip_chord=0.06, semispan=0.05, hinge_stiffness=25.0)
    from sixdof.vehicle.geometry import _fin_set

    panel = panel_of(_fin_set(part, 0, 0.0, lambda x: 0.03))
    modes = modes_of(panel, 25.0)
    mass = 1600.0 * 0.003 * 0.06 * 0.05
    assert modes.inertia == pytest.approx(mass * (0.06**2 / 12.0 + 0.01**2), rel=1e-10)
    # a uniform cantilever: 3.516/(2 pi) sqrt(E t^2/(12 rho))/L^2, by an assumed shape 0.4 % high
    bending = math.sqrt(modes.bending_stiffness / modes.bending_mass) / (2.0 * math.pi)
    assert bending == pytest.approx(3.516 / (2.0 * math.pi) * math.sqrt(55e9 * 0.003**2 / 12.0 / 1600.0) / 0.05**2, rel=6e-3)
    # two coupled frequencies: their squares' sum and product of the characteristic polynomial
    square = (2.0 * math.pi * modes.frequencies()) ** 2
    det = modes.bending_mass * modes.inertia - modes.coupling**2
    assert square.prod() == pytest.approx(modes.bending_stiffness * 25.0 / det, rel=1e-9)
    assert square.sum() == pytest.approx((modes.bending_stiffness * modes.inertia + 25.0 * modes.bending_mass) / det, rel=1e-9)


def test_divergence__is_where_the_kernels_own_hinge_moment_balances_the_stiffness(tail):
    mission, shape, fin = tail
    mach, angle = 0.5, 1e-3
    flow = sixdof.aero.wind_tunnel(mission, mach=mach, incidence=0.0, roll=0.0, fin_angle=angle)
    slope = abs(float(np.ravel(flow.hinge_moment)[0])) / angle / float(flow.dynamic_pressure)
    found = float(divergence_pressure(panel_of(fin), slopes_of(fin, shape, np.array([mach])), 25.0)[0])
    assert found == pytest.approx(25.0 / slope, rel=2e-3)  # the kernel's moment bends with the angle


def test_divergence__none_with_the_load_behind_the_hinge(tail):
    _, shape, fin = tail
    panel = panel_of(fin)._replace(hinge=0.01)
    assert np.isinf(divergence_pressure(panel, slopes_of(fin, shape, np.array([0.3, 1.5])), 25.0)).all()


def test_play__describing_function_by_integration():
    # first harmonic of a dead zone of half width 1 under A sin
    for amplitude in (1.2, 2.0, 5.0):
        turn = np.linspace(0.0, 2.0 * math.pi, 200001)
        swing = amplitude * np.sin(turn)
        force = np.sign(swing) * np.maximum(np.abs(swing) - 1.0, 0.0)
        assert float(play_factor(amplitude)) == pytest.approx(np.trapezoid(force * np.sin(turn), turn) / (math.pi * amplitude), abs=1e-6)
        assert play_amplitude(float(play_factor(amplitude))) == pytest.approx(amplitude, rel=1e-6)
    assert play_factor(0.5) == 0.0
