"""Sobol indices, interactions included, from flights drawn for the purpose."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.stats import qmc

from sixdof.draws.given import draws_of
from sixdof.draws.quantities import dims_of, quantities
from sixdof.draws.spreads import spread_of
from sixdof.draws.table import draws_from_shares
from sixdof.mission.load import stored_mission
from sixdof.mission.mission import Mission
from sixdof.results.dataset import input_name
from sixdof.study.reading.result import need_ensemble, outcomes
from sixdof.study.uncertainty.inputs import varies
from sixdof.study.uncertainty.regression import CONFIDENCE, ENDS, RESAMPLES, bootstrap_interval, check_bootstrap, end_name, resampled, resampled_sums

LEAST_ROWS = 10  # of a design
BITS = 30  # of the points of a Sobol' sequence


def sobol_design(d: int, n: int, seed: int = 0) -> np.ndarray:
    """Return the points in (0, 1)^d at which to evaluate for the Sobol indices of d inputs, shape (n (d + 2), d).

    Rows: n of a matrix A, n of B, then for each input i the n of A with column i from B (A. Saltelli et al., 2010, Comput.
    Phys. Commun. 181, 259-270). A and B are the two halves of a scrambled Sobol' sequence of 2 d dimensions (A. B. Owen, 1998).
    n : a power of two, on which the sequence's balance rests. Put each column through the quantile function of its input.

    seed : of the points.

    Raises
    ------
    ValueError
        For d below 1, n no power of two or below 2, and more dimensions than the sequence has.

    Examples
    --------
    >>> sixdof.stats.sobol_design(2, 4).shape
    (16, 2)
    """
    if d < 1 or 2 * d > qmc.Sobol.MAXDIM:
        raise ValueError(f"d = {d!r} inputs must be from 1 to {qmc.Sobol.MAXDIM // 2}")
    if n < 2 or n & (n - 1):
        raise ValueError(f"n = {n!r} must be a power of two, such as {1 << max(1, int(n).bit_length())}")
    if n > 1 << BITS:
        raise ValueError(f"n = {n} must be at most {1 << BITS}")
    points = qmc.Sobol(2 * d, scramble=True, bits=BITS, rng=np.random.default_rng(seed)).random(n)
    points += 0.5 / (1 << BITS)  # the sequence may hold 0, where quantiles are infinite
    a, b = points[:, :d], points[:, d:]
    mixed = np.repeat(a[None], d, axis=0)
    for i in range(d):
        mixed[i, :, i] = b[:, i]
    return np.vstack([a, b, *mixed])


def sobol_indices(
    y: np.ndarray, n: int, d: int, *, names: Sequence[str] | None = None, confidence: float = CONFIDENCE, resamples: int = RESAMPLES, seed: int = 0
) -> xr.Dataset:
    """Return first-order and total Sobol indices from an outcome at the points of `sobol_design(d, n)`.

    y : (n (d + 2),), in the order of the design; not finite where an evaluation failed. The numbers of A, B and A-with-i of
    one row are dropped together where one is missing, input by input. Estimators: first order of Saltelli et al. (2010, eq. b of
    table 2), total of M. J. W. Jansen (1999, Comput. Phys. Commun. 117, 35-43). The bootstrap takes rows of A and B as
    random, so intervals of a Sobol' sequence are on the wide side.

    names : of the inputs; numbered by default. confidence : of the intervals. resamples, seed : of the bootstrap.

    Returns
    -------
    Dataset
        Dim input: `first`, `total`, each with `_low` and `_high`, rows `used` and `dropped`. Scalars `mean` and `variance`.

    Raises
    ------
    ValueError
        For a wrong number of values or names, too few complete rows, or an outcome that does not vary.

    Examples
    --------
    >>> points = sixdof.stats.sobol_design(2, 64)
    >>> found = sixdof.stats.sobol_indices(points[:, 0], 64, 2, resamples=50)
    >>> bool(found.total[0] > 0.9 and found.total[1] < 0.1)
    True
    """
    check_bootstrap(confidence, resamples, seed)
    y = np.asarray(y, dtype=float)
    names = [f"input {i + 1}" for i in range(d)] if names is None else list(names)
    if y.shape != (n * (d + 2),):
        wanted = f"n (d + 2) = {n * (d + 2)} values"
        raise ValueError(f"sobol_indices needs {wanted}, one for each row of sobol_design; y has shape {y.shape}")
    if len(names) != d:
        raise ValueError(f"sobol_indices needs a name for each of d = {d} inputs, and has {len(names)}")
    blocks = y.reshape(d + 2, n)
    known = np.isfinite(blocks)
    both = known[0] & known[1]
    use = both & known[2:]
    worst = int(use.sum(axis=1).argmin())
    if use[worst].sum() < LEAST_ROWS:
        has = f"has {use[worst].sum()} of {n}"
        raise ValueError(f"sobol_indices needs at least {LEAST_ROWS} complete rows for {names[worst]}, and {has}")
    if not varies(blocks[:2, both]):
        raise ValueError("sobol_indices has nothing to explain: the outcome is the same in all rows of A and B")
    mean = blocks[:2, both].mean()
    a, b, mixed = (np.where(known, blocks - mean, 0.0)[k] for k in (0, 1, slice(2, None)))  # centred: less error in products
    terms = [both, (a + b) * both, (a * a + b * b) * both, use, b * (mixed - a) * use, 0.5 * (a - mixed) ** 2 * use]
    sums = resampled_sums(resampled(n, resamples, seed), np.vstack(terms))
    pairs, centre, square, rows, first, total = np.split(sums, np.cumsum([1, 1, 1, d, d]), axis=1)
    variance = square / (2.0 * pairs) - (centre / (2.0 * pairs)) ** 2
    first, total = first / rows, total / rows
    entries = {}
    for name, values, text in (("first", first, "first-order Sobol index"), ("total", total, "total Sobol index")):
        for end, v in zip(ENDS, bootstrap_interval(values / variance, confidence), strict=True):
            entries[name + end] = ("input", v, {"units": "1", "long_name": end_name(text, end)})
    entries["used"] = ("input", use.sum(axis=1), {"units": "1", "long_name": "rows used"})
    entries["dropped"] = ("input", n - use.sum(axis=1), {"units": "1", "long_name": "rows with a missing value"})
    entries["mean"] = ((), mean, {"long_name": "mean of the outcome"})
    entries["variance"] = ((), variance[0, 0], {"long_name": "variance of the outcome"})
    coords = {"input": ("input", names, {"long_name": "input"})}
    return xr.Dataset(entries, coords, {"confidence": confidence, "resamples": resamples, "seed": str(seed)})


# ---------------------------------------------------------------- of a mission


def sobol_draws(mission: Mission, n: int, *, seed: int = 0) -> xr.Dataset:
    """Return the table of draws from which the Sobol indices of a mission's outcomes follow: n (d + 2) flights for d inputs.

    Fly it with `sixdof.disperse(mission, draws=table, tracks="none")` and hand the result to `sobol_of`. Failures do not happen in it.

    seed : of the points.

    Parameters
    ----------
    n : int
        A power of two: 256 for the large indices, 1024 and more for small ones.

    Raises
    ------
    ValueError
        For a mission that disperses nothing, or whose inputs are correlated (their shares cannot be told apart), and as `sobol_design`.

    Examples
    --------
    >>> draws = sixdof.stats.sobol_draws(mission.change({"disperse": {"motor.impulse": {"kind": "normal", "mean": 1.0, "sd": 0.02}}}), 4)
    >>> draws.sizes["flight"]
    12
    """
    if mission.correlation:
        raise ValueError("sobol_draws takes independent inputs, and this mission has a [[correlation]]; remove it for this study")
    names = _input_names(mission)
    if not names:
        raise ValueError("sobol_draws needs something to vary: this mission has no [disperse]")
    u = sobol_design(len(names), n, seed)
    never = np.full((len(u), len(mission.failure)), 1.0 - 1e-12)
    varied = np.full((len(u), len(_columns(mission))), 0.5)
    varied[:, [_columns(mission).index(name) for name in names]] = u
    return draws_from_shares(mission, np.hstack([varied, never]), np.arange(len(u))).assign_attrs({"seed": str(seed), "sobol_rows": n})


def _columns(mission: Mission) -> list[str]:
    """Return the columns of the mission's table of draws, by the names `inputs_of` gives them."""
    return [
        input_name(each.name) + ("" if len(dims_of(each.item, each.things)) == 1 else f"[{thing}]") for each in quantities(mission) for thing in each.things
    ]


