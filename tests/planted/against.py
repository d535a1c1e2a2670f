"""Errors in a log against flights: bands, ranks, scales."""

from __future__ import annotations

from planted.entry import PlantedError

CURVES = "tests/postflight/compare/test_bands_and_curves.py::"
CAUSES = "tests/postflight/compare/test_causes.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "against: a band of plain quantiles",
        "postflight/compare/bands.py",
        "beyond = left_outside(abs(2.0 * share - 1.0), count + 1)",
        "beyond = left_outside(abs(2.0 * share - 1.0), count + 1) + 1",
        "a band that holds less than it claims",
        CURVES + "test_band__claims_what_a_further_flight_has",
    ),
    PlantedError(
        "against: a log not counted among its flights",
        "postflight/compare/curves.py",
        "p = (departures >= first).sum(axis=0) / len(departures)\n    return np.where(np.isfinite(first[0]), p, np.nan)",
        "p = (departures > first).sum(axis=0) / len(departures)\n    return np.where(np.isfinite(first[0]), p, np.nan)",
        "p can be 0: more is said than so many flights can tell",
        CURVES + "test_whole_curve__finds_a_shift_that_no_instant_shows",
    ),
    PlantedError(
        "against: a scale by the flights' mean",
        "postflight/compare/causes.py",
        "return cause._replace(amount=amount / truth, error=error / truth**2, put=put)",
        "return cause._replace(amount=amount, error=error, put=put)",
        "the share of the log that is too much is told for the factor that its values are too large by",
        CAUSES + "test_scale__of_a_log_that_deviates_is_its_factor",
    ),
)
