"""Which input drives which outcome, by straight lines (or straight lines in ranks) through an ordinary ensemble.

Cheap and often enough; where R^2 is low, `study.given_data` sees other shapes, and `study.sobol` interactions too. Flights are fallible:
those without a value of the outcome are omitted and counted. Intervals are those of `study.regression`; `seed` fixes them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.stats import rankdata

from sixdof.study.uncertainty.inputs import about_mean, correlated_inputs, inputs_of, is_direction, outcome_of, varies, varying_outcomes
from sixdof.study.uncertainty.regression import CONFIDENCE, ENDS, RESAMPLES, Fit, bootstrap_interval, check_bootstrap, columns_of, end_name, regressed

LOW_R2 = 0.7  # below this, what straight lines leave unexplained may hold a driver of its own
ARC = 41  # places on the arc of a direction at which its straight-line effect is looked at


def regression_sensitivity(
    ds: xr.Dataset,
    outcomes: str | Sequence[str] | None = None,
    ranks: bool = False,
    *,
    confidence: float = CONFIDENCE,
    resamples: int = RESAMPLES,
    seed: int = 0,
) -> xr.Dataset:
    """Return how outcomes go with the inputs of an ensemble along straight lines through all inputs at once.

    outcomes : one or more names; None takes all that vary. ranks : of inputs and outcomes instead of their values: for what
    rises or falls steadily but not straight; ranks are taken once, not again in each resample.

    A direction (wind.blows_from) enters by the sine and the cosine of its angle from its mean; what both do together is
    given as one measure without a sign. Other angles are small offsets and enter as they are.

    confidence : of the intervals. resamples, seed : of the bootstrap.

    Returns
    -------
    Dataset
        Dims outcome, input; all numbers without unit. `coefficient`: standardised regression coefficient, standard deviations
        of the outcome for one of the input. `partial_correlation`: that of outcome and input with all else held. Each with
        `_low` and `_high`. For each outcome `r_squared` and `r_squared_adjusted` (for the number of columns: M. Ezekiel, 1930),
        and the flights `used` and `dropped`. Its attribute `caution`, where it exists, says in words what to mistrust.
        A. Saltelli et al. (2008), Global Sensitivity Analysis: The Primer, ch. 1 and 5.

    Raises
    ------
    ValueError
        For a flight, an unknown or constant outcome, fewer than twice as many flights as columns, dependent inputs.

    Examples
    --------
    >>> lines = sixdof.stats.regression_sensitivity(flights, "apogee_height", resamples=50)
    >>> lines.sizes["outcome"]
    1
    """
    check_bootstrap(confidence, resamples, seed)
    who = "regression_sensitivity"
    names = varying_outcomes(ds) if outcomes is None else [outcomes] if isinstance(outcomes, str) else list(outcomes)
    values = np.column_stack([outcome_of(ds, name, who) for name in names])
    inputs = inputs_of(ds)
    shape, kinds = (len(names), len(inputs.data_vars)), ("coefficient", "partial_correlation")
    table = {f"{kind}{end}": np.full(shape, np.nan) for kind in kinds for end in ENDS}
    r2, adjusted, used = np.empty((3, len(names)))
    known = np.isfinite(values)
    for mask in np.unique(known, axis=1).T:  # outcomes with the same flights are fitted together
        which = np.flatnonzero((known == mask[:, None]).all(axis=0))
        x, parts = columns_of(inputs.isel(flight=mask), ranks)
        y = values[np.ix_(mask, which)]
        fit = regressed(x, rankdata(y, axis=0) if ranks else y, inputs.data_vars, parts, (confidence, resamples, seed), who)
        for i, own in enumerate(parts):
            for kind, rows in zip(kinds, _measures(fit, own, confidence), strict=True):
                for end, row in zip(ENDS, rows, strict=True):
                    table[kind + end][which, i] = row
        r2[which], used[which] = fit.r_squared[0], len(x)
        adjusted[which] = _adjusted(fit.r_squared[0], *x.shape)
    used = used.astype(int)
    rows = {
        "r_squared": (r2, "share of the variance explained, R^2"),
        "used": (used, "flights used"),
        "r_squared_adjusted": (adjusted, "share of the variance explained, adjusted R^2"),
        "dropped": (len(values) - used, "flights without a value"),
    }
    texts = {"coefficient": "standardised regression coefficient", "partial_correlation": "partial correlation"}
    entries = {name: ("outcome", v, {"units": "1", "long_name": text}) for name, (v, text) in rows.items()}
    for kind, text in texts.items():
        for end in ENDS:
            entries[kind + end] = (("outcome", "input"), table[kind + end], {"units": "1", "long_name": end_name(text, end)})
    coords = {name: (name, of, {"long_name": name}) for name, of in (("outcome", names), ("input", list(inputs.data_vars)))}
    low = [name for name, share in zip(names, adjusted, strict=True) if share < LOW_R2]
    attrs = {"ranks": int(ranks), "confidence": confidence, "resamples": resamples, "seed": str(seed), **inputs.attrs}
    return xr.Dataset(entries, coords, attrs | cautions_of(inputs, low, ranks))


def _measures(fit: Fit, own: list[int], confidence: float):
    """Return (estimate, low, high), (outcomes,) each, of the coefficient and of the partial correlation of one input.

    With the slopes b and the block S of the inverse that belong to an input's columns, leaving them out costs b' S^-1 b of
    R^2 (G. A. F. Seber & A. J. Lee, 2003, Linear Regression Analysis, 2nd ed., ch. 4); its share of what would then be
    left is the square of the (multiple) partial correlation.
    """
    b = fit.slope[:, own]
    cost = np.einsum("riq,rij,rjq->rq", b, np.linalg.inv(fit.inverse[:, own][:, :, own]), b)
    left = 1.0 - fit.r_squared + cost
    partial = np.sqrt(np.clip(np.divide(cost, left, out=np.zeros_like(cost), where=left > 1e-15), 0.0, 1.0))
    if len(own) == 1:
        size, partial = b[:, 0], np.copysign(partial, b[:, 0])
    else:
        size = np.sqrt(np.einsum("riq,rij,rjq->rq", b, fit.correlation[:, own][:, :, own], b))
    coefficient = bootstrap_interval(size, confidence)
    bounded = [np.tanh(v) for v in bootstrap_interval(np.arctanh(np.clip(partial, -1.0 + 1e-15, 1.0 - 1e-15)), confidence)]
    if len(own) > 1:
        coefficient, bounded = ([np.maximum(v, 0.0) for v in rows] for rows in (coefficient, bounded))
    return coefficient, bounded


def _adjusted(r_squared, n: int, columns: int):
    return 1.0 - (1.0 - r_squared) * (n - 1.0) / (n - 1.0 - columns)


def cautions_of(inputs: xr.Dataset, low: Sequence[str] = (), ranks: bool = False) -> dict:
    """Return the attribute `caution`, if there is anything to be said."""
    said = []
    if low:
        lines = "straight lines in ranks" if ranks else "straight lines"
        said.append(
            f"{lines} explain less than {100.0 * LOW_R2:.0f} % of the variance of {', '.join(low)}: these measures may "
            "miss drivers that curve, that work together or that are not inputs (failures, gusts, sensor noise); "
            "use sixdof.stats.given_data_indices or a Sobol design"
        )
    pairs = correlated_inputs(inputs)
    if pairs:
        said.append(f"inputs vary together ({', '.join(pairs)}): their shares cannot be told apart and do not add up")
    return {"caution": ". ".join(said)} if said else {}


def linear_shares(ds: xr.Dataset, outcome: str, **options) -> xr.Dataset:
    """Return each input's share of an outcome's variance by linear propagation: the square of its standardised coefficient.

    Largest first, dim input: `share` with `share_low`, `share_high`; scalars and attributes of `regression_sensitivity`, whose
    options it takes and whose errors it raises. Where inputs are drawn independently shares add up to R^2.

    Examples
    --------
    >>> shares = sixdof.stats.linear_shares(flights, "apogee_height", resamples=50)
    >>> sorted(shares.dims)
    ['input']
    """
    fit = regression_sensitivity(ds, outcome, **options).isel(outcome=0)
    b, low, high = (fit[f"coefficient{end}"].values for end in ENDS)
    ends = np.sort([low**2, high**2], axis=0)
    text = f"share of the variance of {outcome}"
    rows = {"share": (b**2, text), "share_low": (np.where(low * high < 0.0, 0.0, ends[0]), f"{text}, low end"), "share_high": (ends[1], f"{text}, high end")}
    out = fit[["input", "r_squared", "r_squared_adjusted", "used", "dropped"]]
    out = out.assign({name: ("input", v, {"units": "1", "long_name": text}) for name, (v, text) in rows.items()})
    return out.isel(input=np.argsort(-(b**2), kind="stable"))


def largest_drivers(ds: xr.Dataset, outcome: str, count: int = 5) -> str:
    """Return a line such as "apogee: 62 % motor_impulse, 20 % aero_drag, 11 % others (R^2 0.93)", shares by `linear_shares`.

    R^2 is adjusted for the number of inputs. Cautions follow after a semicolon. Raises ValueError as `linear_shares` does.

    count : of the inputs that are named.

    Examples
    --------
    >>> sixdof.stats.largest_drivers(flights, "apogee_height", count=1).split(":")[0]
    'apogee_height'
    """
    if count < 1:
        raise ValueError(f"count = {count!r} must be 1 or more")
    shares = linear_shares(ds, outcome, resamples=20)  # of no interval use is made
    values = 100.0 * shares["share"].values
    told = [f"{v:.0f} % {name}" for v, name in zip(values[:count], shares["input"].values[:count], strict=True) if v >= 0.5]
    rest = values.sum() - values[: len(told)].sum()
    told += [f"{rest:.0f} % others"] if rest >= 0.5 else []
    caution = f"; {shares.attrs['caution']}" if "caution" in shares.attrs else ""
    return f"{outcome}: {', '.join(told) or 'no driver'} (R^2 {float(shares['r_squared_adjusted']):.2f}){caution}"


def swings(
    ds: xr.Dataset, outcome: str, shares: tuple[float, float] = (0.05, 0.95), *, confidence: float = CONFIDENCE, resamples: int = RESAMPLES, seed: int = 0
) -> xr.Dataset:
    """Return by how much an outcome changes, along straight lines, as each input alone goes from one quantile to another.

    Largest first, dim input: `at_low` and `at_high`, changes of the outcome from its mean with the input at its lower and
    upper quantile (`input_low`, `input_high`, in the input's unit), each with `_low` and `_high`. For a direction (`direction`
    is 1) they are the least and the most on the arc between. Attributes and errors as for `regression_sensitivity`.

    shares : between whose quantiles each input goes. confidence : of the intervals. resamples, seed : of the bootstrap.

    Examples
    --------
    >>> moved = sixdof.stats.swings(flights, "apogee_height", resamples=50)
    >>> "motor_impulse" in moved.input
    True
    """
    check_bootstrap(confidence, resamples, seed)
    if not 0.0 < shares[0] < shares[1] < 1.0:
        raise ValueError(f"shares = {shares!r} must be two rising numbers between 0 and 1, such as (0.05, 0.95)")
    y = outcome_of(ds, outcome, "swings")
    known = np.isfinite(y)
    inputs = inputs_of(ds).isel(flight=known)
    x, parts = columns_of(inputs, False)
    fit = regressed(x, y[known, None], inputs.data_vars, parts, (confidence, resamples, seed), "swings")
    slope = (fit.slope * fit.scale)[..., 0] * (np.std(y[known]) / x.std(axis=0))  # units of the outcome for those of the column
    rows = []
    for variable, own in zip(inputs.data_vars.values(), parts, strict=True):
        ends, at = _places(variable, shares, x[:, own])
        change = slope[:, own] @ at.T
        if is_direction(variable):
            change = np.sort(change, axis=1)[:, [0, -1]]
        rows.append([*np.ravel([bootstrap_interval(change[:, k], confidence) for k in (0, 1)]), *ends, is_direction(variable)])
    order = np.argsort([-abs(row[3] - row[0]) for row in rows], kind="stable")
    table = np.array(rows, dtype=float)[order]
    unit = {"units": ds[outcome].attrs.get("units", "1")}
    names = ("at_low", "at_low_low", "at_low_high", "at_high", "at_high_low", "at_high_high")
    entries = {name: ("input", table[:, k], {**unit, "long_name": f"change of {outcome}"}) for k, name in enumerate(names)}
    entries["input_low"], entries["input_high"] = ("input", table[:, 6]), ("input", table[:, 7])
    entries["direction"] = ("input", table[:, 8].astype(np.int8))
    labels = np.array(list(inputs.data_vars))[order]
    coords = {"input": labels, "unit": ("input", [inputs[name].attrs.get("units", "1") for name in labels])}
    adjusted = float(_adjusted(fit.r_squared[0, 0], *x.shape))
    entries |= {"r_squared_adjusted": ((), adjusted, {"units": "1"}), "mean": ((), y[known].mean(), unit), "used": ((), len(x))}
    attrs = {"confidence": confidence, **cautions_of(inputs, [outcome] if adjusted < LOW_R2 else [])}
    return xr.Dataset(entries | {"dropped": ((), len(y) - len(x))}, coords, attrs)


def _places(variable: xr.DataArray, shares, columns: np.ndarray):
    """Return an input's quantiles (2,) and the places, (places, columns), less the columns' means, between which it swings."""
    if not is_direction(variable):
        ends = np.quantile(variable.values, shares)
        return ends, (ends - columns.mean())[:, None]
    angle, mean = about_mean(variable.values)
    ends = np.quantile(angle, shares)
    arc = np.linspace(*ends, ARC)
    both = [part for part, own in ((np.sin(arc), np.sin(angle)), (np.cos(arc), np.cos(angle))) if varies(own)]
    return ends + mean % (2.0 * np.pi), np.column_stack(both) - columns.mean(axis=0)


def rank_correlations(ds: xr.Dataset, names: Sequence[str]) -> np.ndarray:
    """Return the rank correlations of variables (flight,) of a Dataset, (names, names), each over the flights that have both.

    C. Spearman (1904). NaN where fewer than 3 flights have both, or one of them does not vary.

    Examples
    --------
    >>> sixdof.stats.rank_correlations(flights, ["apogee_height", "motor_impulse"]).shape
    (2, 2)
    """
    values = [np.asarray(ds[name].values, dtype=float) for name in names]
    out = np.eye(len(names))
    for i, j in zip(*np.triu_indices(len(names), 1), strict=True):
        both = np.isfinite(values[i]) & np.isfinite(values[j])
        a, b = values[i][both], values[j][both]
        use = len(a) >= 3 and varies(a) and varies(b)
        out[i, j] = out[j, i] = np.corrcoef(rankdata(a), rankdata(b))[0, 1] if use else np.nan
    return out
