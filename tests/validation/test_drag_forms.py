"""The forms of the drag build-up against values computed from the same published formulas, and exact bounds.

Sources: H. Schlichting, Boundary-Layer Theory; S. F. Hoerner, Fluid-Dynamic Drag, 1965; Barrowman 1967; USAF DATCOM
(AFWAL-TR-83-3048); D. Raymer, Aircraft Design; E. L. Fleeman, Tactical Missile Design; NACA Report 1135, 1953; cones:
Taylor-Maccoll equation integrated for gamma 1.4 apart from this library.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from sixdof.vehicle.aero import fin as aero_fin
from sixdof.vehicle.aero import fin_drag as aero_fin_drag
from sixdof.vehicle.aero import friction as aero_friction
from sixdof.vehicle.aero import pressure as aero_pressure

DIGITS = 1e-3  # relative: printed to four significant digits or more, the smallest value to 0.001128
OTHER_FORMS = 0.04  # independent friction laws agree within 3.6 % from Re 1e6 to 1e9


@pytest.mark.parametrize("reynolds, mean", [(1e4, 0.013280), (1e5, 0.004200), (5e5, 0.001878), (1e6, 0.001328)])
def test_friction__laminar(reynolds, mean):
    assert aero_friction.laminar(reynolds) == pytest.approx(mean, rel=DIGITS)


@pytest.mark.parametrize(
    "reynolds, mean", [(1e5, 0.007156), (5e5, 0.005106), (1e6, 0.004471), (3e6, 0.003670), (1e7, 0.003004), (3e7, 0.002534), (1e8, 0.002128), (1e9, 0.001571)]
)
def test_friction__turbulent_mean_value(reynolds, mean):
    assert aero_friction.turbulent(reynolds) == pytest.approx(mean, rel=DIGITS)


@pytest.mark.parametrize("reynolds, mean", [(1e6, 0.002771), (3e6, 0.003103), (1e7, 0.002834), (3e7, 0.002477), (1e8, 0.002111), (1e9, 0.001569)])
def test_friction__smooth_plate_with_transition_at_half_a_million(reynolds, mean):
    assert aero_friction.plate_friction(reynolds, 0.0, 1.0, 0.0) == pytest.approx(mean, rel=DIGITS)


@pytest.mark.parametrize("reynolds, schoenherr", [(1e6, 0.004409), (3e6, 0.003600), (1e7, 0.002934), (1e8, 0.002072), (1e9, 0.001531)])
def test_friction__near_schoenherr(reynolds, schoenherr):
    assert aero_friction.turbulent(reynolds) == pytest.approx(schoenherr, rel=OTHER_FORMS)


def test_friction__continuous_through_transition():
    reynolds = np.geomspace(1e5, 1e7, 4001)
    drag = aero_friction.plate_friction(reynolds, 0.5, 0.3, 20e-6)
    assert np.max(np.abs(np.diff(drag)) / drag[1:]) < 0.005  # a step of 0.12 % in Re, steepest right after transition


MACH = (0.3, 0.5, 0.8, 1.0, 1.5, 2.0, 3.0, 5.0)


def test_compressibility__factors():
    """(1 + 0.045 M^2)^-0.25 laminar and (1 + 0.144 M^2)^-0.65 turbulent, five decimals."""
    laminar = (0.99899, 0.99721, 0.99293, 0.98906, 0.97618, 0.95947, 0.91850, 0.82825)
    turbulent = (0.99167, 0.97727, 0.94431, 0.91627, 0.83325, 0.74403, 0.58260, 0.37086)
    np.testing.assert_allclose(aero_friction.laminar_compressibility(MACH), laminar, atol=6e-6)
    np.testing.assert_allclose(aero_friction.turbulent_compressibility(MACH), turbulent, atol=6e-6)


def test_compressibility__within_the_band_of_published_forms():
    """(1 + 0.15 M^2)^-0.58: published forms differ by up to 9 % at Mach 5."""
    other = (0.99225, 0.97887, 0.94822, 0.92214, 0.84479, 0.76140, 0.60923, 0.40506)
    np.testing.assert_allclose(aero_friction.turbulent_compressibility(MACH), other, rtol=0.09)


ROUGHNESS = [
    (2e-6, 3.830e7, 0.002319),
    (5e-6, 1.459e7, 0.002786),
    (20e-6, 3.390e6, 0.003676),
    (60e-6, 1.066e6, 0.004579),
    (150e-6, 4.062e5, 0.005500),
    (500e-6, 1.143e5, 0.006998),
]


@pytest.mark.parametrize("grain, cutoff, rough", ROUGHNESS)
def test_roughness__cutoff_reynolds_number(grain, cutoff, rough):
    """38.21 (L/k)^1.053 for L = 1 m; Hoerner's 0.032 (k/L)^0.2 for the rough plate is another law of it (6 %)."""
    assert aero_friction.cutoff_reynolds(1.0 / grain, 0.0) == pytest.approx(cutoff, rel=DIGITS)
    fully_rough = aero_friction.plate_friction(1e9, 0.0, 1.0, grain)
    assert fully_rough == pytest.approx(rough, rel=0.06)


