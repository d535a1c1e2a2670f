"""The tables of dispersion: how one quantity varies from flight to flight, and what goes together."""

from __future__ import annotations

from typing import Literal

from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import NonNegativeNumber, Number, Share, Written


class OwnSpread(Table):
    """How the draws of one stage, joint, canopy ... vary where what is drawn one by one is known better of it: normal, cut as the spread is."""

    mean: Written = key("mean; 1 for a factor, 0 for an offset if omitted", "0.8 mm", default=None)
    sd: Written = key("standard deviation", "0.3 mm")


class Spread(Table):
    """How one quantity varies from flight to flight. Numbers take the unit of the quantity they disperse.

    What each kind takes: "normal": mean, sd (optionally cut at low, high); "uniform": low, high; "triangular": low, mode, high; "fixed":
    mean; "lognormal": median, log_sd (optionally cut); "discrete": values, weights; "bernoulli": value, probability; "empirical": data,
    column, whose numbers loading puts into `values` in rising order.

    A mean or median that takes a number of the mission beyond its limits is refused. low and high cut a normal or lognormal spread, whose
    density keeps its form between them: a draw that the mission cannot hold (a fin without semispan, say) is an error, so cut where one
    is possible. Inside a mission all numbers are SI.

    A spread goes by a name of the list of what can be dispersed, or by the dotted path of any number of the mission as `Mission.change`
    takes it, whose draws replace that number: the tables of the vehicle and the air are made anew for every such draw.
    """

    kind: Literal["normal", "uniform", "triangular", "fixed", "lognormal", "discrete", "bernoulli", "empirical"] = key(
        "distribution; bernoulli: `value` in a share of the flights, else the mission's own; empirical: values measured, from a file",
        "uniform",
        default="normal",
    )
    mean: Written = key("mean of normal, value of fixed; the mission's own (1 for a factor, 0 for an offset) if omitted", "4 m/s", default=None)
    sd: Written = key("standard deviation of normal", "1.5 m/s", default=None)
    low: Written = key("lowest value of uniform and triangular; where normal and lognormal are cut", "0 m/s", default=None)
    mode: Written = key("most frequent value of triangular", "0.1 s", default=None)
    high: Written = key("highest value of uniform and triangular; where normal and lognormal are cut", "9 m/s", default=None)
    median: Written = key("median of lognormal; the mission's own if omitted", "4 m/s", default=None)
    log_sd: NonNegativeNumber | None = key("standard deviation of the natural logarithm (lognormal)", 0.3, default=None)
    value: Written = key("value that bernoulli takes in a share of the flights", "0 m/s", default=None)
    probability: Share | None = key("share of the flights that take `value` (bernoulli)", "2 %", default=None)
    values: tuple[Written, ...] = key("values to draw from (discrete, empirical)", ["59.5 mm", "60.5 mm"], default=())
    weights: tuple[NonNegativeNumber, ...] = key("how often each of `values` is drawn, relative to the others; all equally if omitted", [1, 3], default=())
    unit: str = key("unit of bare numbers in `values`", "mm", default="")
    data: str = key("path of a CSV, or of a past ensemble (.nc, .zarr), with measured values (empirical)", "measured.csv", default="")
    column: str = key("column or variable of `data`", "impulse", default="")
    of: dict[str, OwnSpread] = key(
        "draws of single stages (joints, rules, harnesses, canopies), by name, that vary otherwise than the others: normal, with a mean and sd of their own",
        factory=dict,
    )


class Correlation(Table):
    """Dispersed quantities that go together: `coefficient` of a pair, or the `matrix` of several, row by row as in `of`.

    A Gaussian copula: the coefficient is that of the normal scores (the quantities mapped to normal ones, quantile by quantile), and
    each quantity keeps the distribution of its spread. The rank correlation (Spearman) is 6/pi asin(coefficient/2), nearer to zero
    by 0.019 at most (K. Pearson, "On further methods of determining correlation", 1907); the correlation of the quantities
    themselves is the coefficient where all are normal and nearer to zero elsewhere: no correction for it is made. What is drawn one
    by one (by stage, joint, canopy ...) goes together thing by thing. The first of `of` has the draws it has alone.
    """

    of: tuple[str, ...] = key("names of the dispersed quantities that go together", ["wind.speed", "air.temperature"])
    coefficient: Number | None = key("correlation of a pair, from -1 to 1, of the normal scores", 0.6, default=None)
    matrix: tuple[tuple[Number, ...], ...] = key("correlations of several, row by row in the order of `of`", [[1.0, 0.6], [0.6, 1.0]], default=())
    only: tuple[str, ...] = key("names of the stages (joints, canopies ...) whose draws go together; of all if omitted", ["whinchat"], default=())
