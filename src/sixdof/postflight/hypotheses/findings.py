"""What is worth a sentence: which pieces tell hypotheses apart, which contradict each other, and whether any hypothesis explains them all."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.postflight.hypotheses.entries import OTHER

TELLING = math.log(3.0)  # a factor that is worth a sentence
IN_TAIL, AT_ODDS = 0.01, 0.02  # tails below which a piece does not fit (project thresholds), the first over the number of pieces
WRONG = 0.5  # probability of being wrong from which a piece is named
FEW, LIKELY = 10.0, 0.05  # effective flights below which a hypothesis as probable as that says nothing (project thresholds)
LEAST = 5.0  # effective flights behind a tail that is told
_YES_NO = ("silence", "landed", "canopy", "not_seen", "searched")


class Finding(NamedTuple):
    """loud : lines that come first; empty where a hypothesis explains all. sentences : for and against. misfits : what does not fit."""

    loud: tuple[str, ...]
    sentences: tuple[str, ...]
    misfits: tuple[str, ...]


def finding_of(ds: xr.Dataset) -> Finding:
    """Return what is worth saying of what `what_happened` returned."""
    return Finding(tuple(_loud(ds)), tuple(_sentences(ds)), tuple(_misfits(ds)))


def named_order(ds: xr.Dataset) -> list[int]:
    """Return the numbers of the hypotheses, "none of these" left out, the most probable first."""
    order = np.argsort(-ds["probability"].values, kind="stable")
    return [int(k) for k in order if str(ds["candidate"].values[k]) != OTHER]


def wrong_share(ds: xr.Dataset) -> np.ndarray:
    """Return the probability that each piece is wrong, over all hypotheses but "none of these", (evidence,)."""
    named = named_order(ds)
    p = ds["probability"].values[named]
    return p @ ds["wrong"].values[named] / p.sum() if p.sum() > 0.0 else np.full(ds.sizes["evidence"], np.nan)


def too_few(ds: xr.Dataset) -> list[int]:
    """Return the hypotheses, not improbable, of which too few flights come near the evidence to tell anything."""
    return [k for k in named_order(ds) if ds["probability"].values[k] > LIKELY and ds["effective_flights"].values[k] < FEW]


def unexplained(ds: xr.Dataset) -> list[int]:
    """Return the pieces that the most probable hypothesis leaves in their tails, or takes for wrong."""
    best, pieces = named_order(ds)[0], ds.sizes["evidence"]
    tail, wrong = ds["tail"].values[best], ds["wrong"].values[best]
    return [j for j in range(pieces) if wrong[j] > WRONG or tail[j] < IN_TAIL / pieces]


def _loud(ds: xr.Dataset) -> Iterator[str]:
    names, p = ds["candidate"].values.astype(str), ds["probability"].values
    left, pieces = unexplained(ds), ds["evidence"].values.astype(str)
    other = names[int(np.argmax(p))] == OTHER
    few = too_few(ds)
    if few:
        least = min(float(ds["effective_flights"].values[k]) for k in few)
        yield (
            f"TOO FEW FLIGHTS COME NEAR THE EVIDENCE TO TELL: {_listed([names[k] for k in few])} {'is' if len(few) == 1 else 'are'} worth "
            f"{least:.0f} effective flights{' or little more' if len(few) > 1 else ''}; probabilities and what is said to be wrong may be chance. "
            "Fly more (flights, rounds), or look whether an error was stated too small."
        )
        return
    if not left and not other:
        return
    best = named_order(ds)[0]
    text = "NO HYPOTHESIS EXPLAINS ALL OF THE EVIDENCE."
    if left:
        verb = "is" if len(left) == 1 else "are"
        text += f" Under the likeliest that was named, {names[best]}, {_listed([pieces[j] for j in left])} {verb} wrong or far in the tail."
    if other:
        text += f' "{OTHER}" is left with {100.0 * p.max():.0f} %: something happened that nobody named, or an error was stated too small.'
    yield text + " Check that evidence first, then think of another hypothesis."


def _listed(names: list[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"


def _sentences(ds: xr.Dataset) -> Iterator[str]:
    """Say of every piece that tells the likeliest from its strongest rival how much it does, and whether that is more or less beside the others."""
    order = named_order(ds)
    if len(order) < 2:
        return
    names, first, second = ds["candidate"].values.astype(str), order[0], order[1]
    alone = ds["log_alone"].values[first] - ds["log_alone"].values[second]
    context = ds["log_given_others"].values[first] - ds["log_given_others"].values[second]
    error = np.hypot(ds["log_given_others_error"].values[first], ds["log_given_others_error"].values[second])
    for j in np.argsort(-np.abs(np.nan_to_num(alone)), kind="stable"):
        if not math.isfinite(alone[j]) or max(abs(alone[j]), abs(context[j])) < TELLING:
            continue
        winner, loser = (first, second) if alone[j] > 0.0 else (second, first)
        text = f"{_capital(str(ds['evidence'].values[j]))} is {_times(abs(alone[j]))} likelier under {names[winner]} than under {names[loser]}"
        if math.isfinite(context[j]) and abs(context[j] - alone[j]) > max(TELLING, 2.0 * error[j]):
            word = "as much" if abs(context[j]) < 0.14 else f"{_times(abs(context[j]))} likelier under {names[first if context[j] > 0.0 else second]}"
            text += f"; beside all the others it is {word}"
        yield text + "."


def _capital(text: str) -> str:
    return f'"{text}"'


def _times(log: float) -> str:
    size = math.exp(min(log, 50.0))
    return f"{size:.1f} times" if size < 9.95 else f"{size:.0f} times" if size < 9999.5 else f"some 1e{math.log10(size):.0f} times"


def _misfits(ds: xr.Dataset) -> Iterator[str]:
    pieces, kinds = ds["evidence"].values.astype(str), ds["evidence_kind"].values.astype(str)
    share = wrong_share(ds)
    for j in np.argsort(-np.nan_to_num(share), kind="stable"):
        if share[j] > WRONG:
            yield f'"{pieces[j]}" is most likely wrong: {100.0 * share[j]:.0f} % by all hypotheses together. Without it, ask again.'
    together = ds["tail_by_others"].values
    for j, name in enumerate(pieces):
        if kinds[j] not in _YES_NO and together[j] < IN_TAIL:
            yield f'"{name}" lies in the tail of what all other pieces predict (p = {together[j]:.2g}).'
    yield from _pairs(ds, pieces, kinds)


def _pairs(ds: xr.Dataset, pieces: np.ndarray, kinds: np.ndarray) -> Iterator[str]:
    """Say which pairs contradict each other: one predicts the other with a small tail."""
    tails, behind = ds["tail_by_one"].values, ds["tail_by_one_flights"].values
    for j in range(len(pieces)):
        for k in range(j):
            found = [(tails[a, b], a, b) for a, b in ((j, k), (k, j)) if behind[a, b] >= LEAST and kinds[a] not in _YES_NO]
            if found and min(found)[0] < AT_ODDS:
                p, a, b = min(found)
                yield f'"{pieces[a]}" and "{pieces[b]}" contradict each other: by the second alone, the first is in the tail (p = {p:.2g}).'
