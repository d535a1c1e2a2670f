"""The tables of what happens when: event rules, recovery, failures."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ValidationInfo, field_validator

from sixdof.mission.place import failure_name
from sixdof.mission.tables.base import Table
from sixdof.mission.units import NonNegativeLength, NonNegativeSpeed, NonNegativeTime, PositiveTime, Share, Tilt, checked

Trigger = Literal["time", "liftoff", "rail_departure", "burnout", "apogee", "climbing_through", "falling_through", "separation", "ignition"]


class Rule(Table):
    """When `when` is sensed, wait `delay`, then do `action` (unless an inhibit holds at that moment).

    Rules belong to the flight computer in the front stage. `threshold` is the time since ignition for "time" (s) or the height
    above ground for climbing_through and falling_through (m). `stage` says whose ignition, burnout or separation is meant;
    left out, the first stage to burn out or to separate.

    "ignite" ignites the motors of the stage `target`; "separate" separates the stage `target` with all behind it (left out: the last
    stage); "deploy" deploys the canopy `target`.

    Conditions are checked when the delay has run out: `tilt_below`, `speed_above`, `speed_below`, `height_above`,
    `height_below` (above ground), `booster` still "attached" or "separated", and the window from `after` to `before` since liftoff.
    Where one is not met the rule waits until all are, `timeout` at most (left out: for ever).
    """

    name: str = ""
    when: Trigger
    threshold: float | None = None
    delay: NonNegativeTime = 0.0
    stage: str = ""
    action: Literal["enable_fins", "disable_fins", "deploy", "guide_profile", "guide_waypoints", "guide_hold", "separate", "ignite"]
    target: str = ""
    tilt_below: Tilt | None = None
    speed_above: NonNegativeSpeed | None = None
    speed_below: NonNegativeSpeed | None = None
    height_above: NonNegativeLength | None = None
    height_below: NonNegativeLength | None = None
    booster: Literal["attached", "separated"] | None = None
    after: NonNegativeTime | None = None
    before: NonNegativeTime | None = None
    timeout: NonNegativeTime | None = None

    @field_validator("threshold", mode="before")
    @classmethod
    def _to_si(cls, value: Any, info: ValidationInfo) -> float | None:
        when = info.data.get("when")
        if value is None or when is None:
            return None
        return checked(value, "s" if when == "time" else "m", least=0.0)


class Recovery(Table):
    """When a canopy is deployed: at `when` (+ delay), and in any case `backup_time` after liftoff if given.

    The altimeter of the stage that carries the canopy does this. `motor_delay` is another, redundant trigger: the pyrotechnic
    delay of that stage's motor after its burnout.
    """

    canopy: str
    when: Literal["apogee", "falling_through", "burnout", "liftoff", "separation"] = "apogee"
    height: NonNegativeLength | None = None
    delay: NonNegativeTime = 0.0
    backup_time: NonNegativeTime | None = None
    motor_delay: NonNegativeTime | None = None


class Failure(Table):
    """Something that goes wrong in a share `probability` of the flights.

    `of` names the stage of no_ignition, no_separation and late_apogee (its computer or altimeter notices apogee `late_by` too
    late), the canopy of no_deployment (its charge does not fire), harness_breaks and canopy_lost (it is torn off as it opens).
    """

    kind: Literal["no_ignition", "no_separation", "late_apogee", "no_deployment", "harness_breaks", "canopy_lost"]
    of: str
    probability: Share
    late_by: PositiveTime | None = None

    @property
    def name(self) -> str:
        """What the failure is called in results and in `Mission.change`."""
        return failure_name(self.kind, self.of)
