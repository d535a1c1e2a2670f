"""Errors in what is asked before a flight."""

from __future__ import annotations

from planted.entry import PlantedError

CARD = "tests/study/launch_card/"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "wind of the hand brought down",
        "study/launch_card/measured_wind.py",
        "return _at(measured, wind.reference_height, 1.0 / share,",
        "return _at(measured, wind.reference_height, share,",
        "a wind measured by hand is made weaker at the reference height instead of stronger: a no-go reads as a go",
        CARD + "test_measured_wind.py::test_factor__of_the_power_law",
    ),
    PlantedError(
        "tolerance without the mass ratio",
        "study/launch_card/weighing.py",
        "by_shift = [shift[piece.stage] * piece.dry.mass / whole.mass for piece in pieces]",
        "by_shift = [shift[piece.stage] for piece in pieces]",
        "the balance point of a loaded stack may be off by as much as that of its dry stages",
        CARD + "test_weighing.py::test_tolerances__are_two_sd_of_what_the_draws_do",
    ),
    PlantedError(
        "a change named one step short",
        "study/launch_card/remedy.py",
        "return _change(lever, high, True)",
        "return _change(lever, low, True)",
        "the smallest change named is the largest one that does not help",
        CARD + "test_launch_card.py::test_change__that_makes_a_yes_holds_when_it_is_flown_again",
    ),
    PlantedError(
        "impulse of one stage for the distances",
        "study/launch_card/safety.py",
        "for stage in mission.stage for part in stage.part if isinstance(part, Mount)]",
        "for stage in mission.stage[:1] for part in stage.part if isinstance(part, Mount)]",
        "people stand as near to a two-stage vehicle as to its sustainer alone",
        CARD + "test_launch_card.py::test_distances__of_the_installed_motors",
    ),
)
