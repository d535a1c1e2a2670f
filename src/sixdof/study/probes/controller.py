"""The flight computer's own control law, mixer and servos, run tick by tick on what a study lets them sense."""

from __future__ import annotations

import numpy as np

from sixdof.core import layout as ly
from sixdof.core.actuator import ISSUED, issue, keep_fins, move_fins, pick_targets, switch_delay
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS, FinRow, MotorRow
from sixdof.core.computer.control import built_in_control, mix
from sixdof.core.layout import Sensed
from sixdof.core.types import Servo

__all__ = ["Controller", "switch_delay"]


class Controller:
    """A law with its mixer and its servos, at rest to begin with.

    gains : of the built-in law. mixer : (fins, 3), fin angle per roll, pitch and yaw demand. centring : (fins,), rad. roll_first : 1 where roll
    has priority at the stops. `sensed` is the caller's to fill in before `think`, `memory` is the law's own.
    """

    def __init__(self, servo: Servo, gains: np.ndarray, mixer: np.ndarray, centring: np.ndarray, period: float, roll_first: int):
        count = len(mixer)
        self.servo, self.gains, self.mixer, self.centring, self.period, self.roll_first = servo, gains, mixer, centring, period, roll_first
        self.memory, self.sensed, self.command = np.zeros(ly.MEMORY_SIZE), np.zeros(len(ly.SENSED)), np.zeros(ly.DEMAND_SIZE)
        self.fin_command, self.targets, self.unloaded = np.zeros(count), np.zeros(count), np.zeros(count)
        self.issued, self.fins, self.motors = np.zeros((ISSUED, count)), np.zeros((FIN_ROWS, count)), np.zeros((MOTOR_ROWS, count))
        self.fins[FinRow.START], self.motors[MotorRow.ANGLE_START] = centring, centring
        self.tick = 0

    @property
    def newest(self) -> np.ndarray:
        """The fin angles (fins,) commanded at this tick, rad."""
        return self.issued[self.tick % ISSUED]

    def think(self, t: float) -> None:
        """Run the law and the mixer on `sensed` at time t, s, and issue the fins' commands."""
        built_in_control(t, self.sensed, self.memory, self.gains, self.command)
        self.sensed[Sensed.SATURATED] = mix(self.command, self.mixer, self.servo.travel, self.roll_first, self.fin_command)
        issue(t, self.fin_command, self.issued, self.tick, self.servo)

    def aim(self, which: int) -> None:
        """Take the commands that hold before a tick's switch or after it (layout of core.actuator.pick_targets) as the servos' targets."""
        pick_targets(self.issued, self.tick, which, self.servo, self.period, self.centring, self.targets)

    def move(self, h: float) -> np.ndarray:
        """Move the fins by a step h, s, without load; return the angles (3, fins) that stand for it at its start, middle and end, rad."""
        move_fins(self.fins, self.motors, self.targets, self.unloaded, self.unloaded, self.servo, h)
        return self.fins[: FinRow.NEXT]

    def keep(self) -> None:
        """End a step: its last angles are the next one's first."""
        keep_fins(self.fins, self.motors)