def test_roughness__supersonic_cutoff_is_higher():
    ratio = aero_friction.cutoff_reynolds(1e4, 2.0) / aero_friction.cutoff_reynolds(1e4, 0.0)
    assert ratio == pytest.approx(44.62 * 2.0**1.16 / 38.21, rel=1e-12)


@pytest.mark.parametrize("slenderness, factor", [(5, 1.1), (8, 1.0625), (10, 1.05), (15, 1.03333), (20, 1.025)])
def test_form_factor__body(slenderness, factor):
    assert aero_friction.body_form_factor(slenderness) == pytest.approx(factor, abs=5e-6)


@pytest.mark.parametrize("ratio, factor", [(0.04, 1.080154), (0.06, 1.120778), (0.08, 1.162458), (0.10, 1.206000)])
def test_form_factor__fin(ratio, factor):
    assert aero_friction.fin_form_factor(ratio, True) == pytest.approx(factor, abs=5e-7)
    assert aero_friction.fin_form_factor(ratio, False) == pytest.approx(1 + 2 * ratio, abs=1e-12)


def test_base__values_and_exact_bound():
    """Zero pressure on the base is the most there can be: CD < 2/(gamma M^2)."""
    mach = (0, 0.5, 0.8, 0.9, 1, 1.2, 1.5, 2, 3, 4)
    value = (0.1200, 0.1525, 0.2032, 0.2253, 0.2500, 0.2083, 0.1667, 0.1250, 0.0833, 0.0625)
    np.testing.assert_allclose(aero_pressure.base_pressure(mach), value, atol=6e-5)
    everywhere = np.linspace(0.02, 5, 500)
    assert np.all(aero_pressure.base_pressure(everywhere) < 2 / (1.4 * everywhere**2))


@pytest.mark.parametrize(
    "mach, wedge, biconvex",
    [
        (1.5, (0.005724, 0.012880, 0.022897), (0.007632, 0.017173)),
        (2.0, (0.003695, 0.008314, 0.014780), (0.004927, 0.011085)),
        (3.0, (0.002263, 0.005091, 0.009051), (0.003017, 0.006788)),
    ],
)
def test_thickness__ackeret(mach, wedge, biconvex):
    for ratio, value in zip((0.04, 0.06, 0.08), wedge):
        assert aero_fin_drag.thickness_drag(mach, ratio, "double-wedge") == pytest.approx(value, abs=6e-7)
    for ratio, value in zip((0.04, 0.06), biconvex):
        assert aero_fin_drag.thickness_drag(mach, ratio, "airfoil") == pytest.approx(value, abs=6e-7)


