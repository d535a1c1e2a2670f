"""What can vary from flight to flight: the names a `[disperse]` table may use.

The order of `DISPERSIBLE` is fixed: it is the order of the columns of the table of draws. New names go to the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Dispersible:
    """One quantity that can be dispersed.

    unit : of the draw, SI or rad ("1" for a factor). role : "value" replaces the mission's own, "factor" multiplies it,
    "offset" is added to it. least : draws below it have no meaning (None: there is no such limit). each : what has a draw of
    its own ("": one draw per flight); a joint is that of a stage with the one in front of it. whole : draws are whole numbers,
    those of "uniform" from low to high with both ends, each as often as another.
    """

    name: str
    unit: str
    role: Literal["value", "factor", "offset"]
    doc: str
    least: float | None = None
    each: Literal["", "stage", "joint", "rule", "harness", "canopy", "fin"] = ""
    whole: bool = False

    @property
    def neutral(self) -> float | None:
        """The draw that changes nothing: 1 for a factor, 0 for an offset, None for a value (the mission's own)."""
        return {"value": None, "factor": 1.0, "offset": 0.0}[self.role]


def _value(name: str, unit: str, doc: str, least: float | None = None) -> Dispersible:
    return Dispersible(name, unit, "value", doc, least)


def _factor(name: str, doc: str, each: str = "") -> Dispersible:
    return Dispersible(name, "1", "factor", doc, 0.0, each)


def _offset(name: str, unit: str, doc: str, least: float | None = None, each: str = "") -> Dispersible:
    return Dispersible(name, unit, "offset", doc, least, each)


_ALL = (
    _value("wind.speed", "m/s", "mean wind speed at the reference height", 0.0),
    _value("wind.blows_from", "rad", "direction the mean wind comes from, true"),
    _offset("air.temperature", "K", "on the air temperature at all heights"),
    _factor("air.pressure", "on the air pressure at all heights"),
    _factor("motor.impulse", "on the total impulse (thrust scaled, burn time kept)", each="stage"),
    _factor("motor.burn_time", "on the burn time (impulse kept)", each="stage"),
    _offset("motor.tilt_y", "rad", "thrust line turned about body y", each="stage"),
    _offset("motor.tilt_z", "rad", "thrust line turned about body z", each="stage"),
    _offset("motor.offset_y", "m", "thrust line moved along body y", each="stage"),
    _offset("motor.offset_z", "m", "thrust line moved along body z", each="stage"),
    _factor("vehicle.mass", "on the dry mass (inertia goes with it)", each="stage"),
    _offset("vehicle.cg", "m", "on the station of the dry centre of mass, aft positive", each="stage"),
    _offset("vehicle.cg_y", "m", "dry centre of mass off the axis along body y", each="stage"),
    _offset("vehicle.cg_z", "m", "dry centre of mass off the axis along body z", each="stage"),
    _factor("vehicle.inertia", "on the dry inertia", each="stage"),
    _factor("aero.drag", "on the axial force", each="stage"),
    _factor("aero.normal_force", "on the normal force of body and fins", each="stage"),
    _offset("aero.cp", "m", "on the station of the centre of pressure, aft positive", each="stage"),
    _offset("aero.fin_cant", "rad", "on the cant of every panel", each="stage"),
    _offset("rail.elevation", "rad", "on the rail's elevation"),
    _offset("rail.azimuth", "rad", "on the rail's azimuth"),
    _factor("servo.speed", "on the servos' natural frequency"),
    _factor("servo.rate_limit", "on the servos' rate limit"),
    _offset("servo.centring", "rad", "on each fin's neutral angle", each="fin"),
    _factor("gain.pitch", "on the pitch gains"),
    _factor("gain.yaw", "on the yaw gains"),
    _factor("gain.roll", "on the roll gains"),
    _factor("canopy.drag", "on the drag area", each="canopy"),
    _offset("canopy.delay", "s", "on the opening time", 0.0, each="canopy"),
    _offset("ignition.delay", "s", "on the time from the ignition command to the thrust curve", each="stage"),
    _factor("joint.impulse", "on the impulse of charge or spring", each="joint"),
    _offset("joint.delay", "s", "on the time from the command to separation", 0.0, each="joint"),
    _offset("joint.tilt_y", "rad", "stages behind the joint turned about body y", each="joint"),
    _offset("joint.tilt_z", "rad", "stages behind the joint turned about body z", each="joint"),
    _offset("rule.delay", "s", "on the delay of the event rule", 0.0, each="rule"),
    _factor("harness.strength", "on the harness's strength", each="harness"),
    _factor("canopy.fill_time", "on the time from line stretch to full", each="canopy"),
    Dispersible("wind.member", "1", "value", "number of the member of air.wind, from 0", 0.0, whole=True),
    _value("turbulence.wind_at_20_ft", "m/s", "wind at 20 ft above ground that the turbulence follows from", 0.0),
    _factor("harness.stiffness", "on the harness's stiffness", each="harness"),
    _factor("harness.tumbling_drag", "on the drag of the piece that separates as its harness breaks", each="harness"),
    _factor("vehicle.hanging_drag", "on the drag of the body as it hangs under a canopy", each="stage"),
    _factor("wind.factor", "on the mean wind at all heights, whatever tells it"),
    _offset("wind.turn", "rad", "on the direction of the mean wind at all heights, clockwise"),
    _factor("harness.impulse", "on the impulse of the ejection that throws the pieces apart", each="harness"),
    _factor("aero.damping", "on what the body's turning does to the air's forces: damping in pitch, yaw and roll", each="stage"),
    _factor("aero.control_force", "on the force that control fins make by their deflection", each="stage"),
)

DISPERSIBLE: dict[str, Dispersible] = {item.name: item for item in _ALL}