def _input_names(mission: Mission) -> list[str]:
    """Return the columns that vary."""
    spreads = [spread_of(each.spread, str(thing)) for each in quantities(mission) for thing in each.things]
    return [name for name, spread in zip(_columns(mission), spreads, strict=True) if spread.kind != "fixed" and spread.sd != 0.0]


def sobol_of(ds: xr.Dataset, outcome: str, *, confidence: float = CONFIDENCE, resamples: int = RESAMPLES, seed: int = 0) -> xr.Dataset:
    """Return first-order and total Sobol indices of an outcome of an ensemble flown from `sobol_draws`.

    Returns and raises as `sobol_indices`; ValueError too for an ensemble that was drawn otherwise or is not complete.

    confidence : of the intervals. resamples, seed : of the bootstrap.

    Examples
    --------
    >>> few = mission.change({"disperse": {"motor.impulse": {"kind": "normal", "mean": 1.0, "sd": 0.02}}})
    >>> flown = sixdof.disperse(few, draws=sixdof.stats.sobol_draws(few, 16), tracks="none", progress=False)
    >>> sorted(sixdof.stats.sobol_of(flown, "apogee_height", resamples=50).data_vars)[:2]
    ['dropped', 'first']
    """
    need_ensemble(ds, "sobol_of", outcome, "status")
    mission = stored_mission(ds.attrs["mission"])
    names = _input_names(mission)
    n, rest = divmod(ds.sizes["flight"], len(names) + 2)
    as_designed = False
    if not rest and n and not n & (n - 1):
        table = sobol_draws(mission, n, seed=int(ds.attrs["seed"]))
        as_designed = draws_of(ds, mission).drop_attrs().identical(table.drop_attrs())
    if not as_designed:
        raise ValueError("sobol_of takes an ensemble flown whole from sobol_draws(mission, n): these flights were drawn otherwise")
    return sobol_indices(outcomes(ds, outcome), n, len(names), names=names, confidence=confidence, resamples=resamples, seed=seed)
