"""Errors in ejection charges, pins and harnesses."""

from __future__ import annotations

from planted.entry import PlantedError

CHARGE = "tests/vehicle/test_ejection_charge.py::"
STUDY = "tests/study/recovery/test_charge_study.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "charge: all of the powder becomes gas",
        "vehicle/charge.py",
        "return charge.mass * charge.gas_share * charge.impetus / bay.volume",
        "return charge.mass * charge.impetus / bay.volume",
        "the residue, more than half of the powder, presses too",
        CHARGE + "test_pressure__by_hand",
    ),
    PlantedError(
        "charge: nothing pushes back",
        "vehicle/charge.py",
        "(bay.area * (p - pressure) - charge.friction) / mu",
        "(bay.area * p - charge.friction) / mu",
        "the pieces part into a vacuum",
        CHARGE + "test_speed__is_the_work_of_expansion",
    ),
    PlantedError(
        "charge: holes that do not choke",
        "vehicle/charge.py",
        "ratio = max(outside / pressure, (2.0 / (g + 1.0)) ** (g / (g - 1.0)))",
        "ratio = outside / pressure",
        "gas leaves a hole faster than sound, and less of it the thinner the air outside",
        CHARGE + "test_hole__choked_flow_is_that_of_the_textbook",
    ),
    PlantedError(
        "charge: pieces by their whole mass",
        "flight/harness.py",
        "return Ejector(harness.charge, bay, (float(over.pressure[0]), float(over.density[0])), fore * aft / (fore + aft))",
        "return Ejector(harness.charge, bay, (float(over.pressure[0]), float(over.density[0])), fore + aft)",
        "both pieces together are thrown, in place of one against the other",
        CHARGE + "test_snatch__is_v_sqrt_of_k_mu_of_two_masses_and_a_spring",
    ),
    PlantedError(
        "charge: drag ahead of the joint pulls it apart",
        "study/recovery/ejection/pins.py",
        "-fore * force - whole * np.interp(mach, MACHS, body.share)",
        "-fore * force + whole * np.interp(mach, MACHS, body.share)",
        "the drag of what is ahead, which presses the joint together, counts as a pull on its pins",
        STUDY + "test_pull__at_the_joint_of_the_stages_is_what_the_kernel_says_of_it",
    ),
    PlantedError(
        "harness: snatch straight with its rate",
        "study/recovery/ejection/harness_loads.py",
        "(np.nan_to_num(snatch) / strength) ** 2)",
        "(np.nan_to_num(snatch) / strength))",
        "twice the length halves the snatch",
        STUDY + "test_trades__by_brute_force",
    ),
)
