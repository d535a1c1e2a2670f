"""Fins ahead of fins: the vortices' strength and place, what they do, and an independent vortex lattice as the judge.

Relations: W. C. Pitts, J. N. Nielsen, G. E. Kaattari, NACA Report 1307, 1957 (from memory, re-derived). Lattice:
tests/support/independent_lattice.py, itself held here against R. T. Jones, NACA Report 835, 1946 (planar slender wing: lift
slope pi AR/2, C_l_p -pi AR/32) and G. J. Adams, NACA TN 2270, 1951 (cruciform slender wing: damping in roll 62 %
greater; from the abstract, second-hand).
"""

from __future__ import annotations

from dataclasses import replace

import independent_lattice as lattice
import numpy as np
import pytest
import xarray as xr
from fin_sets import fin_set
from stream import SPEED, panels
from two_stages import on_booster

from sixdof.core.columns import FinColumn, PanelColumn, SeenColumn, WakeColumn
from sixdof.study.aero.authority import survival
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.vehicle.aero import interference, wake
from sixdof.vehicle.aero.fin import panel_slope
from sixdof.vehicle.geometry import shape_of

SMALL = np.radians(0.5)
LINEAR = 2e-3  # relative: sin e cos e against e at 1 deg, and the core
SLENDER = 0.06  # lattice at AR 0.2, 20 rows and 8 columns, against the limit AR -> 0
TABLE = 0.08  # of the largest moment: elliptic loading in place of the lattice's, away from the panel's plane
FORCE = 0.17  # of the largest force: chord as the weight (strip theory), away from the panel's plane
ROLL = 0.09  # 5 % is the lattice's own excess at 12 rows (test_roll.py)
SURVIVES = 0.25  # of the commanded moment: rolled-up vortices against a flat sheet, strip theory of the fins ahead
R = 0.0375
FRONT = dict(root=0.08, tip=0.045, span=0.048, sweep=0.025)  # the demo's tail fins, m


@pytest.fixture(scope="module")
def plain(demo_mission):
    """The demo without slots, which the theory below does not know."""
    return demo_mission.change({"stage.0.part.tail.root_gap": 0.0})


def _along(mission, phase, **fins):
    """The stack with the demo's fins at `phase` 0 and the booster's behind at `phase`."""
    return on_booster(mission.change({"stage.0.part.tail.clocking": 0.0}), clocking=phase, **fins)


# ---------------------------------------------------------------- strength and place


def test_vortex__circulation_of_a_pair(plain):
    """Gamma/V = S CLa_W [K_W alpha + k_W delta]/[4 (f - r)] for the pair of level panels, NACA 1307."""
    stack = _along(plain, 0.0)
    alpha, delta = SMALL, 0.5 * SMALL
    # fins 2 and 4 are level (90 and 270 deg); a positive angle lifts (towards -z) on fin 2 and pushes on fin 4
    _, seen, model = panels(stack, incidence=alpha, angles=[0.0, delta, 0.0, -delta])
    fin = shape_of(stack.stage).fins[0]
    x = fin.body_radius / (fin.body_radius + fin.span)
    area_slope = 2.0 * model.aero.fin[4, 0, FinColumn.SLOPE] * model.aero.area  # of the pair, near Mach 0.09
    f_minus_r = np.pi / 4.0 * fin.span
    angle = float(interference.panel_incidence(x)) * alpha + float(interference.panel_deflection(x)) * delta
    expected = area_slope * angle / (4.0 * f_minus_r)
    assert seen[1, SeenColumn.VORTEX] / SPEED == pytest.approx(expected, rel=LINEAR)
    assert seen[3, SeenColumn.VORTEX] / SPEED == pytest.approx(-expected, rel=LINEAR)
    assert seen[0, SeenColumn.VORTEX] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("angles", [[0.1, -0.05, 0.02, 0.0], [0.05, 0.05, -0.05, -0.05]])
def test_vortex__load_is_density_speed_circulation_and_span(plain, angles):
    """One vortex a panel: load = rho V Gamma (f - r), all weakened alike to the rolling moment of the set."""
    flow = {"incidence": 0.1, "roll": 0.3, "angles": angles}
    _, seen, model = panels(on_booster(plain), **flow)
    alone, *_ = panels(plain, **flow)
    row = model.aero.wake_pair[0]
    carried = 1.2 * SPEED * seen[:4, SeenColumn.VORTEX] * (row[WakeColumn.LATERAL] - row[WakeColumn.BODY])
    less = carried - seen[:4, SeenColumn.LOAD]
    assert less == pytest.approx(less.mean(), abs=1e-9 * np.abs(carried).max())
    assert carried.sum() * model.aero.panel[0, PanelColumn.Y] == pytest.approx(alone[3], rel=1e-9, abs=1e-9)


