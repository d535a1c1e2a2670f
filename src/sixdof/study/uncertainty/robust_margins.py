"""What an ensemble of margins says: how surely a requirement holds, and which draws and inputs are to blame where it does not."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import xarray as xr
from scipy.special import stdtrit

from sixdof.mission.page import SET_IN, wrapped
from sixdof.mission.units import shown
from sixdof.results.status import Status
from sixdof.study.loops.margins import MOST_INCIDENCE, check_requirement, holds
from sixdof.study.reading.result import need_table, plural
from sixdof.study.uncertainty.claims import FAIL, PASS, coverage_shown, flights_needed, judge
from sixdof.study.uncertainty.inputs import about_mean, inputs_of, is_direction
from sixdof.study.uncertainty.sensitivity import rank_correlations
from sixdof.study.uncertainty.statistics import check_share, share_interval

CONFIDENCE = 0.95
COVERAGE = 0.95  # of all flights, the share that the claim of the report is about
CHANCE = 0.05  # probability that any rank correlation named in the report is chance, were no input to matter
MOST_NAMED = 5  # inputs named in the report
_WORST = {
    "gain_margin_db": "worst gain margin",
    "gain_reduction_db": "worst gain-reduction margin",
    "phase_margin": "worst phase margin",
    "delay_margin": "worst delay margin",
    "distance": "least distance to the critical point |1 + L|",
}
_DEG = math.degrees(1.0)


def robust_margins(spread: xr.Dataset, *, gain_db: float | None = None, phase: float | None = None, confidence: float = CONFIDENCE) -> xr.Dataset:
    """Return each flight's worst margins, and the probability that a requirement holds, with its interval.

    The requirement (dB up and down, rad, and a stable loop; see `margins.holds`) is that of the spread unless given. A flight that
    diverged does not hold it anywhere; other flights without linear models (they never left the rail, say) are omitted, and so are
    points beyond 15 deg of incidence, where nothing is linear.

    gain_db, phase : the requirement, dB and rad; None is that of the spread.

    Returns
    -------
    Dataset
        Dims flight, point, channel. `worst_...` (flight, channel), 0 for an unstable loop, NaN where nothing limits it or for a flight
        without models; `met` (flight, channel) at all points, NaN for a flight omitted. `probability` (point, channel), that of a
        channel at all points `channel_probability`, that of all channels at all points `flight_probability`, each with `_low` and
        `_high`, Clopper-Pearson with `confidence`. `share_shown`: the share of all flights that these ones show to meet it, one-sided;
        `flights_needed`: how many would show 95 %, with as many failures (S. S. Wilks, 1941). used, dropped : flights.

    Raises
    ------
    ValueError
        For what is not a spread of margins, or numbers out of range.

    Examples
    --------
    >>> sure = sixdof.loops.robust_margins(spread, gain_db=1.0, phase=0.1)
    >>> 0.0 <= float(sure.flight_probability) <= 1.0
    True
    """
    gain_db, phase = _requirement(spread, gain_db, phase, "robust_margins")
    if isinstance(confidence, bool) or not isinstance(confidence, (int, float)):
        raise ValueError(f"robust_margins: confidence = {shown(confidence)} must be a number between 0 and 1, such as 0.95")
    check_share(confidence, "confidence")
    there, judged = _there(spread), _judged(spread)
    met = holds(spread, gain_db, phase).values
    everywhere = (met | ~there[:, :, None]).all(axis=1) & there.any(axis=1)[:, None]
    entries = _worst(spread, there)
    attrs = {"units": "1", "long_name": "the requirement is met at all points"}
    entries["met"] = (("flight", "channel"), np.where(judged[:, None], everywhere, np.nan), attrs)
    counted = there | (judged & ~there.any(axis=1))[:, None]  # one that diverged counts at every point
    entries |= _shares("probability", ("point", "channel"), (met & there[:, :, None]).sum(axis=0), counted.sum(axis=0)[:, None], confidence)
    used = int(judged.sum())
    entries |= _shares("channel_probability", ("channel",), everywhere[judged].sum(axis=0), used, confidence)
    good = int(everywhere[judged].all(axis=1).sum())
    entries |= _shares("flight_probability", (), good, used, confidence)
    for name, value, text in (
        ("share_shown", coverage_shown(used, used - good, confidence), "share of all flights shown to meet the requirement"),
        ("flights_needed", flights_needed(COVERAGE, confidence, used - good), "flights that show 95 % with as many failures"),
        ("used", used, "flights used"),
        ("dropped", len(judged) - used, "flights omitted"),
    ):
        entries[name] = ((), value, {"units": "1", "long_name": text})
    attrs = {"title": spread.attrs.get("title", ""), "gain_db": gain_db, "phase": phase, "confidence": confidence}
    return xr.Dataset(entries, {"flight": spread["flight"], "channel": spread["channel"]}, attrs)


def _requirement(spread, gain_db, phase, who: str) -> tuple[float, float]:
    need_table(spread, who, "loops.margin_spread", *_WORST, "growth", "stable", "status", "time", "mach", "incidence")
    gain_db = spread.attrs.get("gain_db", 6.0) if gain_db is None else gain_db
    phase = spread.attrs.get("phase", math.radians(45.0)) if phase is None else phase
    check_requirement(gain_db, phase, who)
    return float(gain_db), float(phase)


def _there(spread: xr.Dataset) -> np.ndarray:
    """Return which points there are, with an incidence small enough to judge a linear model by, bool (flights, points)."""
    return spread["incidence"].values <= MOST_INCIDENCE  # False for NaN


def _judged(spread: xr.Dataset) -> np.ndarray:
    """Return which flights say something about the requirement, bool (flights,)."""
    return np.isfinite(spread["time"].values).any(axis=1) | (spread["status"].values == Status.DIVERGED)


def _worst(spread: xr.Dataset, there: np.ndarray) -> dict:
    """Return each flight's least margins (flight, channel), and whether its loops are stable at all points."""
    entries = {}
    for name, text in _WORST.items():
        least = np.fmin.reduce(np.where(there[:, :, None], spread[name].values, np.nan), axis=1)
        entries[f"worst_{name}"] = (("flight", "channel"), least, {"units": spread[name].attrs["units"], "long_name": text})
    stable = (spread["stable"].values | ~there[:, :, None]).all(axis=1) & there.any(axis=1)[:, None]
    return entries | {"stable": (("flight", "channel"), stable, {"units": "1", "long_name": "the loop is stable at all points"})}


