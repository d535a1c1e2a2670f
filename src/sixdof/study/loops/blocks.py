"""Sampled linear blocks, many at once: side by side, joined by the names of their signals, and their frequency responses.

A block is x' = a x + b u at the next tick, y = c x + d u, at every point (n) of a flight or of many. Blocks in series and in feedback are
one and the same thing here: an input takes the output of its name, and what enters from outside under that name is added to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

SWING = 1.0  # rad/s: what swings faster than this and grows is the loop's own doing, however slowly it grows
ROUNDED = 1e-6  # 1/s: a growth below it is rounding
TRIED = 12  # frequencies at which a block's modes are held against the block itself
EXACT = 1e-9  # share by which they may differ: some digits beyond what a margin is read to


@dataclass(frozen=True)
class Block:
    """A sampled linear system at points (n). a : (n, states, states), b : (n, states, inputs), c : (n, outputs, states), d : (n, outputs, inputs).

    period : s from tick to tick.
    """

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    d: np.ndarray
    states: tuple[str, ...]
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    period: float

    def at(self, rows) -> Block:
        """Return the block at some of its points."""
        return Block(self.a[rows], self.b[rows], self.c[rows], self.d[rows], self.states, self.inputs, self.outputs, self.period)

    def only(self, inputs: Sequence[str], outputs: Sequence[str]) -> Block:
        """Return the block with some of its inputs and outputs, in the order given."""
        i, o = [self.inputs.index(name) for name in inputs], [self.outputs.index(name) for name in outputs]
        return Block(self.a, self.b[:, :, i], self.c[:, o], self.d[:, o][:, :, i], self.states, tuple(inputs), tuple(outputs), self.period)

    def growth(self) -> np.ndarray:
        """Return how fast the least stable motion grows (1/s, negative: all decay), (n,)."""
        return self.fate()[0]

    def fate(self, drift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """Return (growth, stable), (n,) each: stable where no swing (SWING) grows, and nothing slower by more than `drift` (1/s)."""
        z = np.linalg.eigvals(self.a)
        rate = np.log(np.maximum(np.abs(z), 1e-300)) / self.period
        swings = np.abs(np.angle(z)) > SWING * self.period
        return rate.max(axis=1), (rate <= np.where(swings, ROUNDED, max(drift, ROUNDED))).all(axis=1)

    # ------------------------------------------------------------ which state hangs on which

    @cached_property
    def links(self) -> tuple[np.ndarray, ...]:
        """Which elements of a, b, c, d are other than 0 at any point, bool."""
        return tuple((part != 0.0).any(axis=0) for part in (self.a, self.b, self.c, self.d))

    @cached_property
    def reach(self) -> np.ndarray:
        """Return whether state k hangs on state i, through others too; bool (states, states), each on itself."""
        reach = self.links[0] | np.eye(len(self.states), dtype=bool)
        for _ in range(len(self.states).bit_length()):
            reach = reach @ reach
        return reach

    @cached_property
    def groups(self) -> list[list[int]]:
        """States that hang on each other in groups, each group after those that it hangs on."""
        mutual = self.reach & self.reach.T
        first = [k for k in range(len(self.states)) if not mutual[k, :k].any()]
        return [np.flatnonzero(mutual[k]).tolist() for k in sorted(first, key=lambda k: self.reach[k].sum())]


def pruned(block: Block) -> Block:
    """Return a block without the states that no input moves or no output shows, at any point."""
    _, b, c, _ = block.links
    keep = np.flatnonzero((block.reach @ b.any(axis=1)) & (c.any(axis=0) @ block.reach))
    states = tuple(block.states[k] for k in keep)
    return Block(block.a[:, keep][:, :, keep], block.b[:, keep], block.c[:, :, keep], block.d, states, block.inputs, block.outputs, block.period)


def joined(blocks: Sequence[Block]) -> Block:
    """Return blocks of one make, of different points, as one of all the points."""
    one = blocks[0]
    parts = [np.concatenate([getattr(each, name) for each in blocks]) for name in "abcd"]
    return Block(*parts, one.states, one.inputs, one.outputs, one.period)


def beside(blocks: Sequence[Block]) -> Block:
    """Return blocks of the same points side by side, not joined."""
    n, parts = len(blocks[0].a), []
    for name in "abcd":
        each = [getattr(block, name) for block in blocks]
        whole = np.zeros((n, sum(part.shape[1] for part in each), sum(part.shape[2] for part in each)))
        row = column = 0
        for part in each:
            whole[:, row : row + part.shape[1], column : column + part.shape[2]] = part
            row, column = row + part.shape[1], column + part.shape[2]
        parts.append(whole)
    names = [tuple(name for block in blocks for name in getattr(block, kind)) for kind in ("states", "inputs", "outputs")]
    return Block(*parts, *names, blocks[0].period)


def linked(blocks: Sequence[Block], inputs: Sequence[str], outputs: Sequence[str], broken: Sequence[str] = ()) -> Block:
    """Return blocks with every input joined to the output of its name, but for the signals that are `broken` there.

    inputs : signals to which something is added from outside. outputs : signals that are looked at, with what is added to them; of a broken
    one what arrives there. No signal may hang on itself within a tick.
    """
    whole = beside(blocks)
    join = np.array([[name == other and name not in broken for other in whole.outputs] for name in whole.inputs], dtype=float)
    enters = [whole.inputs.index(name) for name in inputs]
    # y = c x + d (u + join y)
    right = np.concatenate([whole.c, whole.d[:, :, enters]], axis=2)
    seen = np.linalg.solve(np.eye(len(whole.outputs)) - whole.d @ join, right)
    c, d = np.split(seen, [len(whole.states)], axis=2)
    taken, looked = whole.b @ join, [whole.outputs.index(name) for name in outputs]
    a, b = whole.a + taken @ c, whole.b[:, :, enters] + taken @ d
    added = np.array([[name == other and name not in broken for other in inputs] for name in outputs], dtype=float).reshape(len(outputs), len(inputs))
    return Block(a, b, c[:, looked], d[:, looked] + added, whole.states, tuple(inputs), tuple(outputs), whole.period)


def modes(block: Block) -> Block | None:
    """Return a block in its own modes, one state each (complex); None where they are too close to each other to be told apart."""
    pole, shape = np.linalg.eig(block.a)
    try:
        b = np.linalg.solve(shape, block.b.astype(complex))
    except np.linalg.LinAlgError:
        return None
    out = Block(pole[:, :, None] * np.eye(len(block.states)), b, block.c @ shape, block.d, block.states, block.inputs, block.outputs, block.period)
    z = np.exp(1j * np.geomspace(1e-3, 0.999 * np.pi, TRIED)) * np.ones((len(pole), 1))
    exact = response(block, z)
    with np.errstate(invalid="ignore", divide="ignore"):
        error = np.abs(response(out, z) - exact) / np.abs(exact)
    return out if error[~np.isnan(error)].max(initial=0.0) < EXACT else None  # what answers 0 does so exactly and in modes


# ---------------------------------------------------------------- frequency response


def response(block: Block, z: np.ndarray, points=slice(None)) -> np.ndarray:
    """Return c (z - a)^-1 b + d, complex (outputs, inputs, n, ...), at z (n, ...).

    points : which of the block's points the rows of z belong to. States are solved group by group, each from those that it hangs on.
    """
    a, b, c, d = (_in_front(getattr(block, name)[points], z) for name in "abcd")
    of_a, of_b, of_c, of_d = block.links
    inputs = range(len(block.inputs))
    x: dict[tuple[int, int], np.ndarray] = {}  # of (state, input), where there is any
    for group in block.groups:
        right = {}
        for k in group:
            outside = [i for i in np.flatnonzero(of_a[k]).tolist() if i not in group]
            for j in inputs:
                parts = [a[k, i] * x[i, j] for i in outside if (i, j) in x] + ([b[k, j]] if of_b[k, j] else [])
                if parts:
                    right[k, j] = sum(parts[1:], parts[0])
        x |= _solved(a, z, group, right)
    out = np.zeros((len(block.outputs), len(block.inputs), *z.shape), dtype=complex)
    for o in range(len(block.outputs)):
        seen = np.flatnonzero(of_c[o]).tolist()
        for j in inputs:
            if of_d[o, j]:
                out[o, j] = d[o, j]
            for k in seen:
                if (k, j) in x:
                    out[o, j] += c[o, k] * x[k, j]
    return out


def through(second: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Return the response of one block behind another: (outputs, between, ...) and (between, inputs, ...) -> (outputs, inputs, ...)."""
    return np.einsum("ok...,ki...->oi...", second, first)


