"""Errors in fin flutter, hinged fins and skin temperatures."""

from __future__ import annotations

from planted.entry import PlantedError

SPEED = "tests/study/structure/test_flutter_speed.py::"
HINGE = "tests/study/structure/test_hinge.py::"
FLUTTER = "tests/study/structure/test_flutter.py::"
SKIN = "tests/study/structure/test_skin.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "flutter's constant halved",
        "study/structure/flutter_speed.py",
        "MARTIN = 39.3 * PSI",
        "MARTIN = 19.65 * PSI",
        "the form that goes around, sqrt(2) higher, in place of TN 4197",
        SPEED + "test_flutter_speed__as_printed_and_not_the_variant",
    ),
    PlantedError(
        "margin demanded near Mach 1",
        "study/structure/flutter_speed.py",
        "1.40, 1.65, 1.65, 1.40",
        "1.40, 1.50, 1.50, 1.40",
        "common practice's 1.5 where a wing fluttered at 1/1.55",
        SPEED + "test_required_margin__envelops_what_was_measured_and_common_practice",
    ),
    PlantedError(
        "air of a booster",
        "study/structure/flutter_air.py",
        "_over_height(height, front.height, front.pressure)",
        "_over_height(height + 100.0, front.height, front.pressure)",
        "a separated body meets the pressure of 100 m above it",
        FLUTTER + "test_air__of_a_booster_is_the_airs_own",
    ),
    PlantedError(
        "load ahead of the hinge",
        "study/structure/hinge_flutter.py",
        "(area * panel.hinge - load)",
        "(load - area * panel.hinge)",
        "fins diverge with the load behind their hinge",
        HINGE + "test_divergence__none_with_the_load_behind_the_hinge",
    ),
    PlantedError(
        "static unbalance of a hinged fin",
        "study/structure/hinge_flutter.py",
        "lift_h, lift_a = round_h - mass,",
        "lift_h, lift_a = round_h + mass,",
        "the air's own mass pushes the wrong way",
        HINGE + "test_flutter__of_a_typical_section_by_an_independent_determinant",
    ),
    PlantedError(
        "Theodorsen's lag turned round",
        "study/structure/hinge_flutter.py",
        "first / (first + 1j * zeroth)",
        "first / (first - 1j * zeroth)",
        "the wake's lag leads",
        HINGE + "test_theodorsen__tabulated_values",
    ),
    PlantedError(
        "recovery by the whole of (gamma - 1)",
        "study/structure/skin_heat.py",
        "(1.0 + factor * 0.5 * (GAMMA - 1.0) * np.asarray(mach) ** 2)",
        "(1.0 + factor * (GAMMA - 1.0) * np.asarray(mach) ** 2)",
        "the half of (gamma - 1)/2 M^2 is forgotten",
        SKIN + "test_recovery__total_temperature_and_the_shares_of_it",
    ),
    PlantedError(
        "stagnation point of a cylinder",
        "study/structure/skin_heat.py",
        "(0.763 if sphere else 0.570)",
        "(0.570 if sphere else 0.763)",
        "tip and leading edge exchange their constants",
        SKIN + "test_film__of_a_slow_cylinder_and_sphere",
    ),
    PlantedError(
        "depth of the first cell",
        "study/structure/skin_walls.py",
        "self.conductivity / (0.5 * self.width[:, 0])",
        "self.conductivity / (5.0 * self.width[:, 0])",
        "the skin lies far from the wall that it heats",
        SKIN + "test_conduction__thick_plastic_wall_is_a_half_space",
    ),
    PlantedError(
        "radiation of the skin",
        "study/structure/skin_flights.py",
        "(body.surface**4 - at.temperature**4)",
        "(body.surface**4 + at.temperature**4)",
        "the air around takes heat in place of giving it back",
        SKIN + "test_heated__heat_that_went_in_is_heat_that_is_there",
    ),
)
