"""As `fault_cases.py`: a sound mission of two stages, and one mistake each in staging, event rules and recovery."""

from __future__ import annotations

from sound_mission import TEXT

BOOSTER = """
[[stage]]
name = "booster"

[stage.joint]
impulse = "2 N*s"
retention_force = "40 N"
delay = "20 ms"

[[stage.part]]
kind = "transition"
length = "100 mm"
fore_diameter = "75 mm"
aft_diameter = "100 mm"
mass = "80 g"

[[stage.part]]
kind = "tube"
length = "500 mm"
diameter = "100 mm"
mass = "300 g"

[[stage.part]]
kind = "mount"
motor = "D240"
station = "340 mm"
length = "260 mm"
inner_diameter = "39 mm"
mass = "50 g"

[[stage.part]]
kind = "parachute"
name = "small"
mass = "50 g"
station = "0.2 m"
diameter = "50 cm"

[[harness]]
canopy = "main"
separation_station = "0.5 m"
length = "4 m"
strength = "900 N"
impulse = "3 N*s"

[[rule]]
name = "drop"
when = "burnout"
delay = "0.5 s"
action = "separate"
booster = "attached"

[[rule]]
name = "light dart"
when = "separation"
stage = "booster"
delay = "1 s"
action = "ignite"
target = "dart"
tilt_below = "15 deg"
height_above = "80 m"
booster = "separated"
after = "1 s"
before = "6 s"
timeout = "2 s"

[[rule]]
name = "hold"
when = "ignition"
stage = "dart"
action = "guide_hold"

[[recovery]]
canopy = "small"
when = "separation"
delay = "3 s"
motor_delay = "5 s"

[[failure]]
kind = "no_ignition"
of = "dart"
probability = "5 %"

[[failure]]
kind = "late_apogee"
of = "dart"
probability = 0.02
late_by = "2 s"

[[failure]]
kind = "harness_breaks"
of = "main"
probability = 0.01
"""
STACK = TEXT + BOOSTER
ONE_STAGE = (BOOSTER, "")

HOLD = 'retention_force = "40 N"'
DROP = 'when = "burnout"\ndelay = "0.5 s"\naction = "separate"\nbooster = "attached"'
NO_DROP = f'[[rule]]\nname = "drop"\n{DROP}'
LIGHT = 'action = "ignite"\ntarget = "dart"'
LIGHT_WHEN = 'when = "separation"\nstage = "booster"'
HOLDING = 'when = "ignition"\nstage = "dart"\naction = "guide_hold"'
WINDOW = 'after = "1 s"\nbefore = "6 s"\ntimeout = "2 s"'
FINS_ON = 'when = "liftoff"\ndelay = "0.4 s"\naction = "enable_fins"'
LATE = 'kind = "late_apogee"\nof = "dart"\nprobability = 0.02\nlate_by = "2 s"'
HARNESS_BREAKS = 'kind = "harness_breaks"\nof = "main"'
CANOPY = 'name = "small"'
IMPULSE = 'impulse = "3 N*s"'


def rule(text: str) -> tuple[str, str]:
    """Return the replacement that puts a rule in front of the others; it is rule[0]."""
    return "[[rule]]", f"[[rule]]\n{text}\n[[rule]]"


def failure(kind: str, of: str) -> tuple[str, str]:
    """Return the replacement that makes the last failure (failure[2]) another."""
    return HARNESS_BREAKS, f'kind = "{kind}"\nof = "{of}"'


def charge(text: str) -> tuple[str, str]:
    """Return the replacement that gives the harness a charge of these keys, beside its mass and stroke."""
    return IMPULSE, f'charge = {{ mass = "1 g", stroke = "50 mm", {text} }}'


