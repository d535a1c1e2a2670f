"""Straight strips over a map, the best for its walking time first, counting the walk there."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.ndimage import map_coordinates

from sixdof.postflight.search.swept import cell_shares, passes_of

HELD = 0.995  # of what is left on the map within reach: strips are laid over the box that holds it
BLOCKED = 0.1  # share of a piece that is not searchable from which on no strip goes through it
PIECES = 10  # of the longest strip: ends of strips stand this fine
FEWEST = 2  # pieces of the shortest strip: nobody turns every few steps
MOST_SAMPLES = 400_000  # of a bearing's lattice; beyond, pieces are sampled more coarsely than cells


class Walk(NamedTuple):
    """How strips are walked. speed : m/s. width : of a strip, m. detection : of what lies in a strip that is walked once. longest : strip, m. least : m."""

    speed: float
    width: float
    detection: float
    longest: float


class Lattice(NamedTuple):
    """Pieces of strips along one bearing: lanes side by side, each cut into pieces of one length.

    along, across : unit vectors (east, north). u : ends of pieces (n + 1,), v : middles of lanes (m,), m along them. at : grid indices (2, samples) of the
    points that stand for the pieces. fine : samples of a piece along and across. open : (m, n) whether a piece may be walked.
    """

    along: np.ndarray
    across: np.ndarray
    u: np.ndarray
    v: np.ndarray
    at: np.ndarray
    fine: tuple[int, int]
    open: np.ndarray


class Strip(NamedTuple):
    """One strip: where it begins and ends (2,), m; the way to its beginning, m; share (north, east) of cells that it sweeps."""

    start: np.ndarray
    end: np.ndarray
    approach: float
    shares: np.ndarray

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.end - self.start)))


def lattice_of(bearing: float, box: tuple[float, float, float, float], walk: Walk, east: np.ndarray, north: np.ndarray, searchable: np.ndarray) -> Lattice:
    """Return the lattice along a bearing (rad) over a box (west, east, south, north), m."""
    along = np.array([math.sin(bearing), math.cos(bearing)])
    across = np.array([along[1], -along[0]])
    corners = np.array([(x, y) for x in box[:2] for y in box[2:]])
    cell, step = float(east[1] - east[0]), walk.longest / PIECES
    ends = []
    for axis, size in ((along, step), (across, walk.width)):
        low, high = (corners @ axis).min(), (corners @ axis).max()
        count = max(math.ceil((high - low) / size), 1)
        ends.append(0.5 * (low + high) + size * (np.arange(count + 1) - 0.5 * count))
    u, v = ends[0], 0.5 * (ends[1][:-1] + ends[1][1:])
    pieces = (u.size - 1) * v.size
    coarse = max(1.0, math.sqrt(pieces * (step / cell + 1.0) * (walk.width / cell + 1.0) / MOST_SAMPLES))
    fine = tuple(max(math.ceil(size / (cell * coarse)), 1) for size in (step, walk.width))
    along_at = (u[:-1, None] + step * (np.arange(fine[0]) + 0.5) / fine[0]).ravel()
    across_at = (v[:, None] + walk.width * ((np.arange(fine[1]) + 0.5) / fine[1] - 0.5)).ravel()
    places = across_at[:, None, None] * across + along_at[None, :, None] * along
    at = np.stack([(places[..., 1] - north[0]) / cell, (places[..., 0] - east[0]) / cell]).reshape(2, -1)
    blocked = map_coordinates(1.0 - searchable, at, order=1, mode="nearest")
    return Lattice(along, across, u, v, at, fine, _of_pieces(blocked, v.size, u.size - 1, fine) <= BLOCKED)


def _of_pieces(samples: np.ndarray, lanes: int, pieces: int, fine: tuple[int, int]) -> np.ndarray:
    """Return the mean of the samples of each piece, (lanes, pieces)."""
    return samples.reshape(lanes, fine[1], pieces, fine[0]).mean(axis=(1, 3))


def box_of(value: np.ndarray, east: np.ndarray, north: np.ndarray, held: float = HELD) -> tuple[float, float, float, float]:
    """Return west, east, south, north of the cells of highest value (north, east) that hold a share of it, m."""
    order = np.sort(value, axis=None)[::-1]
    level = order[min(int(np.searchsorted(np.cumsum(order), held * order.sum())), order.size - 1)]
    half = 0.5 * float(east[1] - east[0])
    rows, columns = (np.flatnonzero((value >= level).any(axis=k)) for k in (1, 0))
    return float(east[columns[0]] - half), float(east[columns[-1]] + half), float(north[rows[0]] - half), float(north[rows[-1]] + half)


def best_strip(value: np.ndarray, lattices: list[Lattice], here: np.ndarray, left: float, walk: Walk, cell: float) -> tuple[np.ndarray, np.ndarray] | None:
    """Return beginning and end of the strip that finds most for its time, the way to it counted; None where none ends within `left` m of walking.

    value : (north, east) probability of finding in each cell if all of it is swept once.
    """
    best, found = 0.0, None
    for one in lattices:
        lanes, pieces = one.v.size, one.u.size - 1
        step = one.u[1] - one.u[0]
        dense = map_coordinates(value, one.at, order=1, mode="constant") * (step * walk.width / cell**2)
        gain = np.concatenate([np.zeros((lanes, 1)), np.cumsum(_of_pieces(dense, lanes, pieces, one.fine), axis=1)], axis=1)
        shut = np.concatenate([np.zeros((lanes, 1)), np.cumsum(~one.open, axis=1)], axis=1)
        ahead, aside = here @ one.along, here @ one.across
        for count in range(min(FEWEST, pieces), min(PIECES, pieces) + 1):
            more, free = gain[:, count:] - gain[:, :-count], shut[:, count:] == shut[:, :-count]
            for begin, finish in ((one.u[:-count], one.u[count:]), (one.u[count:], one.u[:-count])):
                way = np.hypot(begin[None, :] - ahead, one.v[:, None] - aside) + count * step
                rate = np.where(free & (way <= left), more / way, 0.0)
                k = int(rate.argmax())
                if rate.flat[k] > best:
                    lane, piece = divmod(k, begin.size)
                    best = float(rate.flat[k])
                    found = tuple(end[piece] * one.along + one.v[lane] * one.across for end in (begin, finish))
    return found


def strips_of(
    value: np.ndarray, searchable: np.ndarray, east: np.ndarray, north: np.ndarray, start: tuple[float, float], reach: float, walk: Walk, bearings, progress
) -> list[Strip]:
    """Return the strips of a walk of `reach` m from `start`, each the best for its time after those before it.

    value : (north, east) probability that what is looked for lies in each cell. Without the ways between, a plan that always takes the strip that adds most
    finds at least 1 - 1/e = 63 % of the best of as many strips of one length, for what strips find together is submodular (G. L. Nemhauser, L. A. Wolsey &
    M. L. Fisher, 1978, Mathematical Programming 14, 265-294). With them nothing is promised: the plan is held against the allocation of as much effort.
    """
    cell = float(east[1] - east[0])
    lattices = [lattice_of(bearing, box_of(value * searchable, east, north), walk, east, north, searchable) for bearing in bearings]
    left, here, remaining = value * searchable * walk.detection, np.asarray(start, dtype=float), reach
    before, out = left, []
    while (ends := best_strip(left, lattices, here, remaining, walk, cell)) is not None:
        approach = float(np.hypot(*(ends[0] - here)))
        remaining -= approach + float(np.hypot(*(ends[1] - ends[0])))
        if out and approach < 1e-6 and _goes_on(out[-1], ends, walk):  # straight on: one strip
            last, left = out.pop(), before
            ends, approach = (last.start, ends[1]), last.approach
        entry = {"lines": [[ends[0].tolist(), ends[1].tolist()]], "width": walk.width}
        shares = np.minimum(cell_shares(passes_of(entry)[0], east, north, cell), 1.0) * searchable
        out.append(Strip(ends[0], ends[1], approach, shares))
        before, left = left, left * (1.0 - shares * walk.detection)
        here = ends[1]
        progress(reach - remaining)
    return out


def _goes_on(last: Strip, ends: tuple[np.ndarray, np.ndarray], walk: Walk) -> bool:
    """Return whether a strip from the end of another goes on in its direction, and both together are no longer than the longest."""
    whole = float(np.hypot(*(ends[1] - last.start)))
    return whole <= walk.longest * (1.0 + 1e-9) and abs(whole - last.length - float(np.hypot(*(ends[1] - ends[0])))) < 1e-6
