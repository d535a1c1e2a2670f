"""Numbers out of many flights: tables, quantiles with their intervals, criteria, what drives an outcome, and how many flights it takes.

    flights = sixdof.disperse(mission, 1000, seed=1)
    sixdof.stats.per_flight(flights).to_csv("flights.csv")       # plain pandas: one row per flight
    sixdof.stats.swings(flights, "apogee_height")                # which inputs move it, and by how much
    sixdof.stats.flights_needed(0.95)                            # flights without a failure that show 95 %

Results are plain xarray: `flights.apogee_height.quantile([0.05, 0.95])` needs nothing from here. `outcome` is the name of a variable of the result.
Fix the number of flights first: adding flights until a verdict appears raises its rate of error.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.draws.table import make_draws as make_draws
    from sixdof.results.dataset import check_netcdf_path as check_netcdf_path
    from sixdof.results.dataset import check_path as check_path
    from sixdof.results.status import Status as Status
    from sixdof.study.reading.per_flight import per_flight as per_flight
    from sixdof.study.reading.result import event_values as event_values
    from sixdof.study.reading.result import height_bands as height_bands
    from sixdof.study.sweep.timelines import each_flight as each_flight
    from sixdof.study.uncertainty.claims import coverage_shown as coverage_shown
    from sixdof.study.uncertainty.claims import flights_needed as flights_needed
    from sixdof.study.uncertainty.claims import judge as judge
    from sixdof.study.uncertainty.claims import normal_tolerance_factor as normal_tolerance_factor
    from sixdof.study.uncertainty.convergence import precise_enough as precise_enough
    from sixdof.study.uncertainty.convergence import running as running
    from sixdof.study.uncertainty.given_data import given_data_indices as given_data_indices
    from sixdof.study.uncertainty.scatter import containment as containment
    from sixdof.study.uncertainty.scatter import radius as radius
    from sixdof.study.uncertainty.sensitivity import largest_drivers as largest_drivers
    from sixdof.study.uncertainty.sensitivity import linear_shares as linear_shares
    from sixdof.study.uncertainty.sensitivity import rank_correlations as rank_correlations
    from sixdof.study.uncertainty.sensitivity import regression_sensitivity as regression_sensitivity
    from sixdof.study.uncertainty.sensitivity import swings as swings
    from sixdof.study.uncertainty.sobol import sobol_design as sobol_design
    from sixdof.study.uncertainty.sobol import sobol_draws as sobol_draws
    from sixdof.study.uncertainty.sobol import sobol_indices as sobol_indices
    from sixdof.study.uncertainty.sobol import sobol_of as sobol_of
    from sixdof.study.uncertainty.statistics import conditional as conditional
    from sixdof.study.uncertainty.statistics import deviation_interval as deviation_interval
    from sixdof.study.uncertainty.statistics import mean_interval as mean_interval
    from sixdof.study.uncertainty.statistics import quantile_interval as quantile_interval
    from sixdof.study.uncertainty.statistics import share_interval as share_interval
    from sixdof.study.variants.criteria import criterion as criterion
    from sixdof.study.variants.criteria import own_criterion as own_criterion
    from sixdof.study.variants.judging import VERDICTS as VERDICTS
    from sixdof.study.variants.judging import judge_criteria as judge_criteria
    from sixdof.study.variants.nominal import compare_nominal as compare_nominal
    from sixdof.study.variants.pairs import paired as paired
    from sixdof.study.variants.vary import variant_of as variant_of

show(
    __name__,
    {
        "Reading a result": ("per_flight", "event_values", "height_bands", "each_flight", "variant_of", "Status", "check_path", "check_netcdf_path"),
        "Draws": ("make_draws",),
        "Quantiles, shares and how well they are known": (
            "quantile_interval",
            "share_interval",
            "mean_interval",
            "deviation_interval",
            "conditional",
            "running",
            "precise_enough",
        ),
        "Criteria and how many flights they take": (
            "criterion",
            "own_criterion",
            "judge_criteria",
            "VERDICTS",
            "judge",
            "flights_needed",
            "coverage_shown",
            "normal_tolerance_factor",
        ),
        "Variants against each other": ("paired", "compare_nominal"),
        "What drives an outcome": (
            "regression_sensitivity",
            "swings",
            "rank_correlations",
            "linear_shares",
            "largest_drivers",
            "given_data_indices",
            "sobol_draws",
            "sobol_of",
            "sobol_design",
            "sobol_indices",
        ),
        "Where pieces come down": ("containment", "radius"),
    },
)
