"""One log against the drawn flights: everything that is computed of it, as arrays."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.postflight.compare import bands
from sixdof.postflight.compare.causes import Cause, Explainer
from sixdof.postflight.compare.channels import made_straight
from sixdof.postflight.compare.curves import Pool, adjusted_p, departure, effective_instants, pooled, rank_p
from sixdof.postflight.compare.patterns import Inputs, outside_patterns
from sixdof.postflight.compare.reading import Read, Reader
from sixdof.postflight.compare.segments import Going, Segment, going_of, segments_of
from sixdof.postflight.compare.validity import INCIDENCE_EDGES, MACH_EDGES, Reach, over_map, reach, together

OFTEN = 0.9  # of the drawn flights have a coverage between the ends that are told


class Weighed(NamedTuple):
    """What one log says. Shapes: c channels, t instants, s segments, l levels, q shares."""

    reader: Reader
    logged: np.ndarray  # (c, t), NaN where it is not compared
    band: np.ndarray  # (q, c, t)
    pool: Pool
    rank: np.ndarray  # (c, t), of the log among the flights, 0 to 1
    going: Going
    segments: list[Segment]
    covered: dict[str, np.ndarray]  # coverage, coverage_low, coverage_high, coverage_claimed (c, s, l); counts and p's (c, s)
    p_value: float
    mach: Reach
    incidence: Reach
    channel_mach: list[Reach]
    channel_incidence: list[Reach]
    map: dict[str, np.ndarray]
    causes: list[Cause]
    after: list[float]  # p with a cause taken out, and those before it
    told: np.ndarray  # (inputs,)
    scalars: dict[str, tuple[float, np.ndarray]]  # of the log, of the flights


def weighed(reader: Reader, reads: list[Read], inputs: Inputs, climb_end: float, alpha: float) -> Weighed:
    """Return what one log says against flights read at its instants. Raises ValueError where nothing can be compared."""
    own = reader.of_log()
    logged, drawn = own.curves.copy(), np.array([one.curves for one in reads])
    made_straight(logged, drawn, reader.channels)
    pool = pooled(logged, drawn)
    cells = np.isfinite(pool.z[0])
    if not cells.any():
        raise ValueError("compare_log: at no instant of the log do the flights differ from each other, so there is no band; disperse something in the mission")
    logged[~cells] = np.nan
    drawn[:, ~cells] = np.nan
    going = going_of(reader.time, own.going, [one.going for one in reads], np.array([one.burning for one in reads]), climb_end)
    segments = segments_of(going, reader.motors)
    rank, count = bands.ranks(pool.z)
    in_90 = bands.inside(rank[:1], count, 0.9)[0]
    air, angle = going.in_the_air, np.degrees(going.incidence)
    causes, after, told = _explained(reader, pool, going, logged, drawn, inputs)
    single = [np.s_[:, k : k + 1] for k in range(len(reader.channels))]
    return Weighed(
        reader,
        logged,
        bands.band(drawn),
        pool,
        np.where(cells, (rank[0] - 0.5) / np.maximum(count, 1), np.nan),
        going,
        segments,
        covered_in(pool.z, rank, count, segments),
        together(pool.z, np.ones(reader.time.size, dtype=bool)),
        reach(pool.z, going.mach, air, MACH_EDGES, alpha),
        reach(pool.z, angle, air & np.isfinite(angle), INCIDENCE_EDGES, alpha),
        [reach(pool.z[one], going.mach, air, MACH_EDGES, alpha) for one in single],
        [reach(pool.z[one], angle, air & np.isfinite(angle), INCIDENCE_EDGES, alpha) for one in single],
        over_map(pool.z, in_90, going),
        causes,
        after,
        told,
        {name: (value, np.array([one.scalars[name] for one in reads])) for name, value in own.scalars.items()},
    )


def covered_in(z: np.ndarray, rank: np.ndarray, count: np.ndarray, segments: list[Segment]) -> dict[str, np.ndarray]:
    """Return for every channel and segment how many instants it has, what they are worth, its coverage, bias, and how unusual it is.

    The ends of a coverage are those between which that of most drawn flights lies, each held against all others: instants of one flight stand and fall
    together, and a flight may well be outside for half of its time.
    """
    shape = z.shape[1], len(segments)
    found = {name: np.full(shape, np.nan) for name in ("effective_instants", "bias", "rms", "p_value")}
    found["instants"] = np.zeros(shape, dtype=int)
    cover = {name: np.full((*shape, len(bands.LEVELS)), np.nan) for name in ("coverage", "coverage_low", "coverage_high", "coverage_claimed")}
    far = np.full((len(z), *shape), -np.inf)
    held = [bands.inside(rank, count, level) for level in bands.LEVELS]
    for s, segment in enumerate(segments):
        part = z[..., segment.which]
        known = np.isfinite(part)
        found["instants"][:, s] = known[0].sum(axis=-1)
        some = found["instants"][:, s] > 0
        far[..., s] = departure(part)
        found["p_value"][:, s] = rank_p(far[..., s])
        found["effective_instants"][some, s] = effective_instants(part[1:])[some]
        found["bias"][some, s] = np.nanmean(part[0][some], axis=-1)
        found["rms"][some, s] = np.sqrt(np.nanmean(part[0][some] ** 2, axis=-1))
        for level, (ins, words) in enumerate(zip(held, bands.LEVELS, strict=True)):
            share = (ins[..., segment.which] & known).sum(axis=-1) / np.maximum(known.sum(axis=-1), 1)
            cover["coverage"][some, s, level] = share[0][some]
            ends = np.quantile(share[1:], (0.5 - 0.5 * OFTEN, 0.5 + 0.5 * OFTEN), axis=0)
            cover["coverage_low"][some, s, level], cover["coverage_high"][some, s, level] = ends[0][some], ends[1][some]
            says = np.where(known[0], bands.claimed(count[:, segment.which], words), 0.0).sum(axis=-1) / np.maximum(known[0].sum(axis=-1), 1)
            cover["coverage_claimed"][some, s, level] = says[some]
    return found | cover | {"p_adjusted": adjusted_p(far)}


def _explained(reader: Reader, pool: Pool, going: Going, logged, drawn, inputs: Inputs) -> tuple[list[Cause], list[float], np.ndarray]:
    """Return the causes that would explain the residual, the best first, the p of the log without it and those before it, and what it tells of the inputs."""
    cells = np.isfinite(pool.z[0]) & (np.isfinite(drawn).all(axis=0))
    if not cells.any():
        return [], [], np.ones(len(inputs.names))
    spread, mean = pool.spread[cells], pool.mean[cells]
    explainer = Explainer(inputs, (drawn[:, cells] - mean) / spread)
    patterns = [*explainer.input_patterns(), *outside_patterns(reader.time, logged, pool.mean, pool.spread, reader.channels, going, cells)]
    causes = explainer.causes((logged[cells] - mean) / spread, patterns)
    after, moved = [], logged.copy()
    whole = np.ones(reader.time.size, dtype=bool)
    for cause in causes:
        moved[cells] -= cause.put * spread
        after.append(together(pooled(moved, drawn).z, whole))
    return causes, after, explainer.told()
