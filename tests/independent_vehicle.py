"""Forces, moments and mass properties of the flying vehicle, stated a second time in plain numpy, to check the kernels.

Nothing of sixdof.core runs here: only its column numbers and the model's tables are shared. Where a second route exists
it is taken: distributed loads act at points and are summed as P x F, inertia goes through matrices, its time derivative
through a complex step, the burnt fraction through the thrust curve itself.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof.core import types as ct

GAS_CONSTANT = 287.05307  # J/(kg K), US Standard Atmosphere 1976
HEAT_RATIO = 1.4
VISCOSITY_EXPONENT = 0.76
STALL_WIDTH = 0.15  # the model's own: range of sine from attached to separated flow
STATIONS = np.array([0.0, 1.0, 2.0])  # where the body's distributed slope is gathered; any three give the same loads
COMPLEX_STEP = 1e-30


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


def point_inertia(mass, d):
    """Return the inertia tensor of a point mass at d."""
    return mass * (d @ d * np.eye(3) - np.outer(d, d))


def warmed_air(world, offset, factor):
    """Return the air table with every temperature raised and the pressure integrated anew from the ground.

    ln p of the table itself gives g/(R T) of each layer; T goes linearly inside it.
    """
    air = world.air.copy()
    cold = air[:, ct.AIR_SOUND] ** 2 / (HEAT_RATIO * GAS_CONSTANT)
    slope = np.diff(cold)
    # int dz/T over a layer with T linear: (z2 - z1) ln(T2/T1)/(T2 - T1)
    with np.errstate(divide="ignore", invalid="ignore"):
        before = np.where(np.abs(slope) < 1e-12, 1.0 / cold[:-1], np.log(cold[1:] / cold[:-1]) / slope)
        after = np.where(
            np.abs(slope) < 1e-12,
            1.0 / (cold[:-1] + offset),
            np.log((cold[1:] + offset) / (cold[:-1] + offset)) / slope,
        )
    fall = np.diff(np.log(air[:, ct.AIR_PRESSURE])) * after / before
    log_p = np.concatenate([[0.0], np.cumsum(fall)])
    ground = int(round(-world.air_z0 * world.air_per_metre))
    pressure = air[ground, ct.AIR_PRESSURE] * factor * np.exp(log_p - log_p[ground])
    warm = (cold + offset) / cold
    air[:, ct.AIR_DENSITY] *= pressure / air[:, ct.AIR_PRESSURE] / warm
    air[:, ct.AIR_PRESSURE] = pressure
    air[:, ct.AIR_SOUND] *= np.sqrt(warm)
    air[:, ct.AIR_VISCOSITY] *= warm**VISCOSITY_EXPONENT
    return air


class Vehicle:
    """The vehicle of one flight: model and draw, with what acts on it."""

    def __init__(self, model, draw):
        self.model, self.draw = model, draw
        world, aero, thrust = model.world, model.aero, model.thrust
        differs = draw.temperature != 0.0 or draw.pressure != 1.0
        self.air_table = warmed_air(world, draw.temperature, draw.pressure) if differs else world.air
        turn = np.array([[draw.wind_cos, draw.wind_sin], [-draw.wind_sin, draw.wind_cos]])
        self.wind_table = draw.wind_scale * world.wind @ turn.T
        self.earth_rate = np.array(world.earth_rate)

        # motor: time stretched, impulse scaled; the running impulse by the trapezium rule, exact for straight lines
        self.time = thrust.time * draw.burn_time
        self.force = thrust.force * draw.impulse / draw.burn_time
        self.used = np.concatenate([[0.0], np.cumsum(0.5 * (self.force[1:] + self.force[:-1]) * np.diff(self.time))])
        turned_z = np.array([math.cos(draw.tilt_z), math.sin(draw.tilt_z), 0.0])
        about_y = np.array(
            [
                [math.cos(draw.tilt_y), 0, math.sin(draw.tilt_y)],
                [0, 1, 0],
                [-math.sin(draw.tilt_y), 0, math.cos(draw.tilt_y)],
            ]
        )
        self.thrust_line = about_y @ turned_z
        self.nozzle = np.array([-thrust.exit_x, draw.offset_y, draw.offset_z])  # body axes from the nose tip

        # masses: the dry vehicle and each grain, positions in body axes from the nose tip
        m = model.mass
        self.dry = m.dry * draw.mass
        self.dry_at = np.array([-(m.cg_x + draw.cg_x), m.cg_y + draw.cg_y, m.cg_z + draw.cg_z])
        tensor = np.array([[m.ixx, m.ixy, m.ixz], [m.ixy, m.iyy, m.iyz], [m.ixz, m.iyz, m.izz]])
        self.dry_inertia = tensor * draw.mass * draw.inertia
        self.grains = [
            (g[ct.GRAIN_MASS], np.array([-g[ct.GRAIN_X], g[ct.GRAIN_Y], g[ct.GRAIN_Z]]),
             np.array([g[ct.GRAIN_ROLL_A], g[ct.GRAIN_PITCH_A], g[ct.GRAIN_PITCH_A]]),
             np.array([g[ct.GRAIN_ROLL_B], g[ct.GRAIN_PITCH_B], g[ct.GRAIN_PITCH_B]]))
            for g in m.grain
        ]  # fmt: skip
        self.propellant = sum(g[0] for g in self.grains)
        self.burnt_out = self.mass_of(0.0)

        # panels
        p = aero.panel
        self.set = p[:, ct.PANEL_SET].astype(int)
        s, c, zero = p[:, ct.PANEL_SIN], p[:, ct.PANEL_COS], np.zeros(len(p))
        self.normal = np.column_stack([zero, -c, -s])
        self.outward = np.column_stack([zero, -s, c])
        self.control = p[:, ct.PANEL_CONTROL].astype(int)
        self.cant = p[:, ct.PANEL_CANT] + draw.cant
        self.gather = np.linalg.inv(
            np.vander(STATIONS, 3, increasing=True).T
        )  # slopes at STATIONS from the moments S0, S1, S2

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
            root = (speed * air[ct.AIR_DENSITY] / air[ct.AIR_VISCOSITY]) ** 0.25
            friction = look_up(look_up(aero.friction, mach * aero.per_mach), root * aero.per_root)
            coefficient = friction + row[ct.BODY_CA] + burning * row[ct.BODY_CA_BURN]
        else:
            coefficient = row[ct.BODY_CA_BACK]
        return -math.copysign(0.5 * air[ct.AIR_DENSITY] * u[0] ** 2 * aero.area * coefficient, u[0]) * self.draw.drag

    def body_loads(self, u, rate, cg, speed, mach, air):
        """Return (force, moment about the axis point at the centre of mass) of the body's cross-flow."""
        aero, shift = self.model.aero, self.draw.cp
        half = 0.5 * air[ct.AIR_DENSITY] * self.draw.normal_force
        row = look_up(aero.body, mach * aero.per_mach)
        slopes = self.gather @ row[[ct.BODY_S0, ct.BODY_S1, ct.BODY_S2]]
        half_angle = math.sqrt(0.5 * (1.0 + abs(u[0]) / speed)) if speed > 0.0 else 1.0
        x = -cg[0] - STATIONS - shift  # forward of the centre of mass
        side, down = u[1] + rate[2] * x, u[2] - rate[1] * x
        k = -half * aero.area * abs(u[0]) * half_angle * slopes
        fy, fz = k * side, k * down

        # viscous: half the planform at the centroid +- its radius of gyration, both at their root-mean-square speed
        cross_mach = math.hypot(u[1], u[2]) / air[ct.AIR_SOUND]
        cdc = look_up(aero.body, cross_mach * aero.per_mach)[ct.BODY_CDC]
        centroid = aero.plan1 / aero.plan0
        gyration = math.sqrt(max(aero.plan2 / aero.plan0 - centroid**2, 0.0))
        xv = -cg[0] - centroid - shift + np.array([-gyration, gyration])
        side, down = u[1] + rate[2] * xv, u[2] - rate[1] * xv
        k = -half * cdc * 0.5 * aero.plan0 * math.sqrt(0.5 * (side @ side + down @ down))
        x, fy, fz = np.concatenate([x, xv]), np.concatenate([fy, k * side]), np.concatenate([fz, k * down])
        return np.array([0.0, fy.sum(), fz.sum()]), np.array([0.0, -(x @ fz), x @ fy])

    def panel_loads(self, u, rate, cg, mach, air, fins):
        """Return (force, moment about the axis point at the centre of mass) of all fin panels."""
        aero, draw = self.model.aero, self.draw
        if len(aero.panel) == 0:
            return np.zeros(3), np.zeros(3)
        sets = look_up(aero.fin, mach * aero.per_mach)[self.set].T
        slope, x, kw, kb, dw, db, xb, stall = sets
        slope = slope * draw.normal_force
        angle = self.cant + np.where(self.control >= 0, fins[self.control] if len(fins) else 0.0, 0.0)
        y, y_roll = aero.panel[:, ct.PANEL_Y], aero.panel[:, ct.PANEL_Y_ROLL]
        at = self.outward * y[:, None]
        at[:, 0] = -cg[0] - x - draw.cp
        v = u + np.cross(rate, at)
        along = v[:, 0]
        across = (self.normal * v).sum(axis=1) + rate[0] * (y_roll - y)
        speed2 = along**2 + across**2
        speed = np.sqrt(np.where(speed2 > 0.0, speed2, 1.0))
        incidence, turned = -across / speed, np.sin(angle) * along / speed
        e = np.clip(kw * incidence + dw * turned, -1.0, 1.0)
        w = np.clip((np.abs(e) - stall) / STALL_WIDTH, 0.0, 1.0)
        w = 3.0 * w**2 - 2.0 * w**3
        plate = aero.panel[:, ct.PANEL_PLATE] * aero.panel[:, ct.PANEL_AREA] / aero.area * draw.normal_force
        coefficient = (1.0 - w) * slope * e * np.sqrt(1.0 - e**2) + w * plate * e / (0.56 + 0.44 * np.abs(e))
        q_area = 0.5 * air[ct.AIR_DENSITY] * speed2 * aero.area
        own = (q_area * coefficient)[:, None] * self.normal
        own[:, 0] = -q_area * coefficient * np.sin(angle)
        carried = (q_area * (1.0 - w) * slope * (kb * incidence + db * turned) * np.abs(along) / speed)[
            :, None
        ] * self.normal
        on_body = np.zeros_like(at)
        on_body[:, 0] = -cg[0] - xb - draw.cp
        return (own + carried).sum(axis=0), (np.cross(at, own) + np.cross(on_body, carried)).sum(axis=0)

    def loads(self, t, r, v, turn, w, fins, body=None):
        """Return (force, moment about the centre of mass with jet damping, rate against the ground), body axes.

        turn : matrix body -> world; w : rates against inertial space.
        """
        mass, cg, inertia, change, flow, thrust, burning = self.body(t) if body is None else body
        air = self.air(r[2])
        u = turn.T @ (v - self.wind(r[2]))
        rate = w - turn.T @ self.earth_rate
        speed = math.sqrt(u @ u)
        mach = speed / air[ct.AIR_SOUND]
        force, moment = self.body_loads(u, rate, cg, speed, mach, air)
        more, turning = self.panel_loads(u, rate, cg, mach, air, fins)
        force, moment = force + more, moment + turning
        force[0] += self.axial(u, speed, mach, air, burning)
        moment = moment + cross(np.array([0.0, -cg[1], -cg[2]]), force)

        motor = self.model.thrust
        push = max(thrust + burning * (motor.reference_pressure - air[ct.AIR_PRESSURE]) * motor.exit_area, 0.0)
        nozzle = self.nozzle - cg
        moment = moment + cross(nozzle, push * self.thrust_line)
        # the gas carries off the angular momentum of the nozzle's motion, the vehicle gives up that of the inertia lost
        moment = moment - change @ w - flow * cross(nozzle, cross(w, nozzle))
        moment[0] -= flow * 0.5 * motor.exit_radius**2 * w[0]
        return force + push * self.thrust_line, moment, rate
