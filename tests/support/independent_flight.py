"""One flight stated a second time in plain numpy and scipy: the reference that the compiled kernel is held against.

Attitude is a rotation matrix, the constrained motion on the rail comes from one linear system with the constraint
forces as unknowns, actuators move by closed forms; scipy's solve_ivp does the rest, restarted at every control tick,
thrust break and change of an actuator's regime; events by its root finding. Calls no function of sixdof.core.
"""

from __future__ import annotations

import math

import numpy as np
from independent_computer import FlightComputer, rail_matrix
from independent_servo import Actuators
from independent_vehicle import Vehicle, cross, skew
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from sixdof.core.columns import AirColumn, CanopyColumn
from sixdof.core.computer.columns import RuleColumn

HOLD, ON_RAIL, PIVOT, FREE, CANOPY = range(5)  # as the log numbers them
DEAD = 2  # a servo that lets its fin float
TICKS_UNDER_CANOPY = 5  # the computer looks every fifth tick there, unless a canopy opens or the body turns by more than
QUIET = 0.25  # rad between two looks
DAMPING = 0.15  # ratio of the body's swing below its canopies
INSTANT = 1e-9  # s: two moments closer than this are one
UP = np.array([0.0, 0.0, 1.0])


def pack(r, v, turn, w):
    return np.concatenate([r, v, turn.ravel(), w])


def unpack(y):
    return y[:3], y[3:6], y[6:15].reshape(3, 3), y[15:18]


def opening_stages(row):
    """Return [(start, share of the drag area it adds)] of a canopy's opening, s after its line stretch.

    A canopy without reefing opens in one stage, a reefed one to its reefed share and, disreefed, to the rest.
    """
    reefed = row[CanopyColumn.REEFING_RATIO]
    return [(0.0, reefed)] + ([(row[CanopyColumn.REEFING_TIME], 1.0 - reefed)] if reefed < 1.0 else [])


def spread_area(row, since):
    """Return the drag area (m^2) of a canopy released `since` ago: each stage grows with the square of time."""
    fill, total = row[CanopyColumn.FILL_TIME], 0.0
    for start, share in opening_stages(row):
        run = since - row[CanopyColumn.WAIT] - start
        total += share * (float(run >= 0.0) if fill == 0.0 else min(max(run / fill, 0.0), 1.0) ** 2)
    return row[CanopyColumn.DRAG_AREA] * total


def on_its_way(row, released, t):
    """Return whether a canopy is between its release and full at t, or between its disreefing and full."""
    ends = [row[CanopyColumn.WAIT] + start + row[CanopyColumn.FILL_TIME] for start, _ in opening_stages(row)]
    starts = [0.0, *(row[CanopyColumn.WAIT] + start for start, _ in opening_stages(row)[1:])]
    return any(start <= t - released < end for start, end in zip(starts, ends))