# name: ((old text, new text), ..., the fault's key, part of its message, part of its hint)
STAGES = {
    # ---- values
    "impulse of a wrong unit": (('"2 N*s"', '"2 N"'), "stage[1].joint.impulse", "wrong unit", '"320 N*s"'),
    "impulse negative": (('"2 N*s"', "-2"), "stage[1].joint.impulse", "must be at least 0 N*s", "N*s"),
    "hold negative": ((HOLD, "retention_force = -1"), "stage[1].joint.retention_force", "must be at least 0 N", "300 N"),
    "unknown key of a joint": ((HOLD, "retention = 3"), "stage[1].joint.retention", "unknown key", 'did you mean "retention_force"?'),
    "harness without strength": (('strength = "900 N"\n', ""), "harness[0].strength", "missing", 'strength = "300 N"'),
    "harness as a table": (("[[harness]]", "[harness]"), "harness", "is not a list", "write [[harness]]"),
    "harness that gives without end": (('strength = "900 N"', 'strength = "900 N"\nstiffness = 0'), "harness[0].stiffness", "must be more than 0 N", "300 N"),
    "harness's stiffness as a rate": (('strength = "900 N"', 'strength = "900 N"\nstiffness = "3 kN/m"'), "harness[0].stiffness", "N/m", "300 N"),
    "harness by its elongation": (('strength = "900 N"', 'strength = "900 N"\nelongation = "20 %"'), "harness[0].elongation", "unknown key", "strength"),
    "loose piece without drag": (('strength = "900 N"', 'strength = "900 N"\ntumbling_drag = 0'), "harness[0].tumbling_drag", "must be more than 0", "0.02"),
    "airframe without drag": (('name = "dart"', 'name = "dart"\nhanging_drag = -1'), "stage[0].hanging_drag", "must be more than 0", "0.02"),
    "probability": (('probability = "5 %"', 'probability = "105 %"'), "failure[0].probability", "at most 1", "2 %"),
    "probability missing": (('probability = "5 %"\n', ""), "failure[0].probability", "missing", "probability ="),
    "failure of a kind": ((HARNESS_BREAKS, 'kind = "harness_break"\nof = "main"'), "failure[2].kind", "is not one of", 'mean "harness_breaks"?'),
    "reef share": ((CANOPY, CANOPY + "\nreefing_ratio = 0\nreefing_time = 3"), "stage[1].part[3].reefing_ratio", "must be more than 0", "2 %"),
    # ---- one table
    "reefed for no time": ((CANOPY, CANOPY + "\nreefing_ratio = 0.2"), "stage[1].part[3].reefing_time", "missing", 'reefing_time = "4 s"'),
    "reef time alone": ((CANOPY, CANOPY + '\nreefing_time = "4 s"'), "stage[1].part[3].reefing_time", "without reefing_ratio", "remove it"),
    "burnout over ignition": (
        ("[servo]", '[detection]\nburnout_specific_force = "20 m/s^2"\n[servo]'),
        "detection.burnout_specific_force",
        "20 m/s^2 is not below ignition_specific_force",
        "lower it",
    ),
    "drop not used": (("[servo]", '[detection]\napogee_drop = "5 m"\n[servo]'), "detection.apogee_drop", "does not use it", "remove"),
    "ignition of what": ((HOLDING, 'when = "ignition"\naction = "guide_hold"'), "rule[3].stage", "missing", "needs stage"),
    "stage not used": (rule('when = "liftoff"\nstage = "dart"\naction = "enable_fins"'), "rule[0].stage", "does not use it", "remove"),
    "light what": ((LIGHT, 'action = "ignite"'), "rule[2].target", "missing", 'action "ignite" needs target'),
    "heights": ((WINDOW, WINDOW + '\nheight_below = "80 m"'), "rule[2].height_above", "not less than height_below", "no height"),
    "window": ((WINDOW, 'after = "6 s"\nbefore = "6 s"'), "rule[2].after", "6 s is not less than before, 6 s", "no time"),
    "fallen too low": (
        rule('when = "falling_through"\nthreshold = 90\nheight_above = 90\naction = "disable_fins"'),
        "rule[0].height_above",
        "90 m is not below the threshold, 90 m",
        "lower once it has fallen",
    ),
    "climbed too high": (
        rule('when = "climbing_through"\nthreshold = 90\nheight_below = 90\naction = "disable_fins"'),
        "rule[0].height_below",
        "90 m is not above the threshold, 90 m",
        '"falling_through"',
    ),
    "timeout for nothing": ((FINS_ON, FINS_ON + '\ntimeout = "2 s"'), "rule[0].timeout", "without conditions does not use it", "remove"),
    "timeout over": ((FINS_ON, FINS_ON + '\nafter = "2 s"\ntimeout = "1.5 s"'), "rule[0].timeout", "over before 2 s after liftoff", "can never act"),
    "late by nothing": ((LATE, LATE.partition("\nlate")[0]), "failure[1].late_by", "missing", "needs late_by"),
    "late by not used": ((HARNESS_BREAKS, HARNESS_BREAKS + "\nlate_by = 1"), "failure[2].late_by", "does not use it", "remove it"),
    # ---- stages
    "joint of the front stage": (('name = "dart"', 'name = "dart"\njoint = { impulse = 1 }'), "stage[0].joint", "no stage in front of it", "behind"),
    "ignition of no motor": (
        ('kind = "mount"\nmotor = "D240"\nstation = "340 mm"\nlength = "260 mm"\ninner_diameter = "39 mm"\n', 'kind = "mass"\nstation = "340 mm"\n'),
        ("[stage.joint]", '[stage.ignition]\ndelay = "0.1 s"\n[stage.joint]'),
        "stage[1].ignition",
        "no motor to ignite",
        "add a mount",
    ),
    "ignition of the first": (
        ("[stage.joint]", '[stage.ignition]\ndelay = "0.1 s"\n[stage.joint]'),
        "stage[1].ignition",
        "starts with the last stage's ignition",
        "remove the table",
    ),
    "nothing lights a motor": (
        (LIGHT, 'action = "enable_fins"'),
        (HOLDING, 'when = "liftoff"\naction = "guide_hold"'),
        "stage[0].part",
        "no rule that can act ignites the stage's motor",
        'target = "dart"',
    ),
    "lit by its own burnout": ((LIGHT_WHEN, 'when = "burnout"\nstage = "dart"'), "stage[0].part", "no rule that can act", 'target = "dart"'),
    # ---- what rules do
    "light the last": ((LIGHT, 'action = "ignite"\ntarget = "booster"'), "rule[2].target", "last stage, which is ignited at the start", "dart"),
    "light the unknown": ((LIGHT, 'action = "ignite"\ntarget = "drat"'), "rule[2].target", 'no stage "drat"', 'did you mean "dart"?'),
    "light without a motor": (
        ('kind = "mount"\nmotor = "D240"\nstation = "1.0 m"\nlength = "250 mm"\ninner_diameter = "39 mm"\n', 'kind = "mass"\nstation = "1.0 m"\n'),
        "rule[2].target",
        'stage "dart" has no motor to ignite',
        "add a mount",
    ),
    "separate the front": (('action = "separate"', 'action = "separate"\ntarget = "dart"'), "rule[1].target", "front stage", "booster"),
    "separate the unknown": (
        ('action = "separate"', 'action = "separate"\ntarget = "boster"'),
        "rule[1].target",
        'no stage "boster"',
        'did you mean "booster"?',
    ),
    "separate a single stage": (ONE_STAGE, rule('when = "apogee"\naction = "separate"'), "rule[0].action", "none to separate", "second [[stage]]"),
    "light a single stage": (ONE_STAGE, rule('when = "apogee"\naction = "ignite"\ntarget = "dart"'), "rule[0].action", "none to ignite", "start"),
    # ---- rules that can never act
    "ignition that never comes": ((LIGHT, 'action = "enable_fins"'), "rule[3].stage", 'stage "dart" never burns: nothing ignites it', '"ignite"'),
    "burnout of no motor": (
        ('kind = "mount"\nmotor = "D240"\nstation = "1.0 m"\nlength = "250 mm"\ninner_diameter = "39 mm"\n', 'kind = "mass"\nstation = "1.0 m"\n'),
        (HOLDING, HOLDING.replace("ignition", "burnout")),
        "rule[3].stage",
        "it has no motor",
        "stage that burns",
    ),
    "burnout of the unknown": (
        (HOLDING, 'when = "burnout"\nstage = "drat"\naction = "guide_hold"'),
        "rule[3].stage",
        'no stage "drat"',
        'did you mean "dart"?',
    ),
    "separation of the front": ((LIGHT_WHEN, 'when = "separation"\nstage = "dart"'), "rule[2].stage", "none to separate from", "booster"),
    "separation that never comes": ((HOLD, ""), (NO_DROP, ""), "rule[1].stage", 'stage "booster" never separates', "retention_force"),
    "separation of any": ((HOLD, ""), (NO_DROP, ""), (LIGHT_WHEN, 'when = "separation"'), "rule[1].when", "a stage never separates", "retention_force"),
    "separation of a single stage": (ONE_STAGE, rule('when = "separation"\naction = "enable_fins"'), "rule[0].when", "none ever separates", "remove"),
    "booster never gone": ((HOLD, ""), (NO_DROP, ""), (LIGHT_WHEN, 'when = "liftoff"'), "rule[1].booster", "no stage ever separates", "retention_force"),
    "booster of a single stage": (ONE_STAGE, (FINS_ON, FINS_ON + '\nbooster = "separated"'), "rule[0].booster", "no booster", "remove it"),
    "booster attached after separation": (('booster = "separated"', 'booster = "attached"'), "rule[2].booster", 'once "booster" has separated', '"separated"'),
    "delay beyond the flight": (('delay = "0.4 s"', 'delay = "15 min"'), "rule[0].delay", "900 s is not before solver.time_limit, 900 s", "raise"),
    "threshold beyond the flight": (rule('when = "time"\nthreshold = 901\naction = "disable_fins"'), "rule[0].threshold", "901 s is not before", "raise"),
    "window beyond the flight": ((FINS_ON, FINS_ON + '\nafter = "1000 s"'), "rule[0].after", "1000 s is not before solver.time_limit", "lower it"),
    "delay beyond the window": ((FINS_ON, FINS_ON + '\nbefore = "0.4 s"'), "rule[0].before", "closes 0.4 s after liftoff", "lower delay"),
    "threshold beyond the window": (
        rule('when = "time"\nthreshold = 5\naction = "disable_fins"\nbefore = "4 s"'),
        "rule[0].before",
        "before the rule's threshold and delay",
        "raise it",
    ),
    # ---- rules that contradict
    "fins on and off": (
        rule('when = "liftoff"\ndelay = "400 ms"\naction = "disable_fins"'),
        "rule[1].action",
        '"enable_fins" contradicts rule[0], which says "disable_fins"',
        "change when",
    ),
    "two modes": (
        (HOLDING, HOLDING + '\n[[rule]]\nwhen = "ignition"\nstage = "dart"\naction = "guide_profile"'),
        "rule[4].action",
        '"guide_profile" contradicts rule "hold"',
        "conditions",
    ),
    "the last stage's burnout, named and not": (
        (HOLDING, 'when = "burnout"\naction = "guide_hold"\n[[rule]]\nwhen = "burnout"\nstage = "booster"\naction = "guide_profile"'),
        "rule[4].action",
        "contradicts",
        "change when",
    ),
    # ---- recovery
    "recovery at no separation": (ONE_STAGE, ('when = "apogee"', 'when = "separation"'), "recovery[0].when", "no stage ever separates", "retention_force"),
    "delay of no motor": (
        ('kind = "mount"\nmotor = "D240"\nstation = "340 mm"\nlength = "260 mm"\ninner_diameter = "39 mm"\n', 'kind = "mass"\nstation = "340 mm"\n'),
        "recovery[1].motor_delay",
        'stage "booster", which carries the canopy, has no motor',
        "remove it",
    ),
    "harness of no canopy": (('[[harness]]\ncanopy = "main"', '[[harness]]\ncanopy = "mian"'), "harness[0].canopy", 'no parachute "mian"', '"main"?'),
    "harness twice": (
        ("[[harness]]", '[[harness]]\ncanopy = "main"\nseparation_station = 0.6\nlength = 3\nstrength = 900\n\n[[harness]]'),
        "harness[1].canopy",
        'another harness of the canopy "main"',
        "remove one",
    ),
    "harness off its stage": (('separation_station = "0.5 m"', 'separation_station = "1.3 m"'), "harness[0].separation_station", "1.3 m does not", "1.25 m"),
    "harness at the tip": (('separation_station = "0.5 m"', "separation_station = 0"), "harness[0].separation_station", "0 m does not separate", "0 and 1.25"),
    # ---- charges
    "charge beside an impulse": (
        charge('free_volume = "0.6 L"'),
        ('strength = "900 N"', 'strength = "900 N"\nimpulse = 3'),
        "harness[0].impulse",
        "follows from the charge, and is given too",
        "remove one",
    ),
    "charge of a kilogram": (charge('free_volume = "0.6 L"'), ('mass = "1 g", stroke', "mass = 1, stroke"), "harness[0].charge.mass", "no ejection", "1.2 g"),
    "charge in no room": (charge("pins = 0"), "harness[0].charge.free_volume", "neither says", "0.6 L"),
    "charge in two rooms": (charge('free_volume = "0.6 L", bay_length = "0.2 m"'), "harness[0].charge.free_volume", "both say", "give one"),
    "charge in a full bay": (
        charge('bay_length = "150 mm"'),
        (CANOPY, CANOPY + '\npacked_length = "1 cm"'),
        ('name = "main"\nmass', 'name = "main"\npacked_length = "30 cm"\nmass'),
        "harness[0].charge.bay_length",
        "packed in the bay fill",
        "whole length",
    ),
    "charge in a bay wider than its body": (
        charge('free_volume = "0.6 L", bay_diameter = "2 m"'),
        "harness[0].charge.bay_diameter",
        "more than the body's",
        "72 mm",
    ),
    "charge's hole in m^2": (charge('free_volume = "0.6 L", vent_area = 7'), "harness[0].charge.vent_area", "own section", "7 mm^2"),
    "pins of no strength": (charge('free_volume = "0.6 L", pins = 3'), "harness[0].charge.pins", "have no strength", "pin_diameter"),
    "strength of no pins": (charge('free_volume = "0.6 L", pin_diameter = "2 mm"'), "harness[0].charge.pins", "no pins", "how many"),
    "pins told twice": (
        charge('free_volume = "0.6 L", pins = 2, pin_diameter = "2 mm", pin_strength_low = "100 N"'),
        "harness[0].charge.pin_diameter",
        "told twice",
        "give strengths",
    ),
    "pins low above high": (
        charge('free_volume = "0.6 L", pins = 2, pin_strength_low = "160 N", pin_strength_high = "110 N"'),
        "harness[0].charge.pin_strength_low",
        "160 is more than pin_strength_high",
        "swap",
    ),
    # ---- failures
    "failure of no stage": (failure("no_ignition", "drat"), "failure[2].of", 'no stage "drat"', 'mean "dart"?'),
    "failure of no canopy": (failure("canopy_lost", "dart"), "failure[2].of", 'no parachute "dart"', "main, small"),
    "failure twice": (failure("no_ignition", "dart"), "failure[2]", '"no_ignition: dart"', "remove one"),
    "separation of no joint": (failure("no_separation", "dart"), "failure[2].of", "no joint that parts", "remove"),
    "separation of a fixed joint": ((HOLD, ""), (NO_DROP, ""), failure("no_separation", "booster"), "failure[2].of", "no joint that parts", "remove"),
    "apogee of no altimeter": ((LATE, LATE.replace('"dart"', '"booster"')), "failure[1].of", 'in stage "booster" waits for apogee', "remove"),
    "no canopy that opens": (
        ('[[recovery]]\ncanopy = "main"\nwhen = "apogee"\n', ""),
        failure("no_deployment", "main"),
        "failure[2].of",
        'deploys "main"',
        "remove",
    ),
    "harness of another": (failure("harness_breaks", "small"), "failure[2].of", 'canopy "small" has no harness', "remove"),
    "ignition of a bare stage": (
        ('kind = "mount"\nmotor = "D240"\nstation = "1.0 m"\nlength = "250 mm"\ninner_diameter = "39 mm"\n', 'kind = "mass"\nstation = "1.0 m"\n'),
        "failure[0].of",
        'stage "dart" has no motor',
        "remove",
    ),
}
