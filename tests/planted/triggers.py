"""Errors in the windows of triggers: what a setting counts from, which flights bound it, how branches are weighed."""

from __future__ import annotations

from planted.entry import PlantedError

WINDOWS = "tests/study/recovery/triggers/test_trigger_windows.py::"
BRANCHES = "tests/study/recovery/triggers/test_trigger_branches.py::"
FILE, ENDS, SEARCH, OUTCOMES = (f"study/recovery/triggers/{name}.py" for name in ("windows", "ends", "search", "outcomes"))

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "trigger windows: the drawn delay left out",
        ENDS,
        "counted = one.armed[:, trigger.number] + one.drawn[:, trigger.number]",
        "counted = one.armed[:, trigger.number]",
        "a canopy's drawn delay is counted for the primary trigger and not for its backup: windows begin up to 0.8 s late",
        WINDOWS + "test_earliest__is_the_setting_up_to_which_a_flown_backup_beats_apogee",
    ),
    PlantedError(
        "trigger windows: the rule that stands first does not act at the same tick",
        ENDS,
        "(tick if action.first.number < trigger.number else 0.0)",
        "0.0",
        "a backup that is due at the tick of the primary is said to beat it",
        WINDOWS + "test_earliest__is_the_setting_up_to_which_a_flown_backup_beats_apogee",
    ),
    PlantedError(
        "trigger windows: the share from the wrong side",
        ENDS,
        'quantile_interval(known, share, confidence, "upper").high',
        'quantile_interval(known, 1.0 - share, confidence, "upper").high',
        "a window begins where a backup beats nearly all sound triggers",
        WINDOWS + "test_bounds__are_those_of_order_statistics",
    ),
    PlantedError(
        "trigger windows: the first moment that no longer saves",
        SEARCH,
        "return np.where(never, -np.inf, low)",
        "return np.where(never, -np.inf, high)",
        "the last moment of a search lies on the wrong side of it",
        WINDOWS + "test_search__finds_the_last_good_moment_to_its_tolerance",
    ),
    PlantedError(
        "trigger windows: a drogue behind the main saves the flight",
        OUTCOMES,
        'good &= ~(event_values(ds, f"deployment {entry.canopy}", body=action.stage) < own)',
        "good &= own >= 0.0",
        "a backup may come when the main is out already",
        WINDOWS + "test_latest__is_the_last_moment_at_which_a_flown_backup_has_the_drogue_out_before_the_main",
    ),
    PlantedError(
        "trigger windows: all branches alike probable",
        FILE,
        "strata.weights, confidence))",
        "np.full(len(places), 1.0 / len(places)), confidence))",
        "a failure of 1 % counts as much as flights without one",
        BRANCHES + "test_a_booster_that_stays_on__has_its_canopy_out_by_a_timer_on_the_way_up",
    ),
)