def _shares(name: str, dims: tuple, hits, flights, confidence: float) -> dict:
    found = share_interval(hits, flights, confidence)
    text = {"": "share of the flights that meet the requirement", "_low": "its lower bound", "_high": "its upper bound"}
    return {name + end: (dims, np.asarray(value), {"units": "1", "long_name": text[end]}) for end, value in zip(text, found)}


# ---------------------------------------------------------------- to blame


def worst_draws(spread: xr.Dataset, count: int = 5) -> xr.Dataset:
    """Return the flights that come closest to the critical point, the closest first, with what was drawn for them.

    Of unstable ones, which are all at distance 0, the one that grows fastest comes first.

    Returns
    -------
    Dataset
        Dims flight, input. `distance` and where in the flight it is: `channel`, `time`, `mach`; `value` of each input (SI, rad) and
        `deviation`, standard deviations from the mean of the whole ensemble; `correlation` (input), rank correlation of input and
        least distance over all flights; `magnitude_correlation`, that of the input's size and the least distance (of an offset its
        distance from 0, else from the mean): a cant acts either way; `magnitude_deviation`, that size's own deviation; `units`,
        `role`, `name` of the inputs as `[disperse]` has them. Flights without margins are omitted.

    Raises
    ------
    ValueError
        For what is not a spread, a count below 1, or a spread without a single margin.

    Examples
    --------
    >>> sixdof.loops.worst_draws(spread, 2).sizes["flight"]
    2
    """
    need_table(spread, "worst_draws", "loops.margin_spread", "distance", "growth", "time", "status", "incidence")
    if isinstance(count, bool) or not isinstance(count, (int, np.integer)) or count < 1:
        raise ValueError(f"worst_draws: count = {shown(count)} must be a whole number from 1 up")
    values = np.where(np.isnan(spread["distance"].values) | ~_there(spread)[:, :, None], np.inf, spread["distance"].values)
    flat = values.reshape(len(values), -1)
    least, place = flat.min(axis=1), flat.argmin(axis=1)
    growth = np.where(np.isinf(values), -np.inf, spread["growth"].values).reshape(len(values), -1).max(axis=1)
    order = np.lexsort((-growth, least))[: min(count, int(np.isfinite(least).sum()))]
    if not order.size:
        raise ValueError("worst_draws finds no flight with margins in this spread")
    point, channel = np.divmod(place[order], values.shape[2])
    inputs = _inputs(spread)
    drawn = inputs.isel(flight=order)
    names, both = list(inputs.data_vars), ("flight", "input")
    value = _stacked([drawn[name].values for name in names], order.size)
    deviation = _stacked([_standard(_about_mean(inputs[name]))[order] for name in names], order.size)
    entries = {
        "distance": ("flight", least[order], {"units": "1", "long_name": _WORST["distance"]}),
        "channel": ("flight", spread["channel"].values[channel], {"long_name": "channel of the least distance"}),
        "value": (both, value, {"units": "1", "long_name": "what was drawn, in the unit of the input"}),
        "deviation": (both, deviation, {"units": "1", "long_name": "standard deviations from the mean"}),
        "magnitude_deviation": (
            both,
            _stacked([_standard(_size(inputs[name]))[order] for name in names], order.size),
            {"units": "1", "long_name": "standard deviations of the size from its mean"},
        ),
        "correlation": ("input", _correlations(inputs, least, _about_mean), {"units": "1", "long_name": "rank correlation with the least distance"}),
        "magnitude_correlation": (
            "input",
            _correlations(inputs, least, _size),
            {"units": "1", "long_name": "rank correlation of the size with the least distance"},
        ),
    }
    for name in ("time", "mach"):
        entries[name] = ("flight", spread[name].values[order, point], dict(spread[name].attrs))
    coords = {
        "flight": spread["flight"].isel(flight=order),
        "input": ("input", np.array(names, dtype=str)),
        "units": ("input", np.array([inputs[name].attrs.get("units", "1") for name in names], dtype=str)),
        "role": ("input", np.array([inputs[name].attrs["role"] for name in names], dtype=str)),
        "name": ("input", np.array([_spoken(inputs[name]) for name in names], dtype=str)),
    }
    return xr.Dataset(entries, coords, {"title": spread.attrs.get("title", "")})