def _in_front(matrix: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Return matrices (n, i, j) as (i, j, n, 1, ...), to go with z (n, ...)."""
    return matrix.transpose(1, 2, 0).reshape(*matrix.shape[1:], len(z), *[1] * (z.ndim - 1))


def _solved(a: np.ndarray, z: np.ndarray, group: list[int], right: dict) -> dict:
    """Return (z - a)^-1 right of a group of states, by (state, input)."""
    columns = sorted({j for _, j in right})
    if len(group) == 1:
        (k,) = group
        below = 1.0 / (z - a[k, k])
        return {(k, j): right[k, j] * below for j in columns}
    if len(group) == 2:
        k, i = group
        below = 1.0 / ((z - a[k, k]) * (z - a[i, i]) - a[k, i] * a[i, k])
        found = {}
        for j in columns:
            one, other = right.get((k, j), 0.0), right.get((i, j), 0.0)
            found[k, j] = ((z - a[i, i]) * one + a[k, i] * other) * below
            found[i, j] = ((z - a[k, k]) * other + a[i, k] * one) * below
        return found
    matrix = np.moveaxis(np.array(np.broadcast_arrays(*(z * (k == i) - a[k, i] for k in group for i in group))), 0, -1)
    given = np.moveaxis(np.array(np.broadcast_arrays(z, *(right.get((k, j), 0.0) for k in group for j in columns))[1:]), 0, -1)
    found = np.linalg.solve(matrix.reshape(*z.shape, len(group), -1), given.reshape(*z.shape, len(group), len(columns)))
    return {(k, j): found[..., row, column] for row, k in enumerate(group) for column, j in enumerate(columns)}