# half-angle deg: wave drag on the base area at Mach 1.5, 2, 4 (Taylor-Maccoll), and how far the fit may be off at each
CONES = [
    (7.5, (0.07741, 0.06559, 0.04887), (0.025, 0.025, 0.121)),
    (10.0, (0.12382, 0.10447, 0.07940), (0.025, 0.025, 0.121)),
    (15.0, (0.24005, 0.20225, 0.16077), (0.05, 0.05, 0.121)),
    (20.0, (0.38700, 0.32555, 0.26841), (0.061, 0.061, 0.121)),
]


@pytest.mark.parametrize("angle, drag, tolerance", CONES)
def test_cone__fit_against_taylor_maccoll(angle, drag, tolerance):
    """2.5 % at Mach 1.5-2 and 7.5-10 deg, 6 % at 20 deg, 12 % at Mach 4 (the fit's own accuracy)."""
    for mach, exact, allowed in zip((1.5, 2.0, 4.0), drag, tolerance):
        x, r = np.array([0.0, 1.0]), np.array([0.0, math.tan(math.radians(angle))])
        found = aero_pressure.widening(np.array([mach]), x, r)[0] / (math.pi * r[1] ** 2)
        assert found == pytest.approx(exact, rel=allowed)


def test_stagnation__rayleigh_and_isentropic():
    """NACA Report 1135: p0/p 1.0644 (M 0.3), 1.8929 (M 1); p02/p1 5.640 (M 2), 12.06 (M 3); ratio = 1 + 0.7 M^2 Cp."""
    for mach, ratio, last_digit in ((0.3, 1.0644, 1e-4), (1.0, 1.8929, 1e-4), (2.0, 5.640, 1e-3), (3.0, 12.06, 1e-2)):
        assert 1 + 0.7 * mach**2 * aero_pressure.stagnation(mach) == pytest.approx(ratio, abs=last_digit)


# ---------------------------------------------------------------- supersonic slopes of wings


@pytest.mark.parametrize(
    "mach, slope, centre", [(1.5, 2.777709, 0.451999), (2, 1.976068, 0.471886), (2.5, 1.555267, 0.479588), (3, 1.289214, 0.483840), (4, 0.966129, 0.488499)]
)
def test_wing__rectangular_of_ratio_2(mach, slope, centre):
    """(4/beta)[1 - 1/(2 beta AR)] and [1/2 - 1/(3 beta AR)]/[1 - 1/(2 beta AR)] (linear theory)."""
    assert aero_fin.supersonic_slope(mach, 0.1, 0.01, 0.0) / 0.01 == pytest.approx(slope, abs=6e-7)
    assert aero_fin.rectangle_centre(2 * math.sqrt(mach**2 - 1)) == pytest.approx(centre, abs=6e-7)


@pytest.mark.parametrize("mach, slope", [(1.2, 6.030227), (1.5, 3.577709), (2, 2.309401), (3, 1.414214), (5, 0.816497)])
@pytest.mark.parametrize("weight", [0.0, 0.3, 1.0])
def test_wing__wide_one_has_the_flat_plates_slope(mach, slope, weight):
    """4/beta (Ackeret; twice Busemann's C1): the tips' share is 1/(2 beta AR), 4e-6 at most here."""
    found = aero_fin.supersonic_slope(mach, 1e5, 1e5, weight) / 1e5
    assert found == pytest.approx(slope, rel=5e-6)


@pytest.mark.parametrize("b", [0.0, 0.5, 1.0, 2.0, 3.9])
def test_wing__delta_inside_the_mach_cone(b):
    """(pi/2)/E with the elliptic integral by quadrature; pi/2 for a slender one (Jones), 1 at b = 4."""
    k2 = 1 - (b / 4) ** 2
    integral = quad(lambda t: math.sqrt(1 - k2 * math.sin(t) ** 2), 0, math.pi / 2)[0]
    assert aero_fin.triangle_load(b) == pytest.approx(0.5 * math.pi / integral, rel=1e-9)