def _inputs(spread: xr.Dataset) -> xr.Dataset:
    """Return the drawn inputs that vary, none where nothing was dispersed."""
    try:
        return inputs_of(spread)
    except ValueError:
        return xr.Dataset(coords={"flight": spread["flight"]})


def _stacked(columns: list[np.ndarray], flights: int) -> np.ndarray:
    return np.stack(columns, axis=1) if columns else np.zeros((flights, 0))


def _about_mean(variable: xr.DataArray) -> np.ndarray:
    return about_mean(variable.values)[0] if is_direction(variable) else variable.values - variable.values.mean()


def _size(variable: xr.DataArray) -> np.ndarray:
    """Return how far an input is from what changes nothing: an offset from 0, all else from the mean."""
    return np.abs(variable.values if variable.attrs["role"] == "offset" else _about_mean(variable))


def _standard(values: np.ndarray) -> np.ndarray:
    spread = values.std(ddof=1)
    return (values - values.mean()) / spread if spread > 0.0 else np.zeros_like(values)


def _correlations(inputs: xr.Dataset, least: np.ndarray, of_input: Callable[[xr.DataArray], np.ndarray]) -> np.ndarray:
    """Return the rank correlation of each input, or of its size, with the least distance, NaN from fewer than 3 flights."""
    names = list(inputs.data_vars)
    table = {name: ("flight", of_input(v)) for name, v in inputs.data_vars.items()}
    table["least distance"] = ("flight", np.where(np.isfinite(least), least, np.nan))
    of = xr.Dataset(table)
    return np.array([rank_correlations(of, [name, "least distance"])[0, 1] for name in names])