def test_vortex__leaves_the_deflected_trailing_edge(plain):
    _, seen, model = panels(_along(plain, 0.0), angles=[0.0, 0.1, 0.0, 0.0])
    row = model.aero.wake_pair[0]
    # fin 2 points to -y; its trailing edge goes towards +z with a positive angle, whose force points to -z
    assert seen[1, SeenColumn.Y] == pytest.approx(-row[WakeColumn.LATERAL], rel=1e-12)
    assert seen[1, SeenColumn.Z] == pytest.approx(np.sin(0.1) * row[WakeColumn.LEVER], rel=1e-6)


# ---------------------------------------------------------------- sign


def test_pair__lift_ahead_costs_lift_behind(plain):
    """Inboard of its vortices a lifting pair blows down on the fins behind it."""
    angles = [0.0, SMALL, 0.0, -SMALL]
    _, with_them, _ = panels(_along(plain, 0.0), angles=angles)
    lift_ahead = with_them[1, SeenColumn.LOAD] - with_them[3, SeenColumn.LOAD]
    lift_behind = with_them[5, SeenColumn.LOAD] - with_them[7, SeenColumn.LOAD]
    assert lift_ahead > 0.0 > lift_behind
    assert abs(lift_behind) < 1.1 * lift_ahead  # no more than it made: slender theory gives back all of it


def test_differential__opposite_rolling_moment_behind(plain):
    flow = {"fin_angle": SMALL}
    alone = wind_tunnel(plain.change({"stage.0.part.tail.clocking": 0.0}), **flow)
    for phase in (0.0, np.pi / 4.0):
        stack = _along(plain, phase)
        whole = wind_tunnel(stack, **flow)
        ratio = float(whole.C_l * whole.reference_area * whole.reference_length)
        assert ratio < 0.4 * float(alone.C_l * alone.reference_area * alone.reference_length)


def test_reversal__needs_a_tail_that_reaches_the_vortices(plain):
    """s_T < f: most of the roll moment survives; s_T well beyond f, between the planes: reversed."""
    chords = dict(root_chord=0.12, tip_chord=0.06, tip_offset=0.06)
    small, large = (survival(_along(plain, np.pi / 4.0, semispan=s, **chords), incidence=[0.0]) for s in (0.012, 0.16))
    assert float(small.roll_moment.min()) > 0.8
    assert float(large.roll_moment.max()) < 0.0


def test_fins_ahead_of_small_ones__keep_their_moment(plain):
    tiny = _along(plain, np.pi / 4.0, semispan=0.004, root_chord=0.05, tip_chord=0.03, tip_offset=0.02)
    share = survival(tiny, incidence=[0.0])
    assert float(abs(share.roll_moment - 1.0).max()) < 0.05


# ---------------------------------------------------------------- the lattice


def test_lattice__slender_wing():
    """R. T. Jones 1946: lift slope pi AR/2; damping in roll of a planar and (G. J. Adams 1951) of a cruciform slender
    wing.
    """
    wing = {count: lattice.Fins(0.0, 1.0, 0.0, 0.05, 1.0, 1e-7, count=count, rows=20, columns=8) for count in (2, 4)}
    ratio, area = 0.2, 0.05  # of the pair
    lift = np.abs(lattice.force(wing[2], lattice.solve([wing[2]], [np.array([[1.0], [-1.0]])])[0])).sum() / area
    assert lift == pytest.approx(0.5 * np.pi * ratio, rel=SLENDER)
    roll = {n: lattice.roll(f, lattice.solve([f], [np.tile(f.control[1], (n, 1))])[0]) for n, f in wing.items()}
    # roll/(p/V) = C_l_p S b^2/2
    assert roll[2] / (area * 0.1**2 / 2.0) == pytest.approx(np.pi * ratio / 32.0, rel=SLENDER)
    assert roll[4] / roll[2] == pytest.approx(1.62, rel=SLENDER)


def _panel_slope(root, tip, span, sweep):
    wing = lattice.Fins(0.0, root, tip, span, sweep, 1e-9, count=2, rows=12)
    return lattice.force(wing, lattice.solve([wing], [np.array([[1.0], [-1.0]])])[0])[0]


SHAPES = [
    (0.11, 0.16, 0.08, 0.08),
    (0.048, 0.08, 0.045, 0.025),
    (0.15, 0.16, 0.08, 0.08),
    (0.03, 0.16, 0.08, 0.08),
    (0.11, 0.11, 0.11, 0.0),
    (0.02, 0.1, 0.05, 0.03),
]


@pytest.mark.parametrize("count", [2, 3, 4, 6, 8])
@pytest.mark.parametrize("span, root, tip, sweep", SHAPES)
def test_span_weights__against_the_lattice(count, span, root, tip, sweep):
    """Rolling moment of uniform wash and of a roll rate: span loading y sqrt(1 - eta^2) with the moment of a roll."""
    fins = lattice.Fins(0.0, root, tip, span, sweep, R, count=count, rows=12)
    like = fin_set(count, R, root, tip, span, sweep)
    y, _, weight = wake.span_weights(like)
    area_slope = panel_slope(np.zeros(1), like, 1.0)[0] * (R + like.y_mac)
    for incidence in (lambda y: np.ones_like(y), lambda y: y):
        found = count * area_slope * (weight * incidence(y)).sum()
        judge = lattice.roll(fins, lattice.solve([fins], [np.tile(incidence(fins.control[1]), (count, 1))])[0])
        assert found == pytest.approx(judge, rel=ROLL)


