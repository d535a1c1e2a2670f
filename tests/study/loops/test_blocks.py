"""Sampled blocks against plain arithmetic: run tick by tick, solved as a whole matrix, joined by hand."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.study.loops.blocks import Block, beside, joined, linked, modes, pruned, response

POINTS, PERIOD = 3, 0.01
Z = np.exp(1j * np.array([0.01, 0.2, 1.0, 3.0]))


def block(rng, pattern, inputs, outputs, direct=True):
    """Return a block with random elements where `pattern` (states, states) has any."""
    states = len(pattern)
    a = 0.4 * rng.normal(size=(POINTS, states, states)) * np.array(pattern)
    b, c, d = (rng.normal(size=(POINTS, *shape)) for shape in ((states, len(inputs)), (len(outputs), states), (len(outputs), len(inputs))))
    return Block(a, b, c, d * direct, tuple(f"{outputs[0]}_{k}" for k in range(states)), tuple(inputs), tuple(outputs), PERIOD)


def exact(one, z):
    """The response at every point by one solution with the whole matrix, (points, outputs, inputs)."""
    return np.stack([c @ np.linalg.solve(z * np.eye(len(a)) - a, b) + d for a, b, c, d in zip(one.a, one.b, one.c, one.d)])


CHAIN = [[1, 0, 0, 0], [1, 1, 0, 0], [0, 1, 0, 0], [1, 0, 1, 1]]
PAIR = [[1, 1, 0, 0], [1, 1, 0, 0], [1, 0, 1, 0], [0, 1, 1, 1]]
THREE = [[1, 1, 0, 0, 0], [0, 1, 1, 0, 1], [1, 0, 1, 0, 0], [1, 0, 0, 1, 1], [0, 0, 0, 1, 1]]


@pytest.mark.parametrize("pattern", [CHAIN, PAIR, THREE, np.ones((4, 4))], ids=["chain", "pair", "three behind a pair", "all"])
def test_response__is_one_solution_with_the_whole_matrix(pattern):
    one = block(np.random.default_rng(1), pattern, ("u", "v"), ("y", "w"))
    found = response(one, np.broadcast_to(Z, (POINTS, len(Z))))
    for k, z in enumerate(Z):
        assert np.moveaxis(found[..., k], -1, 0) == pytest.approx(exact(one, z), rel=1e-10)  # matrices of a condition below 1e4
    assert np.array_equal(response(one, np.broadcast_to(Z, (2, len(Z))), np.array([2, 0])), found[:, :, [2, 0]])


def test_groups__follow_what_they_hang_on():
    one = block(np.random.default_rng(1), THREE, ("u",), ("y",))
    assert one.groups == [[3, 4], [0, 1, 2]] or one.groups == [[0, 1, 2], [3, 4]] or one.groups == [[0, 1, 2, 3, 4]]
    assert block(np.random.default_rng(1), PAIR, ("u",), ("y",)).groups == [[0, 1], [2], [3]]


def test_linked__is_what_runs_tick_by_tick():
    """A vehicle that answers a tick later, a law that answers at once, and what is added to what the law is told."""
    rng = np.random.default_rng(2)
    vehicle, law = block(rng, np.ones((2, 2)), ("push",), ("angle",), direct=False), block(rng, CHAIN, ("goal", "angle"), ("push",))
    whole = linked([vehicle, law], ["goal", "angle"], ["angle", "push"])
    x, y, state = np.zeros(2), np.zeros(4), np.zeros(6)
    for _ in range(20):
        goal, added = rng.normal(size=2)
        angle = (vehicle.c[1] @ x)[0] + added
        told = np.array([goal, angle])
        push = law.c[1] @ y + law.d[1] @ told
        assert whole.c[1] @ state + whole.d[1] @ [goal, added] == pytest.approx([angle, push[0]], rel=1e-12)
        x, y, state = vehicle.a[1] @ x + vehicle.b[1] @ push, law.a[1] @ y + law.b[1] @ told, whole.a[1] @ state + whole.b[1] @ [goal, added]


def test_linked__a_broken_signal_is_what_arrives_and_what_leaves():
    """1/(1 - L) for what is added in the closed loop, with L from the cut to the cut."""
    rng = np.random.default_rng(3)
    vehicle, law = block(rng, np.ones((2, 2)), ("push",), ("angle",), direct=False), block(rng, CHAIN, ("angle",), ("push",))
    cut, closed = (linked([vehicle, law], ["push"], ["push"], broken) for broken in (["push"], ()))
    loop = exact(vehicle, Z[1]) * exact(law, Z[1])
    assert exact(cut, Z[1]) == pytest.approx(loop, rel=1e-10)
    assert exact(closed, Z[1]) == pytest.approx(1.0 / (1.0 - loop), rel=1e-10)


def test_modes__of_a_block_are_the_block_and_of_one_with_equal_poles_none():
    one = block(np.random.default_rng(4), np.ones((4, 4)), ("u", "v"), ("y",))
    found = modes(one)
    assert not (found.a * (1.0 - np.eye(4))).any()
    assert response(found, np.broadcast_to(Z, (POINTS, 4))) == pytest.approx(response(one, np.broadcast_to(Z, (POINTS, 4))), rel=1e-9)
    twice = Block(np.tile([[0.5, 1.0], [0.0, 0.5]], (1, 1, 1)), np.ones((1, 2, 1)), np.ones((1, 1, 2)), np.zeros((1, 1, 1)), ("a", "b"), ("u",), ("y",), PERIOD)
    assert modes(twice) is None


def test_pruned__leaves_out_what_is_never_moved_or_never_seen():
    one = block(np.random.default_rng(5), CHAIN, ("u",), ("y",))
    one.b[:, [0, 1]] = 0.0  # nothing moves 0, nor 1 behind it
    one.c[:, :, 2] = 0.0  # 2 is seen through 3 alone
    found = pruned(one)
    assert found.states == ("y_2", "y_3")
    one.c[:, :, 3] = 0.0
    assert pruned(one.at([0, 1, 2])).states == ()
    assert exact(found, Z[2]).shape == (POINTS, 1, 1)


def test_beside_and_joined__keep_blocks_apart():
    rng = np.random.default_rng(6)
    one, other = block(rng, CHAIN, ("u",), ("y",)), block(rng, PAIR, ("v",), ("w",))
    whole = exact(beside([one, other]), Z[0])
    assert whole[:, 0, 0] == pytest.approx(exact(one, Z[0])[:, 0, 0]) and whole[:, 1, 1] == pytest.approx(exact(other, Z[0])[:, 0, 0])
    assert not whole[:, 0, 1].any() and not whole[:, 1, 0].any()
    assert np.array_equal(joined([one, one.at([2])]).a, np.concatenate([one.a, one.a[[2]]]))


def test_fate__swings_must_decay_and_drifts_may_grow_a_little():
    poles = [1.0 + 0.05 * PERIOD, np.exp((0.05 + 5.0j) * PERIOD), 0.9]
    a = np.stack([np.array([[z.real, -z.imag], [z.imag, z.real]]) for z in map(complex, poles)])
    one = Block(a, np.zeros((3, 2, 0)), np.zeros((3, 0, 2)), np.zeros((3, 0, 0)), ("a", "b"), (), (), PERIOD)
    growth, stable = one.fate(0.1)
    assert growth == pytest.approx([0.05, 0.05, np.log(0.9) / PERIOD], rel=1e-3)
    assert stable.tolist() == [True, False, True] and one.fate()[1].tolist() == [False, False, True]
