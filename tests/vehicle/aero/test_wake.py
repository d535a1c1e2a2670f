"""Tables of the vortices shed onto fins behind: which sets, what one vortex does, and its image in the body."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from two_stages import on_booster

from sixdof.core.columns import WAKE_COLUMNS, WakeColumn
from sixdof.mission.tables import Fins, Nose, Stage, Tube
from sixdof.vehicle.aero import wake
from sixdof.vehicle.aero.fin import roll_arm
from sixdof.vehicle.aero.roll import roll_factors
from sixdof.vehicle.geometry import shape_of

R, SPAN, ROOT, TIP = 0.05, 0.12, 0.2, 0.1
CORE = 0.002
QUAD = 2e-3  # relative to the largest value: 64 points across a core of 0.002 in 0.12 m
EXACT = 1e-12


def _fins(**change):
    given = dict(count=4, station=0.6, root_chord=ROOT, tip_chord=TIP, semispan=SPAN, tip_offset=0.1, thickness=0.003)
    return Fins(mass=0.1, **{**given, **change})


def _set(**change):
    body = Nose(mass=0.1, length=0.3, diameter=2 * R), Tube(mass=0.1, length=0.7, diameter=2 * R)
    return shape_of([Stage.model_construct(name="one", part=(*body, _fins(**change)))]).fins[0]


def _stream(place: complex, at: complex) -> complex:
    """Complex velocity v - i w of a unit vortex outside a circle of radius R and of its opposite at the inverse
    point.
    """
    inverse = R**2 / np.conj(place)
    return (1.0 / (at - place) - 1.0 / (at - inverse)) / (2j * np.pi)


def _at(table, fin, s, h):
    """Table value at the grid point nearest (s, h), and that point."""
    step = wake.REACH * wake.tip_radius(fin) / wake.CELLS
    i, j = round(s / step) + wake.CELLS, round(h / step) + wake.CELLS
    return table[:, i, j], (i - wake.CELLS) * step, (j - wake.CELLS) * step


def test_image__no_flow_through_the_circle():
    """L. M. Milne-Thomson, Theoretical Hydrodynamics: the circle stays a streamline with the image at the inverse
    point.
    """
    for place in (0.08 + 0.03j, -0.02 + 0.2j, 0.051 + 0.0j):
        ring = R * np.exp(1j * np.linspace(0.1, 6.2, 40))
        through = (_stream(place, ring) * ring / R).real
        assert np.abs(through).max() < EXACT * np.abs(_stream(place, ring)).max()


@pytest.mark.parametrize("s, h", [(0.09, 0.03), (0.12, -0.05), (0.2, 0.0), (-0.1, 0.08), (0.07, 0.2), (0.0, 0.1)])
def test_influence__independent_quadrature_with_the_circle_theorem(s, h):
    """The plane of the panel is the real axis (span), its normal points along +imaginary after turning about +x."""
    fin = _set()
    found, s, h = _at(wake.influence(fin, core=CORE), fin, s, h)
    place = complex(s, h)

    def wash(y):
        # a vortex turning from span to ... positive about x: inboard along -normal (see core/forces/aerodynamics.py)
        across = y - s
        inverse = R**2 / np.conj(place)
        own = across / (across**2 + h**2 + CORE**2)
        image = (y - inverse.real) / ((y - inverse.real) ** 2 + inverse.imag**2 + CORE**2)
        return (own - image) / (2.0 * np.pi)

    far = R + SPAN
    assert wash(far) == pytest.approx(-_stream(place, complex(far, 0.0)).imag, rel=5e-3)  # the core is all that differs
    chord = lambda y: ROOT + (TIP - ROOT) * (y - R) / SPAN  # noqa: E731
    breaks = [s] if R < s < far else None
    force = quad(lambda y: wash(y) * chord(y), R, far, points=breaks, limit=400)[0] / (0.5 * (ROOT + TIP) * SPAN)
    shape = lambda y: y * np.sqrt(1.0 - ((y - R) / SPAN) ** 2)  # noqa: E731
    scale = roll_factors(np.zeros(1), fin)[0][0] * roll_arm(fin) / quad(lambda y: y * shape(y), R, far)[0]
    weight = lambda y: scale * shape(y)  # noqa: E731
    roll = quad(lambda y: wash(y) * weight(y), R, far, points=breaks, limit=400)[0]
    # the grid point may lie on the panel itself: there the integrand jumps by its size within a core
    assert found == pytest.approx([force, roll], abs=QUAD * 10.0 if h == 0.0 else QUAD)


def test_influence__sign_and_decay():
    """A vortex right outside the tip blows inboard along -normal on all of the panel; far away it is gone."""
    fin = _set()
    table = wake.influence(fin, core=CORE)
    (near, near_roll), *_ = _at(table, fin, 1.1 * (R + SPAN), 0.0)
    assert near < -1.0 and near_roll < -0.3
    assert np.abs(table[:, [0, -1], :]).max() == 0.0 and np.abs(table[:, :, [0, -1]]).max() == 0.0


def test_influence__a_pair_far_above_is_gone_a_single_vortex_leaves_its_circulation_in_the_body():
    """Opposite images of a pair nearly cancel; a lone vortex far away leaves the body turning with its opposite."""
    fin = _set()
    table = wake.influence(fin, core=CORE)
    pairs = []
    for up in (1.0, 2.0):
        right, left = (_at(table, fin, side * 0.1, up * (R + SPAN))[0][0] for side in (1.0, -1.0))
        pairs.append(abs(right - left))
    assert pairs[1] < 0.45 * pairs[0]  # steeper than one over the distance, which would be 0.5
    lone, *_ = _at(table, fin, -2.4 * (R + SPAN), 0.0)
    y, force, _ = wake.span_weights(fin)
    far = (1.0 / (y + 2.4 * (R + SPAN)) - 1.0 / (y + R**2 / (2.4 * (R + SPAN)))) / (2.0 * np.pi)
    assert lone[0] == pytest.approx((force * far).sum(), rel=0.02)  # the grid's point is not just there


def test_influence__mirrored_vortex():
    table = wake.influence(_set(), core=CORE)
    np.testing.assert_allclose(table, table[:, :, ::-1], atol=EXACT * np.abs(table).max())
    assert np.abs(table[:, wake.CELLS, wake.CELLS]).max() == 0.0  # inside the body nothing is left


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 12), st.floats(0.02, 0.4), st.floats(0.0, 1.0), st.floats(0.05, 0.4))
def test_span_weights__force_and_the_moment_of_a_roll(count, span, taper, root):
    """Air that moves with the roll makes the damping of the aerodynamic tables, at any number and shape of fins."""
    fin = _set(count=count, semispan=span, root_chord=root, tip_chord=taper * root, station=0.5)
    y, force, roll = wake.span_weights(fin)
    assert (roll * y).sum() == pytest.approx(roll_factors(np.zeros(1), fin)[0][0] * roll_arm(fin), rel=1e-12)
    assert force.sum() == pytest.approx(1.0, rel=1e-12) and (roll > 0.0).all() and ((y > R) & (y < R + span)).all()


def test_pairs__only_sets_behind_another(demo_mission):
    pair, table = wake.wake_tables(shape_of(demo_mission.stage))
    assert pair.shape == (0, WAKE_COLUMNS) and table.shape[0] == 0
    shape = shape_of(on_booster(demo_mission).stage)
    (row,), tables = wake.wake_tables(shape)
    front, back = shape.fins
    assert row[[WakeColumn.FIRST, WakeColumn.COUNT, WakeColumn.RECEIVER]].tolist() == [0, 4, 1] and tables.shape[:2] == (1, 2)
    assert row[WakeColumn.LATERAL] == pytest.approx(front.body_radius + np.pi / 4 * front.span, rel=1e-12)
    assert 0.0 < row[WakeColumn.LENGTH] < back.x0 + back.root_chord - front.x0
    # sweep 25 mm, chords 80 and 45 mm: the trailing edge runs from 80 to 70 mm, the hinge is at 34 mm
    assert row[WakeColumn.LEVER] == pytest.approx(0.080 - 0.010 * np.pi / 4 - 0.034, abs=1e-9)


def test_pairs__sets_side_by_side_shed_nothing_on_each_other():
    parts = Nose(mass=0.1, length=0.3, diameter=2 * R), Tube(mass=0.1, length=0.7, diameter=2 * R)
    side = _fins(), _fins(clocking=0.785)
    pair, _ = wake.wake_tables(shape_of([Stage.model_construct(name="one", part=(*parts, *side))]))
    assert pair.shape[0] == 0
