"""The page of what happened: what is most likely, how sure that is, what speaks for it and against it, what contradicts what; then the numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.hypotheses.entries import OTHER
from sixdof.postflight.hypotheses.findings import Finding, finding_of
from sixdof.study.reading.page import place
from sixdof.study.reading.result import need_table

_WEAK = (
    "The probabilities are those of these hypotheses, this model and these errors: what nobody thought of has no probability here, but for the share that "
    f'"{OTHER}" was given.',
    "Pieces of evidence are taken as independent of each other, given the flight. Two fixes of one receiver within a minute are not: give the later one, "
    "or wider errors.",
    "Errors and shares of wrong pieces that were not given are this project's guesses (sixdof.postflight.evidence_keys tells them). A probability that "
    "hangs on one of them is no better than it: try another.",
    '"None of these" makes of every piece what a piece makes that has nothing to do with the flight: this project\'s measure, no model of anything.',
    "Ground is as high as the launch point; a body that drags under its canopy, or is carried off, lies elsewhere.",
)
_CAUTIONS = (
    "A body on the ground may hold live charges and a motor that did not burn: approach as the range safety officer says, from the side, and let the "
    "avionics be made safe first. Private land is entered with leave; nobody is sent to climb, wade or onto a road for a rocket.",
    "A calculation, not a finding of fact: what happened is told by the parts.",
)
MOST = 6  # hypotheses in tables of evidence


def happened_text(ds: xr.Dataset) -> str:
    """Return the page of what `what_happened` returned. Raises ValueError for anything else."""
    need_table(ds, "happened_text", "postflight.what_happened", "probability", "log_alone", "tail_by_others")
    found = finding_of(ds)
    title = ds.attrs.get("evidence_title") or ds.attrs.get("title") or "A flight"
    lines = [
        f"{title}: what happened",
        *wrapped(_heading(ds)),
        "",
        *indented(list(_answer(ds, found))),
        "",
        "How probable",
        *table(list(_rows(ds)), words=1, remark=True),
    ]
    lines += ["", "For and against: times likelier (x) or less likely (/) than over all hypotheses, each piece by itself", *_matrix(ds)]
    sentences = list(found.sentences)
    if sentences:
        lines += ["", *indented(sentences)]
    lines += [
        "",
        "Pieces that do not fit",
        *indented(list(found.misfits) or ["None: each piece is within what the others predict, and within what the likeliest leaves."]),
    ]
    lines += ["", "Where it lies", *indented(list(_landings(ds)))]
    lines += ["", "How sure the numbers are", *indented(list(_sure(ds)))]
    return "\n".join([*lines, "", "What to make of it", *indented([*_WEAK, *_CAUTIONS])])


def _heading(ds: xr.Dataset) -> str:
    pieces, own = ds.sizes["evidence"], int((ds["candidate"] != OTHER).sum())
    return (
        f"{pieces} piece{'s' * (pieces > 1)} of evidence, {own} hypothes{'e' if own > 1 else 'i'}s, {ds.sizes['flight']} flights; {ds.attrs.get('source', '')}"
    )


def percent(share: float) -> str:
    """Return a probability as one reads it: 83 %, 0.4 %, below 0.01 %."""
    value = 100.0 * share
    if value < 0.01:
        return "below 0.01 %"
    return f"{value:.2g} %" if value < 10.0 else f"{value:.1f} %" if value > 99.0 and value < 100.0 else f"{value:.0f} %"


def number(share: float, error: float) -> str:
    """Return "0.83 ± 0.02"."""
    digits = 2 if error >= 0.005 or error == 0.0 else 3
    return f"{share:.{digits}f} ± {error:.{digits}f}" if share >= 0.0005 else "below 0.0005"


def _answer(ds: xr.Dataset, found: Finding) -> Iterator[str]:
    yield from found.loud
    order = np.argsort(-ds["probability"].values, kind="stable")
    first, rest = order[0], [k for k in order[1:] if ds["probability"].values[k] >= 0.005]
    names, p, error = ds["candidate"].values.astype(str), ds["probability"].values, ds["probability_error"].values
    few = any(line.startswith("TOO FEW") for line in found.loud)
    head = "MOST LIKELY OF TOO FEW FLIGHTS" if few else "MOST LIKELY"
    yield f"{head}: {names[first]}, {number(p[first], error[first])} (before the evidence {percent(float(ds['prior'][first]))})."
    if rest:
        yield "Then " + ", ".join(f"{names[k]} {number(p[k], error[k])}" for k in rest[:4]) + "."
    if error[first] > 0.1:
        yield "The flights do not yet tell which: the Monte Carlo error is large. Fly more (flights, rounds), or look at how far errors were stated too small."


def _rows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["hypothesis", "before", "after", "error", "flights", "effective", ""]
    for k in np.argsort(-ds["probability"].values, kind="stable"):
        one = ds.isel(candidate=k)
        name, effective = str(one["candidate"].values), float(one["effective_flights"])
        row = [name, percent(float(one["prior"])), percent(float(one["probability"])), percent(float(one["probability_error"])), f"{int(one['flown'])}"]
        yield [*row, f"{effective:.0f}" if math.isfinite(effective) else "-", "" if bool(one["enough"]) else "few"]


def shown_candidates(ds: xr.Dataset) -> np.ndarray:
    """Return the numbers of the hypotheses that tables and figures of evidence show, the most probable first; "none of these" is not among them."""
    order = np.argsort(-ds["probability"].values, kind="stable")
    named = [k for k in order if str(ds["candidate"].values[k]) != OTHER]
    return np.array(named[:MOST])


def factors(ds: xr.Dataset) -> np.ndarray:
    """Return the log of how much likelier each piece is under each hypothesis than over all of them by their priors, (candidate, evidence)."""
    named = np.isfinite(ds["log_alone"].values).all(axis=1)
    values, priors = ds["log_alone"].values, ds["prior"].values
    top = np.max(values[named], axis=0)
    mean = top + np.log(np.sum(priors[named, None] / priors[named].sum() * np.exp(values[named] - top), axis=0))
    return values - mean


def times(log: float) -> str:
    """Return "x 40", "/ 12", "1" of the log of a factor."""
    if not math.isfinite(log):
        return "-"
    size = math.exp(min(abs(log), 30.0))
    if size < 1.15:
        return "1"
    text = f"{size:.1f}" if size < 9.95 else f"{size:.0f}" if size < 9999.5 else f"1e{math.log10(size):.0f}"
    return f"{'x' if log > 0.0 else '/'} {text}"


def _matrix(ds: xr.Dataset) -> list[str]:
    chosen, values = shown_candidates(ds), factors(ds)
    letters = [chr(ord("A") + k) for k in range(len(chosen))]
    rows = [["piece of evidence", *letters]]
    rows += [[str(name), *(times(values[k, j]) for k in chosen)] for j, name in enumerate(ds["evidence"].values)]
    names = ds["candidate"].values.astype(str)
    return [*table(rows, words=1), *indented(["; ".join(f"{letter} {names[k]}" for letter, k in zip(letters, chosen, strict=True))])]


def _landings(ds: xr.Dataset) -> Iterator[str]:
    """Say where each body lies, by the weighted flights."""
    weight, bodies = ds["weight"].values, [str(name) for name in ds["body"].values]
    for k, name in enumerate(bodies):
        east, north = (ds[f"body_landing_{axis}"].values[:, k] for axis in ("east", "north"))
        known = np.isfinite(east + north)
        share = float(weight[known].sum())
        if share < 0.05:
            continue
        own = weight[known] / share
        middle = own @ east[known], own @ north[known]
        spread = math.sqrt(own @ ((east[known] - middle[0]) ** 2 + (north[known] - middle[1]) ** 2))
        sure = "" if share > 0.995 else f", if it comes down by itself ({percent(share)})"
        yield f"{name}: about {place(*middle)}, scatter {spread:.0f} m (root mean square){sure}. sixdof.postflight.search_map makes the map of it."


def _sure(ds: xr.Dataset) -> Iterator[str]:
    named = ds.isel(candidate=(ds["candidate"] != OTHER).values)
    few = named["candidate"].values[~named["enough"].values & (named["probability"].values > 0.005)].astype(str)
    if few.size:
        yield (
            f"THE WEIGHTS FAILED to reach {ds.attrs['enough']:g} effective flights, after {int(named['rounds_flown'].max())} rounds, of {', '.join(few)}: "
            "few flights come near all of the evidence. Its probability is rougher than its error says; fly more, or state wider errors."
        )
    else:
        yield f"Every hypothesis that matters is worth {ds.attrs['enough']:g} effective flights or more."
    yield (
        "Errors are one standard error of the Monte Carlo estimate, by the delta method; effective flights are Kong's. Further rounds are drawn near the "
        "evidence, in the directions that it informs, and weighted by the density of all rounds together."
    )