class Flight:
    """What the phases of one flight share; canopy : this flight's rows of types.CANOPY_*."""

    def __init__(self, model, draw, canopy):
        self.model, self.draw, self.canopy = model, draw, canopy
        self.vehicle = Vehicle(model, draw)
        rail = model.rail
        self.rest = rail_matrix(draw.elevation, draw.azimuth)
        self.line = self.rest[:, 0]
        self.guide = np.array([-rail.aft_x, 0.0, 0.0])  # body axes from the nose tip
        self.cg_at_rest = self.vehicle.mass_of(1.0)[1]
        self.start = self.rest @ (self.cg_at_rest + np.array([rail.base_x, 0.0, 0.0]))
        # two directions across the rail
        self.across = np.linalg.svd(self.line[None, :])[2][1:]
        self.share = np.ones(len(model.computer.mixer))  # of its load that each fin carries
        self.flown_area = 0.0  # m^2, with which the body came to its first line stretch

    def travel(self, t, y):
        """Return how far the aft guide has run since rest: the state moves as the body does, from its rest."""
        r, _, turn, _ = unpack(y)
        return (r - self.start + (turn - self.rest) @ (self.guide - self.cg_at_rest)) @ self.line

    def acceleration(self, v, turn, force, mass, height):
        gravity = self.vehicle.air(height)[AirColumn.GRAVITY]
        return turn @ force / mass - gravity * UP - 2.0 * cross(self.vehicle.earth_rate, v)

    def pull(self, t, y, fins):
        """Return the acceleration along the rail, friction taken off."""
        r, v, turn, w = unpack(y)
        body = self.vehicle.body(t)
        force, _, _ = self.vehicle.loads(t, r, v, turn, w, fins, self.share, body)
        a = self.acceleration(v, turn, force, body[0], r[2])
        along = a @ self.line
        return along - self.model.rail.friction * np.linalg.norm(a - along * self.line)

    def rate(self, phase, t, y, fins):
        """Return dy/dt."""
        r, v, turn, w = unpack(y)
        if phase == HOLD:
            return np.zeros(18)
        if phase == ON_RAIL:
            return pack(v, self.pull(t, y, fins) * self.line, np.zeros((3, 3)), np.zeros(3))
        body = self.vehicle.body(t)
        mass, cg, inertia = body[:3]
        force, moment, rate = self.vehicle.loads(t, r, v, turn, w, fins, self.share, body)
        a = self.acceleration(v, turn, force, mass, r[2])
        couple = moment - cross(w, inertia @ w)
        if phase == PIVOT:
            a, spin = self.pivot(a, couple, mass, inertia, self.guide - cg, turn, rate)
        else:
            spin = np.linalg.solve(inertia, couple)
        return pack(v, a, turn @ skew(rate), spin)

    def pivot(self, a, couple, mass, inertia, arm, turn, rate):
        """Return (acceleration, angular acceleration) with the aft guide held on the rail's line.

        Unknowns: both accelerations and the two forces across the rail; friction follows from the forces by iteration.
        """
        e = self.across @ turn  # rows: directions across the rail, body axes
        earth = turn.T @ self.vehicle.earth_rate
        system = np.zeros((8, 8))
        system[:3, :3] = mass * np.eye(3)
        system[:3, 6:] = -e.T
        system[3:6, 3:6] = inertia
        system[3:6, 6:] = -skew(arm) @ e.T
        system[6:, :3] = e
        system[6:, 3:6] = -e @ skew(arm)
        known = np.concatenate([mass * (turn.T @ a), couple, -e @ (cross(rate, cross(rate, arm)) + cross(cross(rate, earth), arm))])
        line = turn.T @ self.line
        drag, x = 0.0, np.zeros(8)
        for _ in range(40):
            right = known.copy()
            right[:3] -= drag * line
            right[3:6] -= drag * cross(arm, line)
            x = np.linalg.solve(system, right)
            new = self.model.rail.friction * math.hypot(x[6], x[7])
            if abs(new - drag) <= 1e-15 * abs(new):
                break
            drag = new
        return turn @ x[:3], x[3:6]

    def stretch(self, t, y, fins):
        """Note the drag area with which the body flies as the first lines are stretched."""
        r, v, turn, w = unpack(y)
        force, _, _ = self.vehicle.loads(t, r, v, turn, w, fins, self.share)
        air_force = turn @ (force - self.vehicle.body(t)[5] * self.vehicle.thrust_line)
        u = v - self.vehicle.wind(r[2])
        pressure = 0.5 * self.vehicle.air(r[2])[AirColumn.DENSITY] * (u @ u)
        self.flown_area = max(0.0, -(air_force @ u) / np.linalg.norm(u) / pressure) if pressure >= 1.0 else 0.0

    def airframe_area(self, t, opened):
        """Return the airframe's own drag area: from what it flew with to all of its side, as the canopy that is ahead fills."""
        unreefed = self.canopy.copy()
        unreefed[:, CanopyColumn.DRAG_AREA] = unreefed[:, CanopyColumn.REEFING_RATIO] = 1.0
        ahead = max([0.0, *(spread_area(row, t - released) for row, released in zip(unreefed, opened) if released >= 0.0)])
        return (1.0 - ahead) * self.flown_area + ahead * self.model.tumble_area

    def fall_rate(self, t, y, opened):
        """Return dy/dt of a body under its canopies: a physical pendulum hung by its fore end from where they pull."""
        r, v, turn, w = unpack(y)
        mass, cg, inertia, _, _, thrust, _ = self.vehicle.body(t)
        air = self.vehicle.air(r[2])
        lines = sum(spread_area(row, t - released) for row, released in zip(self.canopy, opened) if released >= 0.0)
        u = v - self.vehicle.wind(r[2])
        stream = -0.5 * air[AirColumn.DENSITY] * np.linalg.norm(u) * u
        force = (lines + self.airframe_area(t, opened)) * stream + thrust * (turn @ self.vehicle.thrust_line)
        a = force / mass - air[AirColumn.GRAVITY] * UP - 2.0 * cross(self.vehicle.earth_rate, v)
        hangs_at = turn @ (np.array([-self.model.leg.nose_x, 0.0, 0.0]) - cg)  # from the centre of mass, world axes
        moment = turn.T @ cross(hangs_at, lines * stream)
        rate = w - turn.T @ self.vehicle.earth_rate
        frequency = math.sqrt(lines * np.linalg.norm(stream) * abs(turn[:, 0] @ hangs_at) / inertia[1, 1])
        spin = np.linalg.solve(inertia, moment - cross(w, inertia @ w)) - 2.0 * DAMPING * frequency * rate
        return pack(v, a, turn @ skew(rate), spin)


