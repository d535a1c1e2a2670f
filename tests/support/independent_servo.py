"""One actuator solved piece by piece under a held target: second order with limits, load and play."""

from __future__ import annotations

import cmath
import math

import numpy as np
from scipy.optimize import brentq

SAMPLES = 16  # looks for the first limit inside a tick, which is a fraction of a radian of the servo's own motion
CLOSE = 1e-14  # relative: on a limit
TOUCH = 1e-14  # rad: how far past a limit a piece ends, so that rounding cannot hold it there for ever


class Piece:
    """One stretch of motion without a change of regime, from t0 on. speeds: (down, up), limits of the rate."""

    def __init__(self, t0, angle, rate, command, servo, regime, speeds):
        self.t0, self.angle, self.rate, self.command = t0, angle, rate, command
        self.servo, self.regime, self.speeds = servo, regime, speeds
        self.asks = math.copysign(1.0, pull(angle, rate, command, servo))

    def at(self, t):
        """Return (angle, rate)."""
        x, servo = t - self.t0, self.servo
        if self.regime == "stop":
            return self.angle, 0.0
        if self.regime == "rate":
            return self.angle + self.rate * x, self.rate
        if self.regime == "acceleration":
            a = self.asks * servo.acceleration_limit
            return self.angle + self.rate * x + 0.5 * a * x * x, self.rate + a * x
        wn, zeta = servo.frequency, servo.damping
        s = wn * cmath.sqrt(zeta * zeta - 1.0)
        off, speed = self.angle - self.command, self.rate
        c = cmath.cosh(s * x).real
        k = (cmath.sinh(s * x) / s).real if s != 0.0 else x
        decay = math.exp(-zeta * wn * x)
        return (self.command + decay * (off * c + (speed + zeta * wn * off) * k), decay * (speed * c - (wn * wn * off + zeta * wn * speed) * k))


def pull(angle, rate, command, servo):
    """Return the acceleration the loop asks for."""
    return servo.frequency**2 * (command - angle) - 2.0 * servo.damping * servo.frequency * rate


def speeds_under(hinge, servo):
    """Return the motor's limits of speed (down, up) under a moment on the fin that drives it up (N m).

    A direct-current motor's torque goes linearly from the stall torque to nothing at the no-load speed; help makes
    it no faster.
    """
    room = [1.0 + way * hinge / servo.stall_torque for way in (-1.0, 1.0)]
    return tuple(servo.rate_limit * min(max(share, 0.0), 1.0) for share in room)


def _to_limit(rate, way, speeds):
    """Return how far the rate is from its limit in one direction, rad/s."""
    down, up = speeds
    return up - rate if way > 0.0 else down + rate


def regime_of(angle, rate, command, servo, speeds):
    """Return the regime a state is in."""
    wanted = pull(angle, rate, command, servo)
    if abs(angle) >= servo.travel * (1.0 - CLOSE) and rate == 0.0 and wanted * angle > 0.0:
        return "stop"
    if wanted != 0.0 and _to_limit(rate, wanted, speeds) <= CLOSE * servo.rate_limit:
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
        return min(wanted * piece.asks / servo.frequency**2, stop)
    speed = _to_limit(rate, wanted, piece.speeds) / servo.frequency
    if piece.regime == "acceleration":
        return min((abs(wanted) - servo.acceleration_limit) / servo.frequency**2, speed, stop)
    return min((servo.acceleration_limit - abs(wanted)) / servo.frequency**2, speed, stop)


def move(t0, t1, angle, rate, command, servo, hinge=0.0):
    """Return the pieces of one actuator's motion from t0 to t1 under a held command."""
    pieces, (down, up) = [], speeds_under(hinge, servo)
    rate = min(max(rate, -down), up)  # a load that has grown slows the motor at once
    while True:
        if abs(angle) >= servo.travel * (1.0 - CLOSE) and rate * angle > 0.0:  # it hits the stop and does not bounce
            angle, rate = math.copysign(servo.travel, angle), 0.0
        regime = regime_of(angle, rate, command, servo, (down, up))
        if regime == "rate":
            rate = up if pull(angle, rate, command, servo) > 0.0 else -down
        piece = Piece(t0, angle, rate, command, servo, regime, (down, up))
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


class Fin:
    """One fin behind its motor: it stays until the play is taken up, then goes half of the play behind."""

    def __init__(self, pieces, t1, fin):
        self.pieces, self.half = pieces, 0.5 * pieces[0].servo.backlash
        self.spans = []  # (start, motion of the motor, the fin's angle at the start): the motor goes one way in each
        self.breaks = [p.t0 for p in pieces[1:]]
        for piece, end in zip(pieces, [*self.breaks, t1]):
            for start, stop in zip(*self._one_way(piece, end)):
                self.spans.append((start, piece, fin))
                self._taken_up(piece, start, stop, fin)
                fin = self._behind(piece, stop, fin)

    def _one_way(self, piece, end):
        """Return starts and ends of the stretches in which the motor does not turn round."""
        turns = []
        if self.half > 0.0:
            looks = np.linspace(piece.t0, end, SAMPLES + 1)
            rates = [piece.at(t)[1] for t in looks]
            turns = [brentq(lambda t: piece.at(t)[1], a, b, xtol=1e-16) for a, b, u, v in zip(looks, looks[1:], rates, rates[1:]) if u * v < 0.0]
        return [piece.t0, *turns], [*turns, end]

    def _taken_up(self, piece, start, stop, fin):
        """Note when the motor has taken up the play, a corner of the fin's motion."""
        for side in (-self.half, self.half):

            def short(t, side=side):
                return piece.at(t)[0] + side - fin

            if self.half > 0.0 and short(start) * short(stop) < 0.0:
                self.breaks.append(brentq(short, start, stop, xtol=1e-16))

    def _behind(self, piece, t, fin):
        motor = piece.at(t)[0]
        return min(max(fin, motor - self.half), motor + self.half)

    def at(self, t):
        """Return the fin's angle."""
        found = self.spans[0]
        for span in self.spans[1:]:
            if span[0] <= t:
                found = span
        _, piece, fin = found
        return self._behind(piece, t, fin)

    def motor(self, t):
        """Return the motor's (angle, rate)."""
        found = self.pieces[0]
        for piece in self.pieces[1:]:
            if piece.t0 <= t:
                found = piece
        return found.at(t)


class Actuators:
    """All fins' actuators over a stretch without a new target. hinge: moments on the fins; failed: these hold."""

    def __init__(self, t0, t1, fins, motors, targets, servo, hinge, failed):
        self.still = {i: fins[i] for i in range(len(fins)) if failed[i]}
        self.kept = motors
        self.moving = {i: Fin(move(t0, t1, *motors[i], targets[i], servo, hinge[i]), t1, fins[i]) for i in range(len(fins)) if not failed[i]}
        self.breaks = sorted({t for fin in self.moving.values() for t in fin.breaks})

    def angles(self, t):
        """Return the fins' angles at t, rad."""
        return np.array([self.moving[i].at(t) if i in self.moving else self.still[i] for i in range(len(self.kept))])

    def motors(self, t):
        """Return (angle, rate) of every motor at t."""
        return [self.moving[i].motor(t) if i in self.moving else (self.kept[i][0], 0.0) for i in range(len(self.kept))]
