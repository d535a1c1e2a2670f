"""The tables of dispersion: how one quantity varies from flight to flight, and what goes together."""

from __future__ import annotations

from typing import Literal

from sixdof.mission.tables.base import Table
from sixdof.mission.units import NonNegativeNumber, Number, Share, Written


class Spread(Table):
    """How one quantity varies from flight to flight. Numbers take the unit of the quantity they disperse.

    "normal": mean, sd (optionally cut at low, high); "uniform": low, high; "triangular": low, mode, high; "fixed": mean;
    "lognormal": median, log_sd, the standard deviation of the natural logarithm (optionally cut); "discrete": one of `values`, as
    often as its entry of `weights` says (left out: all equally); "bernoulli": `value` in a share `probability` of the flights, else
    the mission's own; "empirical": one of the values measured: `data` is the path of a CSV with a column `column`, or of a past
    ensemble (.nc, .zarr) with a variable of that name; loading puts its numbers into `values`, in rising order.

    A mean or median left out is the mission's own value (or 1 for a factor, 0 for an offset); one that takes a number of the mission
    beyond its limits is refused. `unit` is that of bare numbers in
    `values`. low and high cut a normal or lognormal spread, whose density keeps its form between them: a draw that the mission
    cannot hold (a fin without semispan, say) is an error, so cut where one is possible. Inside a mission all numbers are SI.

    A spread goes by a name of `dispersible.py`, or by the dotted path of any number of the mission as `Mission.change` takes it,
    whose draws replace that number: the tables of the vehicle and the air are made anew for every such draw.
    """

    kind: Literal["normal", "uniform", "triangular", "fixed", "lognormal", "discrete", "bernoulli", "empirical"] = "normal"
    mean: Written = None
    sd: Written = None
    low: Written = None
    mode: Written = None
    high: Written = None
    median: Written = None
    log_sd: NonNegativeNumber | None = None
    value: Written = None
    probability: Share | None = None
    values: tuple[Written, ...] = ()
    weights: tuple[NonNegativeNumber, ...] = ()
    unit: str = ""
    data: str = ""
    column: str = ""


class Correlation(Table):
    """Dispersed quantities that go together: `coefficient` of a pair, or the `matrix` of several, row by row as in `of`.

    A Gaussian copula: the coefficient is that of the normal scores (the quantities mapped to normal ones, quantile by quantile), and
    each quantity keeps the distribution of its spread. The rank correlation (Spearman) is 6/pi asin(coefficient/2), nearer to zero
    by 0.019 at most (K. Pearson, "On further methods of determining correlation", 1907); the correlation of the quantities
    themselves is the coefficient where all are normal and nearer to zero elsewhere: no correction for it is made. What is drawn one
    by one (by stage, joint, canopy ...) goes together thing by thing. The first of `of` has the draws it has alone.
    """

    of: tuple[str, ...]
    coefficient: Number | None = None
    matrix: tuple[tuple[Number, ...], ...] = ()