def _spoken(variable: xr.DataArray) -> str:
    """Return an input as `[disperse]` names it, with the thing it was drawn for: "motor.impulse[whinchat]"."""
    _, bracket, thing = str(variable.name).partition("[")
    return variable.attrs.get("disperses", str(variable.name).partition("[")[0]) + bracket + thing


# ---------------------------------------------------------------- in words


def spread_report(spread: xr.Dataset, *, gain_db: float | None = None, phase: float | None = None, count: int = 5) -> str:
    """Return in words how surely the requirement holds, which flights come closest to instability and why. Raises as `robust_margins`."""
    found = robust_margins(spread, gain_db=gain_db, phase=phase)
    used, dropped = int(found["used"]), int(found["dropped"])
    sure = 100.0 * found.attrs["confidence"]
    lines = [found.attrs["title"] or "untitled", f"margins of the attitude loops over {plural(used)}" + (f", {dropped} omitted" if dropped else "")]
    if "interrupted" in spread.attrs:
        lines.append(f"interrupted: {spread.attrs['interrupted']}")
    if not used:
        return "\n".join([*lines, "", "no flight has margins: there is nothing to judge"])
    lines += ["", f"required: {found.attrs['gain_db']:.4g} dB and {found.attrs['phase'] * _DEG:.4g} deg at the actuator, at every point"]
    for channel in found["channel"].values:
        lines += _named(str(channel), _channel_text(found.sel(channel=channel)))
    lines += [*_named("all", f"{_share_text(found, 'flight_probability')} ({sure:g} % interval)"), "", *wrapped(_claim(found, sure))]
    large = (spread["incidence"].values > MOST_INCIDENCE).any(axis=1)
    if large.any():
        lines += wrapped(
            f"{plural(int(large.sum()))} had points beyond {math.degrees(MOST_INCIDENCE):.0f} deg of incidence, omitted here: "
            "fins stall there, and nothing is linear"
        )
    diverged = int((spread["status"].values == Status.DIVERGED).sum())
    if diverged:
        lines.append(f"{plural(diverged)} diverged and count{'s' if diverged == 1 else ''} as not meeting it")
    if np.isfinite(spread["distance"].values).any():
        lines += _blame(worst_draws(spread, count), used)
    return "\n".join(lines)


def _share_text(found: xr.Dataset, name: str) -> str:
    value, low, high = (100.0 * float(found[name + end]) for end in ("", "_low", "_high"))
    return f"met by {value:.1f} % of the flights, {low:.1f} to {high:.1f} %"


def _channel_text(one: xr.Dataset) -> str:
    def worst(name, factor, unit):
        values = one[f"worst_{name}"].values
        return f"{np.nanmin(values) * factor:.1f} {unit}" if np.isfinite(values).any() else "no limit"

    unstable = int((~one["stable"].values & np.isfinite(one["worst_distance"].values)).sum())
    up, down, phase = worst("gain_margin_db", 1.0, "dB"), worst("gain_reduction_db", 1.0, "dB"), worst("phase_margin", _DEG, "deg")
    least = f"gain margin {up}, gain-reduction margin {down}, phase margin {phase}"
    text = f"{_share_text(one, 'channel_probability')}; worst {least}"
    return text + (f"; UNSTABLE in {plural(unstable)}" if unstable else "")


