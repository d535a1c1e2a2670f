"""Errors in loads along the body, on guides and at deployments."""

from __future__ import annotations

from planted.entry import PlantedError

ROOM = "study/structure/loads/"
BENDING = "tests/study/structure/test_bending.py::"
GUIDES = "tests/study/structure/test_guide_loads.py::"
OPENED = "tests/study/structure/test_deployment_loads.py::"
SUMS = BENDING + "test_loads__add_up_to_the_kernels_own_and_nothing_is_left_at_the_aft_end"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "loads: rates turn the body's air the other way",
        ROOM + "bending_air.py",
        "-k * (vz * first + q * second)",
        "-k * (vz * first - q * second)",
        "pitch damping along the body drives",
        SUMS,
    ),
    PlantedError(
        "loads: inertia of one plane with the other's sign",
        ROOM + "bending_beam.py",
        "summed(0, beside_z) - summed(2, armed)",
        "summed(0, beside_z) + summed(2, armed)",
        "forces along z have the arm of forces along y",
        SUMS,
    ),
    PlantedError(
        "loads: drawn inertia stretches twice",
        ROOM + "bending_mass.py",
        "stretch = math.sqrt(stage[StageDraw.INERTIA])",
        "stretch = stage[StageDraw.INERTIA]",
        "a factor on the inertia moves the mass by itself, not by its root",
        SUMS,
    ),
    PlantedError(
        "loads: a floating fin carries",
        ROOM + "bending_air.py",
        "one = at._replace(**{name: getattr(at, name)[rows]",
        "dead = dead & False\n        one = at._replace(**{name: getattr(at, name)[rows]",
        "a dead servo's fin is loaded as if it held its angle",
        BENDING + "test_loads__of_a_dead_fin_and_of_a_stuck_one",
    ),
    PlantedError(
        "loads: knock-down of bending for that of axial load",
        ROOM + "bending_sections.py",
        "return (1.0 - 0.731 * lost) * classical",
        "return (1.0 - 0.901 * lost) * classical",
        "NASA SP-8007's lower bound of the other load",
        BENDING + "test_walls__thin_tube_and_its_buckling",
    ),
    PlantedError(
        "loads: guides by the lever of the other one",
        ROOM + "guides.py",
        "on_fore = (levers - behind[:, None] * force)",
        "on_fore = (levers - ahead[:, None] * force)",
        "the guide next to the centre of mass carries the less",
        GUIDES + "test_guides__carry_the_weight_across_a_leaning_rail_by_the_law_of_the_lever",
    ),
    PlantedError(
        "loads: a guide's moment in pitch with the wrong sign",
        ROOM + "guides.py",
        "np.column_stack([moment[:, 1], -moment[:, 0]])",
        "np.column_stack([moment[:, 1], moment[:, 0]])",
        "M_y = -X F_z",
        GUIDES + "test_guides__a_couple_of_the_motor_loads_both_alike",
    ),
    PlantedError(
        "loads: the loose piece pulls by the other's weight",
        ROOM + "deployment_loads.py",
        "1.0, mass / total)",
        "1.0, 1.0 - mass / total)",
        "the harness carries the share of the piece that keeps the canopy",
        OPENED + "test_loads__are_the_kernels_over_the_masses",
    ),
)
