"""A radio link that loses packets one by one and in bursts: a chain of two states, one good and one bad, each with a loss of its own.

E. N. Gilbert (1960), Capacity of a burst-noise channel, Bell System Technical Journal 39, with loss in the bad state alone; E. O. Elliott (1963), Estimates
of error rates for codes on burst-noise channels, Bell System Technical Journal 42, with loss in both.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Link(NamedTuple):
    """A link. to_bad, to_good : probability of changing state from one packet to the next. good_loss, bad_loss : probability of losing one in each state."""

    to_bad: float
    to_good: float
    good_loss: float
    bad_loss: float


def link_of(loss: float, burst: float | None, good_loss: float = 0.0, bad_loss: float = 1.0) -> Link:
    """Return the link that loses a share `loss` of all packets; burst : packets that its bad spells last on average; None: every packet for itself.

    With p to the bad state and r back, the share of time in the bad state is p/(p + r) and a spell there lasts 1/r (Gilbert 1960): so
    loss = (r good_loss + p bad_loss)/(p + r).

    Raises ValueError where no such link exists.
    """
    if burst is None or loss == 0.0:
        return Link(0.0, 1.0, loss, loss)
    if not good_loss <= loss <= bad_loss or good_loss == bad_loss:
        raise ValueError(f"loss = {loss:g} must lie between good_loss = {good_loss:g} and bad_loss = {bad_loss:g}")
    bad = (loss - good_loss) / (bad_loss - good_loss)  # share of time in the bad state
    to_good = 1.0 / burst
    to_bad = to_good * bad / (1.0 - bad) if bad < 1.0 else 1.0
    if to_bad > 1.0:
        raise ValueError(f"bad spells of {burst:g} packets on average cannot lose a share of {loss:g}; let them last {bad / (1.0 - bad):.3g} packets or more")
    return Link(to_bad, 0.0 if bad >= 1.0 else to_good, good_loss, bad_loss)


def lost(link: Link, count: int, random: np.random.Generator) -> np.ndarray:
    """Return which of `count` packets the link loses, bool; it begins in the state that it is in on average."""
    change, loss = random.random(count + 1), random.random(count)
    both = link.to_bad + link.to_good
    bad = bool(change[-1] < link.to_bad / both) if both > 0.0 else False
    states = np.empty(count, dtype=bool)
    for k in range(count):
        states[k] = bad
        bad = change[k] >= link.to_good if bad else change[k] < link.to_bad
    return loss < np.where(states, link.bad_loss, link.good_loss)
