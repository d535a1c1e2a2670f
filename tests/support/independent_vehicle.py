"""Forces, moments and mass properties of the flying vehicle, stated a second time in plain numpy, to check the kernels.

Nothing of sixdof.core runs here: only its column numbers and the model's tables are shared. Where a second route exists
it is taken: distributed loads act at points and are summed as P x F, inertia goes through matrices, its time derivative
through a complex step, the burnt fraction through the thrust curve itself.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.core.columns import AirColumn, BodyColumn, GrainColumn, PanelColumn, WakeColumn

GAS_CONSTANT = 287.05307  # J/(kg K), US Standard Atmosphere 1976
HEAT_RATIO = 1.4
VISCOSITY_EXPONENT = 0.76
STALL_WIDTH = 0.15  # the model's own: range of sine from attached to separated flow
BROADSIDE = 0.17  # the model's own: direction cosine within which forward and backward flow take over from each other
STATIONS = np.array([0.0, 1.0, 2.0])  # where the body's distributed slope is gathered; any three give the same loads
COMPLEX_STEP = 1e-30


class Moved(NamedTuple):
    """What one set of panels does: its forces on panels and body, stations, and what the air does to its hinges."""

    force: np.ndarray
    moment: np.ndarray
    load: np.ndarray  # along each panel's normal, N
    shed: np.ndarray  # what their vortices carry, N: as little as the set's rolling moment says
    hinge: np.ndarray  # N m about each panel's hinge line


def cross(a, b):
    """Return a x b over the last axis (numpy's own costs five times as much for one vector)."""
    if a.ndim == 1 and b.ndim == 1:
        ax, ay, az = a
        bx, by, bz = b
        return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
    return np.cross(a, b)


def skew(a):
    """Return the matrix of a x."""
    x, y, z = a
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def look_up(table, x):
    """Return the row at the uniform-grid position x, straight lines between rows, held beyond both ends."""
    x = min(max(x, 0.0), len(table) - 1.0)
    i = min(int(x), len(table) - 2)
    return table[i] + (x - i) * (table[i + 1] - table[i])


def look_up_2d(table, x, y):
    """Return the value at the uniform-grid position (x, y): rows first, then straight lines between columns."""
    return look_up(look_up(table, x), y)


def point_inertia(mass, d):
    """Return the inertia tensor of a point mass at d."""
    return mass * (d @ d * np.eye(3) - np.outer(d, d))


def warmed_air(world, offset, factor):
    """Return the air table with every temperature raised and the pressure integrated anew from the ground.

    ln p of the table itself gives g/(R T) of each layer; T goes linearly inside it.
    """
    air = world.air.copy()
    cold = air[:, AirColumn.SOUND] ** 2 / (HEAT_RATIO * GAS_CONSTANT)
    slope = np.diff(cold)
    # int dz/T over a layer with T linear: (z2 - z1) ln(T2/T1)/(T2 - T1)
    with np.errstate(divide="ignore", invalid="ignore"):
        before = np.where(np.abs(slope) < 1e-12, 1.0 / cold[:-1], np.log(cold[1:] / cold[:-1]) / slope)
        after = np.where(np.abs(slope) < 1e-12, 1.0 / (cold[:-1] + offset), np.log((cold[1:] + offset) / (cold[:-1] + offset)) / slope)
    fall = np.diff(np.log(air[:, AirColumn.PRESSURE])) * after / before
    log_p = np.concatenate([[0.0], np.cumsum(fall)])
    ground = int(round(-world.air_z0 * world.air_per_metre))
    pressure = air[ground, AirColumn.PRESSURE] * factor * np.exp(log_p - log_p[ground])
    warm = (cold + offset) / cold
    air[:, AirColumn.DENSITY] *= pressure / air[:, AirColumn.PRESSURE] / warm
    air[:, AirColumn.PRESSURE] = pressure
    air[:, AirColumn.SOUND] *= np.sqrt(warm)
    air[:, AirColumn.VISCOSITY] *= warm**VISCOSITY_EXPONENT
    return air


def forward_share(u, speed):
    """Return how far the flow counts as coming from ahead: 1, or 0 from behind, a cubic in the direction cosine between."""
    return 0.5 if speed == 0.0 else float(np.interp(_cubic(abs(u[0]) / speed / BROADSIDE), [0, 1], [0.5, 1.0 if u[0] >= 0.0 else 0.0]))


def _cubic(x):
    x = min(x, 1.0)
    return 1.0 - (1.0 - x) ** 2 * (1.0 + 2.0 * x)


class Vehicle:
    """The vehicle of one flight: model and draw, with what acts on it."""

    def __init__(self, model, draw):
        self.model, self.draw = model, draw
        world, aero, thrust = model.world, model.aero, model.thrust
        differs = draw.temperature != 0.0 or draw.pressure != 1.0
        self.air_table = warmed_air(world, draw.temperature, draw.pressure) if differs else world.air
        turn = np.array([[draw.wind_cos, draw.wind_sin], [-draw.wind_sin, draw.wind_cos]])
        self.wind_table = draw.wind_scale * world.wind[int(draw.member)] @ turn.T
        self.earth_rate = np.array(world.earth_rate)

        # motor: time stretched, impulse scaled; the running impulse by the trapezium rule, exact for straight lines
        self.time = thrust.time * draw.burn_time
        self.force = thrust.force * draw.impulse / draw.burn_time
        self.used = np.concatenate([[0.0], np.cumsum(0.5 * (self.force[1:] + self.force[:-1]) * np.diff(self.time))])
        turned_z = np.array([math.cos(draw.tilt_z), math.sin(draw.tilt_z), 0.0])
        about_y = np.array([[math.cos(draw.tilt_y), 0, math.sin(draw.tilt_y)], [0, 1, 0], [-math.sin(draw.tilt_y), 0, math.cos(draw.tilt_y)]])
        self.thrust_line = about_y @ turned_z
        self.nozzle = np.array([-thrust.exit_x, draw.offset_y, draw.offset_z])  # body axes from the nose tip

        # masses: the dry vehicle and each grain, positions in body axes from the nose tip
        m = model.mass
        self.dry = m.dry * draw.mass
        self.dry_at = np.array([-(m.cg_x + draw.cg_x), m.cg_y + draw.cg_y, m.cg_z + draw.cg_z])
        tensor = np.array([[m.ixx, m.ixy, m.ixz], [m.ixy, m.iyy, m.iyz], [m.ixz, m.iyz, m.izz]])
        self.dry_inertia = tensor * draw.mass * draw.inertia
        self.grains = [
            (
                g[GrainColumn.MASS],
                np.array([-g[GrainColumn.X], g[GrainColumn.Y], g[GrainColumn.Z]]),
                np.array([g[GrainColumn.ROLL_A], g[GrainColumn.PITCH_A], g[GrainColumn.PITCH_A]]),
                np.array([g[GrainColumn.ROLL_B], g[GrainColumn.PITCH_B], g[GrainColumn.PITCH_B]]),
            )
            for g in m.grain
        ]
        self.propellant = sum(g[0] for g in self.grains)
        self.burnt_out = self.mass_of(0.0)

        # panels
        p = aero.panel
        self.set = p[:, PanelColumn.SET].astype(int)
        s, c, zero = p[:, PanelColumn.SIN], p[:, PanelColumn.COS], np.zeros(len(p))
        self.normal = np.column_stack([zero, -c, -s])
        self.outward = np.column_stack([zero, -s, c])
        self.control = p[:, PanelColumn.CONTROL].astype(int)
        self.cant = p[:, PanelColumn.CANT] + draw.cant
        self.gather = np.linalg.inv(np.vander(STATIONS, 3, increasing=True).T)  # slopes at STATIONS from the moments S0, S1, S2

    # ---------------------------------------------------------------- mass and thrust

    def mass_of(self, f):
        """Return (mass, cg, inertia about it) with the share f of the propellant left; f may be complex."""
        total = self.dry + f * self.propellant
        cg = (self.dry * self.dry_at + sum((f * m * at for m, at, _, _ in self.grains), np.zeros(3))) / total
        inertia = self.dry_inertia + point_inertia(self.dry, self.dry_at - cg)
        for m, at, a, b in self.grains:
            inertia = inertia + np.diag(a * f + b * f * f) + point_inertia(f * m, at - cg)
        return total, cg, inertia

    def burn(self, t):
        """Return (thrust at the reference pressure, share of propellant left, its rate, whether it burns)."""
        if t >= self.time[-1] or len(self.time) < 2:
            return 0.0, 0.0, 0.0, 0.0
        i = max(int(np.searchsorted(self.time, t, side="right")) - 1, 0)
        slope = (self.force[i + 1] - self.force[i]) / (self.time[i + 1] - self.time[i])
        x = t - self.time[i]
        force = self.force[i] + slope * x
        used = self.used[i] + 0.5 * (self.force[i] + force) * x
        return force, 1.0 - used / self.used[-1], -force / self.used[-1], 1.0

    def body(self, t):
        """Return (mass, cg, inertia, its rate, mass flow, thrust, burning) at t since ignition."""
        force, f, rate, burning = self.burn(t)
        if not burning:
            mass, cg, inertia = self.burnt_out
            return mass, cg, inertia, np.zeros((3, 3)), 0.0, 0.0, 0.0
        mass, cg, inertia = self.mass_of(f)
        change = self.mass_of(complex(f, COMPLEX_STEP))[2].imag / COMPLEX_STEP * rate
        return mass, cg, inertia, change, -rate * self.propellant, force, 1.0

    # ---------------------------------------------------------------- air

    def air(self, height):
        world = self.model.world
        return look_up(self.air_table, (height - world.air_z0) * world.air_per_metre)

    def wind(self, height):
        east, north = look_up(self.wind_table, math.sqrt(max(height, 0.0)) * self.model.world.wind_per_root)
        return np.array([east, north, 0.0])

    # ---------------------------------------------------------------- loads

    def axial(self, u, speed, mach, air, burning):
        """Return the axial force."""
        aero = self.model.aero
        row = look_up(aero.body, mach * aero.per_mach)
        if u[0] >= 0.0:
            root = (speed * air[AirColumn.DENSITY] / air[AirColumn.VISCOSITY]) ** 0.25
            friction = look_up_2d(aero.friction, mach * aero.per_mach, root * aero.per_root)
            coefficient = friction + row[BodyColumn.CA] + burning * row[BodyColumn.CA_BURN]
            sine = math.hypot(u[1], u[2]) / speed if speed > 0.0 else 0.0
            coefficient *= look_up_2d(aero.axial_shape, mach * aero.per_mach, sine * (aero.axial_shape.shape[1] - 1))
        else:
            coefficient = row[BodyColumn.CA_BACK]
        return -math.copysign(0.5 * air[AirColumn.DENSITY] * u[0] ** 2 * aero.area * coefficient, u[0]) * self.draw.drag

    def body_loads(self, u, rate, cg, speed, mach, air):
        """Return (force, moment about the axis point at the centre of mass) of the body's cross-flow."""
        aero, shift = self.model.aero, self.draw.cp
        half = 0.5 * air[AirColumn.DENSITY] * self.draw.normal_force
        row = look_up(aero.body, mach * aero.per_mach)
        ahead = [BodyColumn.S0, BodyColumn.S1, BodyColumn.S2]
        behind = [BodyColumn.S0_BACK, BodyColumn.S1_BACK, BodyColumn.S2_BACK]
        slopes = self.gather @ row[ahead if u[0] >= 0.0 else behind]
        slopes = slopes * abs(2.0 * forward_share(u, speed) - 1.0)
        half_angle = math.sqrt(0.5 * (1.0 + abs(u[0]) / speed)) if speed > 0.0 else 1.0
        x = -cg[0] - STATIONS - shift  # forward of the centre of mass
        side, down = u[1] + rate[2] * x, u[2] - rate[1] * x
        k = -half * aero.area * abs(u[0]) * half_angle * slopes
        fy, fz = k * side, k * down

        # viscous: half the planform at the centroid +- its radius of gyration, both at their root-mean-square speed
        across = math.hypot(u[1], u[2])
        root = (across * air[AirColumn.DENSITY] / air[AirColumn.VISCOSITY]) ** 0.25
        cdc = look_up_2d(aero.cross, across / air[AirColumn.SOUND] * aero.per_mach, root * aero.per_root)
        centroid = aero.plan1 / aero.plan0
        gyration = math.sqrt(max(aero.plan2 / aero.plan0 - centroid**2, 0.0))
        xv = -cg[0] - centroid - shift + np.array([-gyration, gyration])
        side, down = u[1] + rate[2] * xv, u[2] - rate[1] * xv
        k = -half * cdc * 0.5 * aero.plan0 * math.sqrt(0.5 * (side @ side + down @ down))
        x, fy, fz = np.concatenate([x, xv]), np.concatenate([fy, k * side]), np.concatenate([fz, k * down])
        return np.array([0.0, fy.sum(), fz.sum()]), np.array([0.0, -(x @ fz), x @ fy])

    def panel_loads(self, u, rate, cg, mach, air, fins, share):
        """Return (force, moment about the axis point at the centre of mass, hinge moments) of all fin panels.

        share : of its load that each control fin carries. Sets are taken from the front: vortices of those ahead wash
        over the panels behind.
        """
        sets = look_up(self.model.aero.fin, mach * self.model.aero.per_mach)
        force, moment, hinge, shed = np.zeros(3), np.zeros(3), np.zeros(len(self.set)), np.zeros(len(self.set))
        for number in dict.fromkeys(self.set.tolist()):
            here = self.set == number
            wash = self.wash(number, u, air, shed, fins)
            found = self.set_loads(here, sets[number], u, rate, cg, air, fins, share, wash)
            force, moment = force + found.force, moment + found.moment
            shed[here], hinge[here] = found.shed, found.hinge
        return force, moment, hinge

    def angle(self, fins):
        """Return every panel's deflection, rad."""
        return self.cant + np.where(self.control >= 0, fins[self.control] if len(fins) else 0.0, 0.0)

    def set_loads(self, here, row, u, rate, cg, air, fins, share, wash):
        """Return what the panels `here` of one set do. row : FIN_* at the Mach number. wash : (2, panels), m/s."""
        aero, draw = self.model.aero, self.draw
        slope, x, kw, kb, dw, db, xb, stall, plate, x_back, damps, rolls = row
        ahead = forward_share(u, math.sqrt(u @ u))
        x, xb = ahead * x + (1.0 - ahead) * x_back, ahead * xb + (1.0 - ahead) * x_back
        slope, panel, normal = slope * draw.normal_force, aero.panel[here], self.normal[here]
        angle, y, y_roll = self.angle(fins)[here], panel[:, PanelColumn.Y], panel[:, PanelColumn.Y_ROLL]
        control = self.control[here]
        carries = np.where(control >= 0, share[control] if len(share) else 1.0, 1.0)
        at = self.outward[here] * y[:, None]
        at[:, 0] = -cg[0] - x - draw.cp
        v = u + np.cross(rate, at)
        along = v[:, 0]
        across, spin = (normal * v).sum(axis=1) - rate[0] * y, rate[0] * y_roll
        speed2 = along**2 + (across + spin) ** 2
        speed = np.sqrt(np.where(speed2 > 0.0, speed2, 1.0))
        # the body's upwash multiplies what comes from afar; the vortices' velocity (positive along the normal, the body's image in
        # it) and the panel's own in a roll count once
        incidence, turned, (swept, rolled) = -across / speed, np.sin(angle) * along / speed, wash / speed
        stirred = swept - spin / speed
        e = np.clip(kw * incidence + stirred + dw * turned, -1.0, 1.0)
        w = np.clip((np.abs(e) - stall) / STALL_WIDTH, 0.0, 1.0)
        w = 3.0 * w**2 - 2.0 * w**3
        separated = plate * panel[:, PanelColumn.AREA] / aero.area * draw.normal_force * e / (0.56 + 0.44 * np.abs(e))
        q_area = 0.5 * air[AirColumn.DENSITY] * speed2 * aero.area * carries
        load = q_area * ((1.0 - w) * slope * e * np.sqrt(1.0 - e**2) + w * separated)
        own = load[:, None] * normal
        own[:, 0] = -load * np.sin(angle)
        carried = q_area * (1.0 - w) * slope * (kb * (incidence + stirred / kw) + db * turned) * np.abs(along) / speed
        # flow felt at the attached centre of pressure; the load goes to the area's centroid with stall
        acts = x + draw.cp + w * (panel[:, PanelColumn.X_PLATE] - x - draw.cp)
        at[:, 0] = -cg[0] - acts
        on_body = np.zeros_like(at)
        on_body[:, 0] = -cg[0] - xb - draw.cp
        on_body_force = carried[:, None] * normal
        moment = (np.cross(at, own) + np.cross(on_body, on_body_force)).sum(axis=0)
        # in the rolling moment, vortices, roll rate and deflection count for what the whole set makes of them
        felt, whole = stirred + dw * turned, rolled - damps * spin / speed + rolls * dw * turned
        missing = q_area * (1.0 - w) * slope * np.sqrt(1.0 - e**2) * (whole - felt)
        moment[0] += y @ missing
        hinge = load * (panel[:, PanelColumn.HINGE] - acts)
        return Moved((own + on_body_force).sum(axis=0), moment, load, load + missing.mean(), hinge)

    def wash(self, receiver, u, air, load, fins):
        """Return (2, panels): velocity along a set's normals by the vortices of sets ahead, for force and roll."""
        aero = self.model.aero
        here = np.flatnonzero(self.set == receiver)
        out = np.zeros((2, len(here)))
        for pair, table in zip(aero.wake_pair, aero.wake):
            if int(pair[WakeColumn.RECEIVER]) != receiver or u[0] <= 0.0:
                continue
            first = int(pair[WakeColumn.FIRST])
            shed = np.arange(first, first + int(pair[WakeColumn.COUNT]))
            lateral = pair[WakeColumn.LATERAL]
            # a bound vortex of this span carries the load: rho V Gamma b
            strength = load[shed] / (air[AirColumn.DENSITY] * math.sqrt(u @ u) * (lateral - pair[WakeColumn.BODY]))
            lift = pair[WakeColumn.LEVER] * np.sin(self.angle(fins)[shed])  # of the trailing edge, against the load
            edge = lateral * self.outward[shed] - lift[:, None] * self.normal[shed]
            place = edge - np.array([0.0, u[1], u[2]]) / u[0] * pair[WakeColumn.LENGTH]
            middle = (table.shape[1] - 1) / 2.0
            for k, p in enumerate(here):
                spanwise, normal = place @ self.outward[p], place @ self.normal[p]
                for vortex in range(len(shed)):
                    cells = middle + pair[WakeColumn.PER_METRE] * np.array([spanwise[vortex], normal[vortex]])
                    out[:, k] += [strength[vortex] * look_up_2d(part, *cells) for part in table]
        return out

    def loads(self, t, r, v, turn, w, fins, share, body=None):
        """Return (force, moment about the centre of mass with jet damping, rate against the ground), body axes.

        turn : matrix body -> world; w : rates against inertial space; fins, share : of each fin, angle and share of its
        load.
        """
        mass, cg, inertia, change, flow, thrust, burning = self.body(t) if body is None else body
        air = self.air(r[2])
        u = turn.T @ (v - self.wind(r[2]))
        rate = w - turn.T @ self.earth_rate
        speed = math.sqrt(u @ u)
        mach = speed / air[AirColumn.SOUND]
        force, moment = self.body_loads(u, rate, cg, speed, mach, air)
        more, turning, _ = self.panel_loads(u, rate, cg, mach, air, fins, share)
        force, moment = force + more, moment + turning
        force[0] += self.axial(u, speed, mach, air, burning)
        moment = moment + cross(np.array([0.0, -cg[1], -cg[2]]), force)

        motor = self.model.thrust
        push = max(thrust + burning * (motor.reference_pressure - air[AirColumn.PRESSURE]) * motor.exit_area, 0.0)
        nozzle = self.nozzle - cg
        moment = moment + cross(nozzle, push * self.thrust_line)
        # the gas carries off the angular momentum of the nozzle's motion, the vehicle gives up that of the inertia lost
        moment = moment - change @ w - flow * cross(nozzle, cross(w, nozzle))
        moment[0] -= flow * 0.5 * motor.exit_radius**2 * w[0]
        return force + push * self.thrust_line, moment, rate

    def hinge_moments(self, t, r, v, turn, w, fins, share):
        """Return the moment of the air about each control fin's hinge line, N m."""
        air, cg = self.air(r[2]), self.body(t)[1]
        u, rate = turn.T @ (v - self.wind(r[2])), w - turn.T @ self.earth_rate
        hinge = self.panel_loads(u, rate, cg, math.sqrt(u @ u) / air[AirColumn.SOUND], air, fins, share)[2]
        return np.array([hinge[self.control == i][0] for i in range(len(fins))])
