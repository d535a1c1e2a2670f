"""A comparison as a page of text: outcomes and verdicts by variant, and what to do about them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, side_by_side
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import plural
from sixdof.study.uncertainty.claims import FAIL, PASS, UNDECIDED
from sixdof.study.variants.criteria import Criterion
from sixdof.study.variants.judging import VERDICTS, judge_criteria, wanted_criteria
from sixdof.study.variants.pairs import outcome_by_variant
from sixdof.study.variants.subjects import Subject, subject
from sixdof.study.variants.vary import need_comparison

OUTCOMES = ("apogee_height", "rail_departure_speed", "tilt_max", "landing")  # shown whatever the criteria
SHARES = (0.05, 0.5, 0.95)
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def comparison_text(
    ds: xr.Dataset, criteria: str | Criterion | Iterable[str | Criterion] | None = None, *, outcomes: Sequence[str] = OUTCOMES, confidence: float = 0.9
) -> str:
    """Return a page about a comparison: quantiles of outcomes and verdicts, variants by row, and a sentence on each variant.

    Parameters
    ----------
    ds : what `compare` returned
    criteria : as in `judge_criteria`; None takes those given to `compare`, () judges nothing
    outcomes : shown besides those the criteria speak of

    Raises ValueError as `judge_criteria` and `paired` do.
    """
    need_comparison(ds, "comparison_text")
    given = ds.attrs.get("criteria") if criteria is None else criteria
    wanted = wanted_criteria(ds, criteria, "comparison_text") if given else []
    spoken = [one.subject for one in wanted if one.subject is not None and not one.words]
    shown = list(dict.fromkeys([*spoken, *(subject(name) for name in outcomes)]))
    lines = [*_heading(ds), "", *_outcome_table(ds, shown)]
    if wanted:
        lines += ["", criteria_text(judge_criteria(ds, wanted, confidence))]
    return "\n".join([*lines, "", LAST_LINE])


def _heading(ds: xr.Dataset) -> list[str]:
    seed = f", seed {ds.attrs['seed']}" if "seed" in ds.attrs else ""
    count = ds.sizes["variant"]
    flown = f"{count} variant{'s' if count > 1 else ''}, {plural(ds.sizes['flight'])} each on the same draws{seed}"
    flown += f"; {ds.attrs.get('source', 'source unknown')}"
    return [ds.attrs.get("title", "untitled"), flown, *([ds.attrs["interrupted"]] if "interrupted" in ds.attrs else [])]


# ---------------------------------------------------------------- outcomes


def _outcome_table(ds: xr.Dataset, subjects: Sequence[Subject]) -> list[str]:
    """Return the quantiles of outcomes, variants by row, as many outcomes side by side as the page is wide."""
    names = [str(name) for name in ds["variant"].values]
    title = "Outcomes: median, and 5 % to 95 % quantile, of the flights that have a value"
    return [title, *side_by_side(["variant", "", *names], [_column(ds, of) for of in subjects])]


def _column(ds: xr.Dataset, of: Subject) -> list[str]:
    """Return the lines of one outcome: its name, its unit, and a line for each variant."""
    of, values = outcome_by_variant(ds, of, "comparison_text")
    angle = values.attrs["units"] == "rad"
    units = "deg" if angle else values.attrs["units"]
    numbers = np.degrees(values.values) if angle else values.values
    known = [row[np.isfinite(row)] for row in numbers]
    found = [np.quantile(row, SHARES) if row.size else None for row in known]
    largest = max((np.abs(q).max() for q in found if q is not None), default=1.0)
    counted = all((row == np.round(row)).all() for row in known)
    digits = 0 if counted else max(0, 2 - math.floor(math.log10(max(largest, 1e-9))))
    texts = ["none" if q is None else f"{q[1]:.{digits}f}  {q[0]:.{digits}f} to {q[2]:.{digits}f}" for q in found]
    if any(row.size < numbers.shape[1] for row in known):
        texts = [text + (f" (of {row.size})" if row.size < numbers.shape[1] else "") for text, row in zip(texts, known, strict=True)]
    return [str(of), "" if units == "1" else units, *texts]


# ---------------------------------------------------------------- verdicts


def criteria_text(judged: xr.Dataset) -> str:
    """Return the verdicts of `judge_criteria` as text: the criteria by number, a row for each variant, and a sentence on each."""
    lines = [f"Criteria, each judged with {100.0 * judged.attrs['confidence']:g} % confidence by itself"]
    texts = [str(text) for text in judged["criterion"].values]
    lines += [f"  {k + 1}  {text}" for k, text in enumerate(texts)]
    names = [str(name) for name in judged["variant"].values]
    columns = [[str(k + 1), *(_cell(judged, name, k) for name in names)] for k in range(len(texts))]
    lines += ["", *side_by_side(["variant", *names], columns), "", *indented(sentences(judged))]
    return "\n".join(lines)


def _cell(judged: xr.Dataset, variant: str, k: int) -> str:
    one = judged.sel(variant=variant).isel(criterion=k)
    verdict, more = VERDICTS[int(one["verdict"])], int(one["more_flights"])
    return f"{verdict}{f' (+{more} flights)' if verdict == UNDECIDED else ''}, {share_text(one)}"


def share_text(one: xr.Dataset) -> str:
    """Return the observed share of one verdict in per cent, never rounded up to all or down to none."""
    flights, failures = int(one["flights"]), int(one["failures"])
    if failures in (0, flights):
        return "no flight" if not flights else "0 %" if failures else "100 %"
    digits = max(1, math.ceil(math.log10(flights)) - 2)
    return f"{100.0 * float(one['observed']):.{digits}f} %"


def sentences(judged: xr.Dataset) -> list[str]:
    """Return what to make of the verdicts: a sentence for each variant, and what they rest on."""
    found = [_sentence(judged.sel(variant=name)) for name in judged["variant"].values]
    missing = int(judged["missing"].max())
    if missing:
        found.append(f"A flight without a value counts as not meeting a criterion: {missing} per variant at most (see `missing` of judge_criteria).")
    undecided = (judged["verdict"].values == VERDICTS.index(UNDECIDED)).any()
    if undecided:
        found.append("Fix the number of flights first: adding flights until a verdict appears raises the error rate (see sixdof.stats.judge_criteria).")
    return found


def _sentence(one: xr.Dataset) -> str:
    """Return the sentence on one variant."""
    name, verdicts = str(one["variant"].values), [VERDICTS[int(v)] for v in np.atleast_1d(one["verdict"].values)]
    count = len(verdicts)
    by = {word: [k for k, verdict in enumerate(verdicts) if verdict == word] for word in VERDICTS}
    if len(by[PASS]) == count:
        return f"{name} passes {'the criterion' if count == 1 else 'both' if count == 2 else f'all {_word(count)}'}."
    parts = []
    if by[FAIL]:
        why = ", ".join(f"{k + 1} (met in {share_text(one.isel(criterion=k))} of flights)" for k in by[FAIL])
        parts.append(f"fails {why}")
    if by[UNDECIDED]:
        more = max(int(one["more_flights"].values[k]) for k in by[UNDECIDED])
        rate = max(float(one["more_flights_at_this_rate"].values[k]) for k in by[UNDECIDED])
        numbers = _listed([str(k + 1) for k in by[UNDECIDED]])
        parts.append(f"is undecided in {numbers}: add {more} flights if none of them fails{_at_rate(more, rate)}")
    if by[PASS]:
        parts.append(f"passes {'the other' if len(by[PASS]) == 1 else f'the other {_word(len(by[PASS]))}'}")
    return f"{name} {'; '.join(parts)}."


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _at_rate(more: int, rate: float) -> str:
    if math.isinf(rate):
        return ", no number decides it at the failure rate so far"
    return f", {rate:.0f} at the failure rate so far" if rate != more else ""


def _word(count: int) -> str:
    return _WORDS[count] if count < len(_WORDS) else str(count)