def _wash(fins, y, z, core):
    """Return the normal velocities (panels, cells) of a unit vortex at (y, z) and its image."""
    out = np.zeros((fins.count, fins.cells))
    for i, at in enumerate(fins.angle):
        py, pz = -fins.control[1] * np.sin(at), fins.control[1] * np.cos(at)
        for k, sign in ((1.0, 1.0), (R**2 / (y * y + z * z), -1.0)):
            dy, dz = py - k * y, pz - k * z
            out[i] += sign * (dz * np.cos(at) - dy * np.sin(at)) / (2.0 * np.pi * (dy**2 + dz**2 + core**2))
    return out


@pytest.mark.parametrize("span, root, tip, sweep", [*SHAPES[:2], pytest.param(*SHAPES[2], marks=pytest.mark.slow)])
def test_one_vortex__force_and_roll_of_four_fins_against_the_lattice(span, root, tip, sweep, plain):
    """A vortex anywhere around the fins but in a panel's plane: the table's two means against the lattice's loads."""
    fin = shape_of(_along(plain, 0.0, semispan=span, root_chord=root, tip_chord=tip, tip_offset=sweep).stage).fins[1]
    fin = replace(fin, body_radius=R)
    core = wake.CORE_SHARE * FRONT["span"]
    table, reach = wake.influence(fin, core=core), R + span
    fins, slope = lattice.Fins(0.0, root, tip, span, sweep, R, rows=14), _panel_slope(root, tip, span, sweep)
    rolls, forces = [], []
    for angle in np.radians([10.0, 22.5, 45.0]):
        for distance in (0.7, 0.9, 1.1, 1.4, 2.0):
            y, z = -distance * reach * np.sin(angle), distance * reach * np.cos(angle)
            load = lattice.solve([fins], [_wash(fins, y, z, core)])[0]
            per = wake.CELLS / (wake.REACH * reach)
            normals, moment, force = np.column_stack([-np.cos(fins.angle), -np.sin(fins.angle)]), 0.0, np.zeros(2)
            for at, normal in zip(fins.angle, normals):
                spanwise, across = np.cos(at) * z - np.sin(at) * y, -np.cos(at) * y - np.sin(at) * z
                means = xr.DataArray(table, dims=("k", "s", "h")).interp(s=spanwise * per + wake.CELLS, h=across * per + wake.CELLS)
                force += slope * float(means[0]) * normal
                moment += slope * float(means[1]) * (R + fin.y_mac)
            rolls.append((moment, lattice.roll(fins, load)))
            forces.append((force, lattice.force(fins, load) @ normals))
    rolls, forces = np.array(rolls), np.array(forces)
    assert np.abs(rolls[:, 0] - rolls[:, 1]).max() < TABLE * np.abs(rolls[:, 1]).max()
    assert np.abs(forces[:, 0] - forces[:, 1]).max() < FORCE * np.abs(forces[:, 1]).max()


@pytest.mark.parametrize("phase", [0.0, np.pi / 4.0])
@pytest.mark.parametrize("cells", [6, 9, 12, 18, 28])
def test_survival__of_a_roll_moment_against_the_lattice(phase, cells, plain):
    """Same-plane fins of equal or greater span give the whole moment back, none survives (slender theory, by
    reciprocity);
    fins between the planes reverse it once they are some 1.5 times as far out."""
    rows = 12
    step = FRONT["span"] / rows
    span = cells * step
    back = dict(root=0.12, tip=0.07, span=span, sweep=0.05)
    front = lattice.Fins(0.0, r=R, edges=R + step * np.arange(rows + 1), **FRONT)
    behind = lattice.Fins(0.55, r=R, phase=phase, edges=R + step * np.arange(cells + 1), **back)
    one, none = np.ones((4, 1)), np.zeros((4, 1))
    alone = lattice.roll(front, lattice.solve([front], [one])[0])
    both = lattice.solve([front, behind], [one, none])
    judge = (lattice.roll(front, both[0]) + lattice.roll(behind, both[1])) / alone
    stack = _narrow(plain, phase, **back)
    found = float(survival(stack, mach=0.05, incidence=[0.0], demand=[np.radians(1.0)]).roll_moment.squeeze())
    assert found == pytest.approx(judge, abs=SURVIVES)
    if phase == 0.0 and cells >= rows:
        assert judge == pytest.approx(0.0, abs=0.05)


def _narrow(mission, phase, *, root, tip, span, sweep):
    """The stack on a booster as wide as the demo itself."""
    tube = {"kind": "tube", "length": 0.78, "diameter": 2 * R, "mass": 0.5}
    stack = _along(mission, phase, root_chord=root, tip_chord=tip, semispan=span, tip_offset=sweep, station=0.47)
    tables = stack.model_dump(exclude_none=True)
    parts = tables["stage"][1]["part"]
    tables["stage"][1]["part"] = [tube, *parts[2:]]
    return mission.change({"stage": tables["stage"]})
