"""Errors in what is said of a lost flight: draws near the evidence, weights, search theory, what a flight would have logged."""

from __future__ import annotations

from planted.entry import PlantedError

SAMPLING = "postflight/hypotheses/sampling/"
WEIGHTS = "tests/postflight/hypotheses/test_importance_weights.py::"
DRAWS = "tests/postflight/hypotheses/test_adaptive_draws.py::"
THEORY = "tests/postflight/search/test_search_theory.py::"
LOGGED = "tests/postflight/compare/test_expected.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "lost: flights worth one too many",
        SAMPLING + "weights.py",
        "return float(1.0 / np.sum(weights**2))",
        "return float(1.0 + 1.0 / np.sum(weights**2))",
        "the effective size of equal weights is one more than there are",
        WEIGHTS + "test_effective_size__of_equal_and_impossible_weights",
    ),
    PlantedError(
        "lost: rounds counted alike whatever they drew",
        SAMPLING + "weights.py",
        "np.stack(log_densities) + shares[:, None]",
        "np.stack(log_densities) - np.log(len(shares)) + 0.0 * shares[:, None]",
        "a round of few flights counts as much of the mixture as one of many",
        WEIGHTS + "test_pooled_ratio__is_that_of_the_mixture",
    ),
    PlantedError(
        "lost: a proposal's density without its width",
        SAMPLING + "proposal.py",
        "- np.sum(np.log(np.diag(factor)))\n            logs.append(np.log((1.0 - DEFENSIVE)",
        "\n            logs.append(np.log((1.0 - DEFENSIVE)",
        "draws near the evidence are weighted as if their normal were as wide as the prior",
        DRAWS + "test_proposal__draws_from_its_own_density",
    ),
    PlantedError(
        "lost: the nearest scores on the wrong side",
        SAMPLING + "proposal.py",
        "return -lines.slope.T @ np.linalg.solve(covariance, lines.offset)",
        "return lines.slope.T @ np.linalg.solve(covariance, lines.offset)",
        "a step goes away from the evidence",
        "tests/postflight/hypotheses/test_nearest_scores.py::test_nearest__of_straight_lines_is_the_conjugate_mean",
    ),
    PlantedError(
        "lost: differences at half their distance",
        SAMPLING + "nearest.py",
        "slope = ((moved - value) / APART).T",
        "slope = ((moved - value) / (0.5 * APART)).T",
        "slopes are twice what they are",
        "tests/postflight/hypotheses/test_nearest_scores.py::test_nearest__of_straight_lines_is_the_conjugate_mean",
    ),
    PlantedError(
        "lost: effort where it is already spent",
        "postflight/search/allocation.py",
        "np.exp(np.minimum(worth - first, 0.0))",
        "np.exp(np.minimum(worth - 2.0 * first, 0.0))",
        "likely cells get more effort than is best",
        THEORY + "test_allocation__of_a_circular_normal",
    ),
    PlantedError(
        "lost: an accelerometer off the centre of mass feels no turning",
        "postflight/compare/expected.py",
        "np.cross(w, np.cross(w, arm))",
        "np.cross(w, np.cross(w, 0.0 * arm))",
        "the pull outward of a turning body is left out",
        LOGGED + "test_expected__feels_the_turning_at_the_sensors_place",
    ),
    PlantedError(
        "lost: angles the longer way round",
        "postflight/compare/expected.py",
        "np.angle(np.exp(1j * (second - first))) if name in ROUND",
        "(second - first) if name in ROUND",
        "a roll that goes from 170 to -170 deg passes through 0",
        LOGGED + "test_expected__goes_the_shorter_way_round",
    ),
    PlantedError(
        "lost: damping of what does not turn",
        "core/forces/aerodynamics.py",
        "rate = scale(flow.rate, drawn.damping)",
        "rate = scale(flow.rate, 1.0)",
        "the factor on damping damps nothing",
        "tests/vehicle/test_derivatives.py::test_damping_factor__scales_every_moment_of_turning_and_nothing_else",
    ),
)