def _named(name: str, text: str) -> list[str]:
    """Return a line of the page with a name in front, what goes on from it below its text."""
    return wrapped(text, f"{SET_IN}{name:<9}", " " * (len(SET_IN) + 9))


def _claim(found: xr.Dataset, sure: float) -> str:
    text = f"with {sure:g} % confidence at least {100.0 * float(found['share_shown']):.1f} % of all flights meet it"
    met = found["met"].min("channel", skipna=False).values
    verdict = judge(met, COVERAGE, found.attrs["confidence"])
    if verdict.verdict == PASS:
        return text
    if verdict.verdict == FAIL:
        return f"{text}, and fewer than {100.0 * COVERAGE:g} %"
    return f"{text}; to show {100.0 * COVERAGE:g} % takes {plural(verdict.more_flights)} more, none of which fails"


def _blame(worst: xr.Dataset, used: int) -> list[str]:
    correlation = np.nan_to_num(np.concatenate([worst["correlation"].values, worst["magnitude_correlation"].values]))
    names = [*worst["name"].values, *(f"|{name}|" for name in worst["name"].values)]
    order = np.argsort(-np.abs(correlation), kind="stable")
    chance = _chance(used, correlation.size)
    matters = [k for k in order if abs(correlation[k]) > chance][:MOST_NAMED]
    lines = ["", "closest to the critical point"]
    for i in range(worst.sizes["flight"]):
        one = worst.isel(flight=i)
        deviation = np.concatenate([one["deviation"].values, one["magnitude_deviation"].values])
        push = correlation * deviation  # below 0: what was drawn goes with a smaller distance
        named = [k for k in np.argsort(push, kind="stable") if push[k] < 0.0 and abs(correlation[k]) > chance][:3]
        inputs = dict.fromkeys(int(k) % worst.sizes["input"] for k in named)
        drawn = ", ".join(f"{worst['name'].values[k]} {_amount(one, k)}" for k in inputs)
        place = f"{float(one['distance']):.2f} in {str(one['channel'].values)} at {float(one['time']):.2f} s"
        lines.append(f"  flight {int(one['flight'])}: {drawn or 'no input stands out'} (|1 + L| {place})")
    told = [f"{names[k]} {correlation[k]:+.2f}" for k in matters]
    none = f"none beyond chance ({chance:.2f})" if chance < 1.0 or not names else f"{plural(used)} are too few to tell any from chance"
    return [*lines, "", "rank correlation with the least distance (|...|: of the size): " + (", ".join(told) or none)]


def _chance(flights: int, tests: int) -> float:
    """Return the rank correlation that one of so many inputs reaches by chance; 1 where all of them may.

    Of many inputs one or another correlates by chance: C. E. Bonferroni's bound; with no correlation t = r sqrt((n - 2)/(1 - r^2)) has
    Student's distribution of n - 2 degrees (M. G. Kendall, Rank Correlation Methods, 1948, section 5.5: of Spearman's coefficient too).
    """
    if flights < 4:
        return 1.0
    t = -float(stdtrit(flights - 2, 0.5 * CHANCE / max(tests, 1)))
    return t / math.sqrt(flights - 2 + t * t)


def _amount(one: xr.Dataset, k: int) -> str:
    """Return what was drawn as text: "0.81", "-21 mm", "+0.3 deg"."""
    value, unit, sign = float(one["value"][k]), str(one["units"].values[k]), "+" if str(one["role"].values[k]) == "offset" else ""
    factor, unit = {"rad": (_DEG, " deg"), "1": (1.0, "")}.get(unit, (1.0, f" {unit}"))
    if unit == " m" and abs(value) < 0.5:
        factor, unit = 1e3, " mm"
    return f"{value * factor:{sign}.3g}{unit}"
