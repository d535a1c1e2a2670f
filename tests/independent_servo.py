"""A second-order actuator with rate, acceleration and travel limits, solved piece by piece, its command held."""

from __future__ import annotations

import cmath
import math

import numpy as np
from scipy.optimize import brentq

SAMPLES = 16  # looks for the first limit inside a tick, which is a fraction of a radian of the servo's own motion
CLOSE = 1e-14  # relative: on a limit
TOUCH = 1e-14  # rad: how far past a limit a piece ends, so that rounding cannot hold it there for ever


class Piece:
    """One stretch of motion without a change of regime, from t0 on."""

    def __init__(self, t0, angle, rate, command, servo, regime):
        self.t0, self.angle, self.rate, self.command = t0, angle, rate, command
        self.servo, self.regime = servo, regime

    def at(self, t):
        """Return (angle, rate)."""
        x, servo = t - self.t0, self.servo
        if self.regime == "stop":
            return self.angle, 0.0
        if self.regime == "rate":
            return self.angle + self.rate * x, self.rate
        if self.regime == "acceleration":
            a = math.copysign(servo.acceleration_limit, pull(self.angle, self.rate, self.command, servo))
            return self.angle + self.rate * x + 0.5 * a * x * x, self.rate + a * x
        wn, zeta = servo.frequency, servo.damping
        s = wn * cmath.sqrt(zeta * zeta - 1.0)
        off, speed = self.angle - self.command, self.rate
        c = cmath.cosh(s * x).real
        k = (cmath.sinh(s * x) / s).real if s != 0.0 else x
        decay = math.exp(-zeta * wn * x)
        return (
            self.command + decay * (off * c + (speed + zeta * wn * off) * k),
            decay * (speed * c - (wn * wn * off + zeta * wn * speed) * k),
        )


def pull(angle, rate, command, servo):
    """Return the acceleration the loop asks for."""
    return servo.frequency**2 * (command - angle) - 2.0 * servo.damping * servo.frequency * rate


def regime_of(angle, rate, command, servo):
    """Return the regime a state is in."""
    wanted = pull(angle, rate, command, servo)
    if abs(angle) >= servo.travel * (1.0 - CLOSE) and rate == 0.0 and wanted * angle > 0.0:
        return "stop"
    if abs(rate) >= servo.rate_limit * (1.0 - CLOSE) and wanted * rate > 0.0:
        return "rate"
    if abs(wanted) > servo.acceleration_limit * (1.0 + CLOSE):
        return "acceleration"
    return "free"


def _margin(piece, t):
    """Return how far the piece is from leaving its regime at t: negative once left."""
    servo, (angle, rate) = piece.servo, piece.at(t)
    wanted = pull(angle, rate, piece.command, servo)
    stop = servo.travel - abs(angle) if angle * rate > 0.0 else math.inf
    if piece.regime == "stop":
        return math.inf
    if piece.regime == "rate":
        return min(wanted * math.copysign(1.0, rate) / servo.frequency**2, stop)
    speed = (servo.rate_limit - abs(rate)) / servo.frequency if rate * wanted > 0.0 else math.inf
    if piece.regime == "acceleration":
        return min((abs(wanted) - servo.acceleration_limit) / servo.frequency**2, speed, stop)
    return min((servo.acceleration_limit - abs(wanted)) / servo.frequency**2, speed, stop)


def move(t0, t1, angle, rate, command, servo):
    """Return the pieces of one actuator's motion from t0 to t1 under a held command."""
    pieces = []
    while True:
        if abs(angle) >= servo.travel * (1.0 - CLOSE) and rate * angle > 0.0:  # it hits the stop and does not bounce
            angle, rate = math.copysign(servo.travel, angle), 0.0
        regime = regime_of(angle, rate, command, servo)
        if regime == "rate":
            rate = math.copysign(servo.rate_limit, rate)
        piece = Piece(t0, angle, rate, command, servo, regime)
        pieces.append(piece)
        leave = _first_exit(piece, t0, t1)
        if leave is None:
            return pieces
        t0 = leave
        angle, rate = piece.at(t0)


def _first_exit(piece, t0, t1):
    """Return when the piece leaves its regime, None if not before t1."""
    if piece.regime == "stop":
        return None

    def margin(t):
        return min(_margin(piece, t), 1.0) + TOUCH

    before = t0
    for t in np.linspace(t0, t1, SAMPLES + 1)[1:]:
        if margin(t) < 0.0:
            found = t0 if margin(before) <= 0.0 else brentq(margin, before, t, xtol=1e-16, rtol=1e-15)
            return found if t0 < found < t1 else None
        before = t
    return None


class Actuators:
    """All fins' actuators between two ticks."""

    def __init__(self, t0, t1, angles, rates, commands, servo):
        self.fins = [move(t0, t1, a, r, c, servo) for a, r, c in zip(angles, rates, commands)]
        self.breaks = sorted({p.t0 for pieces in self.fins for p in pieces[1:]})

    def _piece(self, pieces, t):
        found = pieces[0]
        for piece in pieces[1:]:
            if piece.t0 <= t:
                found = piece
        return found

    def angles(self, t):
        """Return the angles at t, rad."""
        return np.array([self._piece(pieces, t).at(t)[0] for pieces in self.fins])

    def end(self, t):
        """Return (angles, rates) at t."""
        states = [self._piece(pieces, t).at(t) for pieces in self.fins]
        return np.array([s[0] for s in states]), np.array([s[1] for s in states])
