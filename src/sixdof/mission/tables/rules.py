"""The tables of what happens when: event rules, recovery, failures."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ValidationInfo, field_validator

from sixdof.mission.place import failure_name
from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import NonNegativeLength, NonNegativeSpeed, NonNegativeTime, PositiveTime, Share, Tilt, checked

Trigger = Literal["time", "liftoff", "rail_departure", "burnout", "apogee", "climbing_through", "falling_through", "separation", "ignition"]


class Rule(Table):
    """When `when` is sensed, wait `delay`, then do `action`, unless a condition forbids it at that moment.

    Rules belong to the flight computer in the front stage. Conditions are checked when the delay has run out; where one is not met the
    rule waits until all are, `timeout` at most.
    """

    name: str = key("what the rule is called in results and in changes", "fins on", default="")
    when: Trigger = key("what has to be sensed first", "liftoff")
    threshold: float | None = key(
        "time since ignition (when = time) or height above ground (climbing_through, falling_through)",
        "300 m",
        default=None,
        json_schema_extra={"unit": "s or m", "anyOf": [{"type": ["number", "string"]}]},
    )
    delay: NonNegativeTime = key("from what is sensed to the check of the conditions", "0.4 s", default=0.0)
    stage: str = key("whose ignition, burnout or separation is meant; the first to come if omitted", "booster", default="")
    action: Literal["enable_fins", "disable_fins", "deploy", "guide_profile", "guide_waypoints", "guide_hold", "separate", "ignite"] = key(
        "what is done then", "enable_fins"
    )
    target: str = key("stage to ignite, stage to separate with all behind it (the last one if omitted), or canopy to deploy", "main", default="")
    tilt_below: Tilt | None = key("condition: estimated tilt from the vertical less than this", "20 deg", default=None)
    speed_above: NonNegativeSpeed | None = key("condition: estimated speed more than this", "40 m/s", default=None)
    speed_below: NonNegativeSpeed | None = key("condition: estimated speed less than this", "60 m/s", default=None)
    height_above: NonNegativeLength | None = key("condition: height above ground more than this", "100 m", default=None)
    height_below: NonNegativeLength | None = key("condition: height above ground less than this", "300 m", default=None)
    booster: Literal["attached", "separated"] | None = key("condition: a booster is still attached, or has separated", "separated", default=None)
    after: NonNegativeTime | None = key("condition: not before this time since liftoff", "0.8 s", default=None)
    before: NonNegativeTime | None = key("condition: not after this time since liftoff", "6 s", default=None)
    timeout: NonNegativeTime | None = key("how long the rule waits for its conditions before it is given up; for ever if omitted", "1.5 s", default=None)

    @field_validator("threshold", mode="before")
    @classmethod
    def _to_si(cls, value: Any, info: ValidationInfo) -> float | None:
        when = info.data.get("when")
        if value is None or when is None:
            return None
        return checked(value, "s" if when == "time" else "m", least=0.0)


class Recovery(Table):
    """When a canopy is deployed: at `when` (+ `delay`), and in any case `backup_time` after liftoff if given.

    The altimeter of the stage that carries the canopy does this.
    """

    canopy: str = key("name of the parachute that is deployed", "main")
    when: Literal["apogee", "falling_through", "burnout", "liftoff", "separation"] = key(
        "what the altimeter of its stage has to sense", "apogee", default="apogee"
    )
    height: NonNegativeLength | None = key("height above ground for falling_through", "150 m", default=None)
    delay: NonNegativeTime = key("from what is sensed to the deployment command", "0.5 s", default=0.0)
    backup_time: NonNegativeTime | None = key("deployed at the latest at this time after liftoff; no backup if omitted", "16 s", default=None)
    motor_delay: NonNegativeTime | None = key("another trigger: the pyrotechnic delay of the stage's motor after its burnout", "8 s", default=None)


class Failure(Table):
    """Something that goes wrong in a share of the flights.

    harness_breaks: the recovery harness breaks; canopy_lost: the canopy is torn off as it opens; no_deployment: its charge does not fire;
    late_apogee: flight computer or altimeter of the stage notices apogee too late.
    """

    kind: Literal["no_ignition", "no_separation", "late_apogee", "no_deployment", "harness_breaks", "canopy_lost"] = key(
        "what fails: ignition, separation, apogee noticed late, the charge of a canopy, its recovery harness, the canopy itself as it opens", "no_separation"
    )
    of: str = key("the stage (no_ignition, no_separation, late_apogee) or the canopy (no_deployment, harness_breaks, canopy_lost) it happens to", "booster")
    probability: Share = key("share of the flights in which it happens", "1 %")
    late_by: PositiveTime | None = key("how much too late apogee is noticed (late_apogee)", "4 s", default=None)

    @property
    def name(self) -> str:
        """What the failure is called in results and in `Mission.change`."""
        return failure_name(self.kind, self.of)
