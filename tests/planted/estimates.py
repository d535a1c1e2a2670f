"""Errors in estimates from flight logs: noise, colour, outliers, priors, what data cannot separate."""

from __future__ import annotations

from planted.entry import PlantedError

FORMS = "tests/postflight/estimation/test_fit_closed_forms.py::"
ROOM = "postflight/estimation/"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "estimate: the prior pulls nothing",
        ROOM + "solver.py",
        "pull = -prior.precision @ state.z",
        "pull = 0.0 * prior.precision @ state.z",
        "a prior makes steps shorter, not the estimate more probable",
        FORMS + "test_fit__of_a_line_with_priors_is_the_posterior_in_closed_form",
    ),
    PlantedError(
        "estimate: noise without the parameters taken off",
        ROOM + "noise.py",
        "np.maximum(count - np.minimum(taken, count - 1.0), 1.0)",
        "np.maximum(count, 1.0)",
        "the noise of short logs is too small by what the parameters took up",
        FORMS + "test_fit__of_the_certified_regression",
    ),
    PlantedError(
        "estimate: colour counted on one side",
        ROOM + "noise.py",
        "1.0 + 2.0 * rho[1 : last + 1].sum()",
        "1.0 + rho[1 : last + 1].sum()",
        "correlations at negative lags are forgotten",
        FORMS + "test_colour__of_noise_of_first_order_is_known_in_closed_form",
    ),
    PlantedError(
        "estimate: columns counted apart",
        ROOM + "uncertainty.py",
        "found += part if a == b else part + part.T",
        "found += part if a == b else 0.0 * part",
        "two columns that say the same are worth two",
        FORMS + "test_covariance__columns_that_say_the_same_count_once",
    ),
    PlantedError(
        "estimate: outliers in the noise",
        ROOM + "noise.py",
        "(weights * slopes.residual) ** 2",
        "weights * slopes.residual**2",
        "outliers make the noise large, and so are none",
        FORMS + "test_outliers__pull_no_harder_than_three_standard_deviations",
    ),
    PlantedError(
        "estimate: what was not asked for taken as known",
        ROOM + "uncertainty.py",
        "after = inverse(white[np.ix_(asked, asked)])",
        "after = inverse(white)[np.ix_(asked, asked)]",
        "directions promise what only holds if everything else is known",
        FORMS + "test_directions__what_was_not_asked_for_is_integrated_out",
    ),
)
