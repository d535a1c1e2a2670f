"""Errors in roll damping and direct roll of fin sets, and in the way up the rail."""

from __future__ import annotations

from planted.entry import PlantedError

ROLL = "tests/validation/test_roll.py::"
MEASURED = "tests/vehicle/aero/test_aero_measured.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "roll damping of strip theory",
        "core/forces/aerodynamics.py",
        "shared.spin_lost * spin",
        "0.0 * spin",
        "what the span load and the neighbours take off the damping is forgotten",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "direct roll of strip theory",
        "core/forces/aerodynamics.py",
        "- shared.turned_lost *",
        "- 0.0 *",
        "what the span load and the neighbours take off the direct roll is forgotten",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "sign of the roll damping taken off",
        "core/forces/aerodynamics.py",
        "+ shared.spin_lost",
        "- shared.spin_lost",
        "strip theory's excess is added once more",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "roll factors of damping and deflection exchanged",
        "vehicle/aero/roll.py",
        "direct, damping = _moments",
        "damping, direct = _moments",
        "each takes the other's moment",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "image of the lattice's horseshoe turned over",
        "vehicle/aero/roll_lattice.py",
        "(aft, radius**2 / outer), (fore, radius**2 / inner)",
        "(fore, radius**2 / inner), (aft, radius**2 / outer)",
        "the image turns as its vortex does: flow goes through the body",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "neighbours on one side only",
        "vehicle/aero/roll_lattice.py",
        "1.0 if turn in (0, count / 2) else 2.0",
        "1.0",
        "fins to the left are left out of the wash",
        ROLL + "test_kernel__rolls_as_the_independent_lattice",
    ),
    PlantedError(
        "lattice stretched by beta instead of over it",
        "vehicle/aero/roll.py",
        "1.0 / beta)",
        "beta)",
        "Prandtl and Glauert's rule upside down",
        ROLL + "test_kernel__below_mach_1_as_the_stretched_lattice",
    ),
    PlantedError(
        "wake's jump forgotten behind the fin",
        "vehicle/aero/roll_waves.py",
        "across = 2.0 * (kept - inside[..., 0])",
        "across = -2.0 * inside[..., 0]",
        "phi falls to nothing behind swept trailing edges",
        ROLL + "test_waves__swept_trailing_edge_as_flown_backwards",
    ),
    PlantedError(
        "waves in a flat sector",
        "vehicle/aero/roll_waves.py",
        "ahead = (1.0 + 0.5 * width / out)",
        "ahead = (1.0 + 0.0 * width / out)",
        "phi_r/r is half forgotten",
        ROLL + "test_waves__end_at_the_slender_set",
    ),
    PlantedError(
        "measured roll damping per p d/V",
        "vehicle/aero/measured.py",
        "-0.5 * length * moment",
        "-length * moment",
        "twice the damping that was measured",
        MEASURED + "test_roll__the_kernel_gives_the_curves_back",
    ),
    PlantedError(
        "guide told from the burnt vehicle's centre of mass",
        "core/leg/drawing.py",
        "arm(cg, rail.aft_x)",
        "arm(grains.cg, rail.aft_x)",
        "the guides run the rail and the way of the centre of mass inside the body",
        "tests/core/test_flight.py::test_rail__guides_leave_by_the_bodys_way_not_the_centre_of_masss",
    ),
)