def fly_plainly(model, draw, *, rtol, atol, until="ground", method="DOP853", canopy=None, delays=None) -> dict:
    """Fly one vehicle of one stage once; return events and the state at every tick.

    rtol, atol : of solve_ivp, on position (m), velocity (m/s), matrix elements and rates alike. until : "apogee" or
    "ground". canopy, delays : this flight's canopies and delays of rules, the model's own by default; canopies neither
    fail nor hang on cords. Returned: `event` {name: (time, state)}, `time` (n,), `phase` (n,), `state` (n, 18) rows of
    position, velocity, matrix body -> world row by row, rates; `fins`, `command`, `hinge` (n, controls), `rules` (n, 4):
    armed, fired, acted, given up, -1 where not; `end` ("ground", "apogee", "no liftoff" or None when the time limit came
    first), `evaluations`.
    """
    canopy = model.canopy if canopy is None else canopy
    delays = model.computer.rules[:, RuleColumn.DELAY] if delays is None else delays
    return _Run(model, draw, rtol, atol, until, method, canopy, delays).fly()


class _Run:
    def __init__(self, model, draw, rtol, atol, until, method, canopy, delays):
        self.flight = Flight(model, draw, canopy)
        self.model, self.draw, self.until = model, draw, until
        self.options = {"rtol": rtol, "atol": atol, "method": method}
        self.computer = FlightComputer(model, draw, delays, burnout=self.flight.vehicle.time[-1])
        cg = self.flight.vehicle.body(0.0)[1]
        turn = self.flight.rest
        start = turn @ (cg + np.array([model.rail.base_x, 0.0, 0.0]))
        self.y = pack(start, np.zeros(3), turn, turn.T @ self.flight.vehicle.earth_rate)
        self.t, self.phase, self.done = 0.0, HOLD, False
        controls = len(model.computer.mixer)
        self.fins = np.array(draw.centring[:controls], dtype=float)
        self.motors = [(angle, 0.0) for angle in self.fins]
        self.failed, self.hinge = np.zeros(controls, dtype=bool), np.zeros(controls)
        self.event, self.rows, self.evaluations, self.end = {}, [], 0, None

    def fly(self):
        tick, period = 0, self.model.computer.period
        while not self.done and self.t < self.model.time_limit:
            self._tick()
            due = self.t + self.computer.late_by
            tick += TICKS_UNDER_CANOPY if self._quiet() else 1
            if self.computer.late_by > 0.0:
                self._run(due, self.computer.target(late=True))
            self._run(tick * period, self.computer.target(late=False))
        time, phase, state, fins, command, hinge = zip(*self.rows)
        return {
            "event": self.event,
            "time": np.array(time),
            "phase": np.array(phase),
            "state": np.array(state),
            "fins": np.array(fins),
            "command": np.array(command),
            "hinge": np.array(hinge),
            "end": self.end,
            "rules": self.computer.rule_table(),
            "evaluations": self.evaluations,
        }

    def _run(self, end, targets):
        """Go on to `end` with the servos' targets held."""
        servo = Actuators(self.t, end, self.fins, self.motors, targets, self.computer.servo, self.hinge, self.failed)
        breaks = [*self.flight.vehicle.time, *servo.breaks, *self._fills()]
        while self.t < end and not self.done:
            stop = min([b for b in breaks if b > self.t + INSTANT] + [end])
            stop = end if stop > end - INSTANT else stop
            self._advance(stop, servo)
            if stop < end:  # at a tick the computer looks first
                self._stretch(servo.angles(self.t))
        self.fins, self.motors = servo.angles(self.t), servo.motors(self.t)

    def _tick(self):
        r, v, turn, w = unpack(self.y)
        for i, (kind, since) in enumerate(self.model.computer.failure):
            if kind > 0.0 and self.t >= since:
                self.failed[i] = True
                self.flight.share[i] = 0.0 if kind == DEAD else 1.0
        if self.phase == CANOPY:
            rate = self.flight.fall_rate(self.t, self.y, self.computer.opened)[3:6]
        else:
            rate = self.flight.rate(self.phase, self.t, self.y, self.fins)[3:6]
        vehicle = self.flight.vehicle
        self.hinge = vehicle.hinge_moments(self.t, r, v, turn, w, self.fins, self.flight.share)
        felt = turn.T @ (rate + vehicle.air(r[2])[AirColumn.GRAVITY] * UP + 2.0 * cross(vehicle.earth_rate, v))
        command = self.computer.tick(self.t, r, v, turn, w, felt)
        for i, since in enumerate(self.computer.opened):
            if since >= 0.0 and self.phase >= FREE:
                self.event.setdefault(f"canopy {i}", (self.t, self.y.copy()))
        self._stretch(self.fins)
        self.rows.append((self.t, self.phase, self.y.copy(), self.fins.copy(), command, self.hinge))

    def _quiet(self):
        """Return whether the computer may take its time: under canopies, none of them opening, the body hardly turning."""
        if self.phase != CANOPY or np.linalg.norm(self.y[15:18]) * TICKS_UNDER_CANOPY * self.model.computer.period >= QUIET:
            return False
        released = [(row, t) for row, t in zip(self.flight.canopy, self.computer.opened) if t >= 0.0]
        return not any(on_its_way(row, t, self.t) for row, t in released)

    def _stretch(self, fins):
        """Go over to hanging where lines are stretched now; `fins` : their angles."""
        for i, (row, released) in enumerate(zip(self.flight.canopy, self.computer.opened)):
            due = released >= 0.0 and self.phase >= FREE and self.t >= released + row[CanopyColumn.WAIT] - INSTANT
            if due and f"stretch {i}" not in self.event:
                self.event[f"stretch {i}"] = self.t, self.y.copy()
                if self.phase == FREE:
                    self.flight.stretch(self.t, self.y, fins)
                self.phase = CANOPY

    def _fills(self):
        """Return the times at which a canopy begins or ends to fill."""
        found = []
        for released, row in zip(self.computer.opened, self.flight.canopy):
            if released >= 0.0:
                starts = [released + row[CanopyColumn.WAIT] + start for start, _ in opening_stages(row)]
                found += starts + [start + row[CanopyColumn.FILL_TIME] for start in starts]
        return found

    def _advance(self, stop, servo):
        if self.phase == HOLD:
            self._wait(stop)
            return
        phase = self.phase
        if phase == CANOPY:

            def rate(t, y):
                return self.flight.fall_rate(t, y, self.computer.opened)
        else:

            def rate(t, y):
                return self.flight.rate(phase, t, y, servo.angles(t))

        events = self._events()
        found = solve_ivp(rate, (self.t, stop), self.y, events=[e for _, e in events] or None, **self.options)
        assert found.success, found.message
        self.evaluations += found.nfev
        self.t, y = float(found.t[-1]), found.y[:, -1]
        for (name, _), times, states in zip(events, found.t_events or (), found.y_events or ()):
            if len(times):
                self.t, y = float(times[0]), states[0]
                self._happened(name, y)
        self.y = y
        if self.phase == HOLD:  # it has slipped back: the rail holds it
            self.y[3:6] = 0.0
        # the matrix drifts by the solver's tolerance: back to the nearest rotation
        self.y[6:15] = Rotation.from_matrix(self.y[6:15].reshape(3, 3)).as_matrix().ravel()

    def _wait(self, stop):
        """Stand on the rail until the pull along it turns positive."""

        def pull(t):
            return self.flight.pull(t, self.y, self.fins)

        if pull(stop) <= 0.0:
            self.t = stop
            self.done = stop >= self.flight.vehicle.time[-1]  # burnt out on the rail
            self.end = "no liftoff" if self.done else None
            return
        start = self.t + INSTANT * 1e-3
        self.t = self.t if pull(start) > 0.0 else brentq(pull, start, stop, xtol=1e-15)
        self.phase = ON_RAIL
        self.event.setdefault("liftoff", (self.t, self.y.copy()))

    def _events(self):
        """Return [(name, event function)] of the phase."""

        def upward(t, y):
            return y[5]

        def ground(t, y):
            return y[2]

        def up_the_rail(t, y):
            return y[3:6] @ self.flight.line

        def gone(limit):
            return lambda t, y: limit - self.flight.travel(t, y)

        rail = self.model.rail
        if self.phase == ON_RAIL:
            events = [("fore_guide_leaves", gone(rail.fore_travel)), ("slips", up_the_rail)]
        elif self.phase == PIVOT:
            events = [("rail_departure", gone(rail.aft_travel)), ("slips", up_the_rail)]
        elif "apogee" not in self.event:
            events = [("apogee", upward)]
        else:
            events = [("landing", ground)]
        for _, function in events:
            function.terminal, function.direction = True, -1.0
        return events

    def _happened(self, name, y):
        if name == "slips":
            self.end = "no liftoff" if self.phase == PIVOT else None
            self.done, self.phase = self.phase == PIVOT, HOLD
            return
        self.event.setdefault(name, (self.t, y))
        self.phase = {"fore_guide_leaves": PIVOT, "rail_departure": FREE}.get(name, self.phase)
        self.done = name == "landing" or name == self.until
        self.end = {"landing": "ground", "apogee": "apogee"}.get(name) if self.done else None
