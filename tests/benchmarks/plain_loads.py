"""Forces, moments, mass and servos of a vehicle of one stage in plain Python floats, for `plain_ascent.py`."""

from __future__ import annotations

from bisect import bisect_right
from math import cos, inf, sin, sqrt
from typing import NamedTuple

import numpy as np

from sixdof.core.columns import BodyColumn, GrainColumn


class PlainLoad(NamedTuple):
    """What acts at one moment, and what the equations of motion take beside it; matrix: body -> world, nine numbers row by row."""

    mass: float
    cg: tuple
    inertia: tuple
    inverse: tuple
    matrix: tuple
    force: tuple
    moment: tuple
    rate: tuple
    gravity: float
    density: float
    hinge: list


class PlainVehicle:
    """The tables of a model and one draw of it, as lists."""

    def __init__(self, model, draw):
        if len(model.aero.wake_pair) or model.world.globe.round or model.world.turbulence.on > 0 or len(model.world.gusts):
            raise SystemExit("the ascent in plain Python knows no vortices between fin sets, no round Earth and no gusts: this mission wants more")
        self.model, self.draw, self.aero = model, draw, model.aero
        self._gather_grains()
        self.air, self.wind = model.world.air.tolist(), model.world.wind[int(draw.member)].tolist()
        for name in ("body", "fin", "friction", "cross", "axial_shape", "panel"):
            setattr(self, name + "_table", getattr(model.aero, name).tolist())
        self.time = (model.thrust.time * draw.burn_time).tolist()
        self.curve = (model.thrust.force * draw.impulse / draw.burn_time).tolist()
        self.burnt, self.total = model.thrust.impulse.tolist(), model.thrust.total_impulse * draw.impulse
        self.earth = np.array(model.world.earth_rate)
        ty, tz = draw.tilt_y, draw.tilt_z
        self.thrust_line = cos(ty) * cos(tz), sin(tz), -sin(ty) * cos(tz)
        servo = model.servo
        self.servo = servo._replace(frequency=servo.frequency * draw.servo_speed, rate_limit=servo.rate_limit * draw.servo_rate)
        self.hinge = [0.0] * len(model.computer.mixer)

    def _gather_grains(self):
        """Sum up what burns: with f of it left, inertia about the dry centre of mass is a + f b + f^2 d, tensors as xx, yy, zz, xy, xz, yz."""
        mass, draw = self.model.mass, self.draw
        k = draw.mass * draw.inertia
        self.dry, self.dry_cg = mass.dry * draw.mass, (mass.cg_x + draw.cg_x, mass.cg_y + draw.cg_y, mass.cg_z + draw.cg_z)
        m, x, y, z, roll_a, roll_b, pitch_a, pitch_b = (mass.grain[:, column] for column in GrainColumn)
        x, y, z = self.dry_cg[0] - x, y - self.dry_cg[1], z - self.dry_cg[2]
        self.propellant, self.first = float(m.sum()), tuple(float((m * way).sum()) for way in (x, y, z))
        squares = roll_a + m * (y * y + z * z), pitch_a + m * (x * x + z * z), pitch_a + m * (x * x + y * y), -m * x * y, -m * x * z, -m * y * z
        inertia = mass.ixx, mass.iyy, mass.izz, mass.ixy, mass.ixz, mass.iyz
        square = (float(roll_b.sum()), *[float(pitch_b.sum())] * 2, 0.0, 0.0, 0.0)
        mx, my, mz = self.first
        spread = my * my + mz * mz, mx * mx + mz * mz, mx * mx + my * my, -mx * my, -mx * mz, -my * mz
        self.terms = list(zip([k * each for each in inertia], [float(each.sum()) for each in squares], square, spread))

    @staticmethod
    def matrix(w, x, y, z):
        """Return the matrix (3, 3) body -> world of a quaternion."""
        return np.array(_matrix(w, x, y, z)).reshape(3, 3)

    def body(self, t):
        """Return (mass, centre of mass, inertia, its inverse, its rate, thrust, mass flow, 1.0 while the motor burns) at t."""
        i = bisect_right(self.time, t) - 1
        force = f = f_rate = burning = 0.0
        if i < len(self.time) - 1:
            x, burning = t - self.time[i], 1.0
            slope = (self.curve[i + 1] - self.curve[i]) / (self.time[i + 1] - self.time[i])
            force = self.curve[i] + slope * x
            f = 1.0 - self.burnt[i] - (self.curve[i] + 0.5 * slope * x) * x / self.total
            f_rate = -force / self.total
        mass, (x0, y0, z0), (mx, my, mz) = self.dry + f * self.propellant, self.dry_cg, self.first
        k = f / mass
        c, c_f = f * k, k * (2.0 - k * self.propellant)
        xx, yy, zz, xy, xz, yz = [a + f * (b + f * d) - c * s for a, b, d, s in self.terms]
        shrink = [f_rate * (b + 2.0 * f * d - c_f * s) for _, b, d, s in self.terms]
        cxx, cxy, cxz = yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy
        d = 1.0 / (xx * cxx + xy * cxy + xz * cxz)
        ixy, ixz, iyz = cxy * d, cxz * d, (xy * xz - xx * yz) * d
        inverse = (cxx * d, ixy, ixz), (ixy, (xx * zz - xz * xz) * d, iyz), (ixz, iyz, (xx * yy - xy * xy) * d)
        cg = x0 - k * mx, y0 + k * my, z0 + k * mz
        return mass, cg, (xx, yy, zz, xy, xz, yz), inverse, shrink, force, -f_rate * self.propellant, burning

    def _around(self, height):
        """Return (density, pressure, sound, viscosity, gravity, wind east, wind north) at a height."""
        world, draw = self.model.world, self.draw
        i, f = _cell((height - world.air_z0) * world.air_per_metre, len(self.air))
        air = [a + f * (b - a) for a, b in zip(self.air[i], self.air[i + 1])]
        i, f = _cell(sqrt(max(height, 0.0)) * world.wind_per_root, len(self.wind))
        east, north = (draw.wind_scale * (a + f * (b - a)) for a, b in zip(self.wind[i], self.wind[i + 1]))
        return *air, draw.wind_cos * east + draw.wind_sin * north, draw.wind_cos * north - draw.wind_sin * east

    def loads(self, t, y, fins) -> PlainLoad:
        """Return what acts in state y with the fins at these angles."""
        mass, cg, inertia, inverse, shrink, thrust, flow, burning = self.body(t)
        density, ambient, sound, viscosity, gravity, east, north = self._around(y[2])
        m = _matrix(*y[6:10])
        vx, vy, vz = y[3] - east, y[4] - north, y[5]
        u = tuple(m[c] * vx + m[c + 3] * vy + m[c + 6] * vz for c in range(3))
        ex, ey, ez = self.model.world.earth_rate
        p, q, r = (y[10 + c] - (m[c] * ex + m[c + 3] * ey + m[c + 6] * ez) for c in range(3))
        fx, fy, fz, mx, my, mz, hinge = self._air_loads(u, (p, q, r), cg, density, sound, viscosity, burning, fins)

        motor, draw, (lx, ly, lz) = self.model.thrust, self.draw, self.thrust_line
        push = max(thrust + burning * (motor.reference_pressure - ambient) * motor.exit_area, 0.0)
        nx, ny, nz = cg[0] - motor.exit_x, draw.offset_y - cg[1], draw.offset_z - cg[2]
        tx, ty, tz = push * lx, push * ly, push * lz
        wx, wy, wz = y[10:13]
        cx, cy, cz = wy * nz - wz * ny, wz * nx - wx * nz, wx * ny - wy * nx
        swirl = 0.5 * motor.exit_radius**2
        sx, sy, sz, sxy, sxz, syz = shrink
        mx += ny * tz - nz * ty - flow * (ny * cz - nz * cy + swirl * wx) - (sx * wx + sxy * wy + sxz * wz)
        my += nz * tx - nx * tz - flow * (nz * cx - nx * cz) - (sxy * wx + sy * wy + syz * wz)
        mz += nx * ty - ny * tx - flow * (nx * cy - ny * cx) - (sxz * wx + syz * wy + sz * wz)
        return PlainLoad(mass, cg, inertia, inverse, m, (fx + tx, fy + ty, fz + tz), (mx, my, mz), (p, q, r), gravity, density, hinge)

    def _air_loads(self, u, rate, cg, density, sound, viscosity, burning, fins):
        aero, draw, (ux, uy, uz), (p, q, r), x_cg = self.aero, self.draw, u, rate, cg[0]
        cross2 = uy * uy + uz * uz
        speed, cross_speed, half = sqrt(ux * ux + cross2 + 1e-12), sqrt(cross2 + 1e-12), 0.5 * density
        column = speed / sound * aero.per_mach
        mi, mf = _cell(column, len(self.body_table))
        table = [a + mf * (b - a) for a, b in zip(self.body_table[mi], self.body_table[mi + 1])]
        axial = table[BodyColumn.CA_BACK]
        if ux >= 0.0:
            axial = _surface(self.friction_table, column, sqrt(sqrt(speed * density / viscosity)) * aero.per_root)
            axial += table[BodyColumn.CA] + burning * table[BodyColumn.CA_BURN]
            axial *= _surface(self.axial_shape_table, column, cross_speed / speed * (len(self.axial_shape_table[0]) - 1))
        fx = -half * ux * abs(ux) * aero.area * axial * draw.drag

        aligned = min(abs(ux) / (0.17 * speed), 1.0)
        aligned *= aligned * (3.0 - 2.0 * aligned)
        back = 0.5 - 0.5 * aligned if ux >= 0.0 else 0.5 + 0.5 * aligned
        s0, s1, s2 = table[0:3] if ux >= 0.0 else table[BodyColumn.S0_BACK : BodyColumn.S2_BACK + 1]
        s2 += (2.0 * s1 + s0 * draw.cp) * draw.cp
        s1 += s0 * draw.cp
        first, second = s0 * x_cg - s1, s0 * x_cg * x_cg - 2.0 * s1 * x_cg + s2
        k = -half * aero.area * abs(ux) * aligned * sqrt(0.5 * (1.0 + abs(ux) / speed)) * draw.normal_force
        fy, fz = k * (s0 * uy + first * r), k * (s0 * uz - first * q)
        my, mz = -k * (first * uz - second * q), k * (first * uy + second * r)

        cdc = _surface(self.cross_table, cross_speed / sound * aero.per_mach, sqrt(sqrt(cross_speed * density / viscosity)) * aero.per_root)
        centroid = aero.plan1 / aero.plan0
        spread2, arm = aero.plan2 / aero.plan0 - centroid * centroid, x_cg - centroid - draw.cp
        vy, vz = uy + r * arm, uz - q * arm
        k = -half * cdc * draw.normal_force * aero.plan0 * sqrt(vy * vy + vz * vz + (q * q + r * r) * spread2)
        fy += k * vy
        fz += k * vz
        my += k * (spread2 * q - arm * vz)
        mz += k * (spread2 * r + arm * vy)

        mx, current, hinge = 0.0, None, [0.0] * len(fins)
        for row in self.panel_table:
            number, s, c, y, y_roll, cant, control, area, hinge_x, x_plate = row
            if number != current:
                current = number
                a, b = self.fin_table[mi][int(number)], self.fin_table[mi + 1][int(number)]
                slope, x_fin, kw, kb, dw, db, xb, stall, plate, behind, damp, direct = (low + mf * (high - low) for low, high in zip(a, b))
                slope *= draw.normal_force
                x_fin += back * (behind - x_fin) + draw.cp
                xb += back * (behind - xb) + draw.cp
            angle = cant + draw.cant + (fins[int(control)] if control >= 0.0 else 0.0)
            sine, arm = sin(angle), x_cg - x_fin
            along = ux + y * (q * c + r * s)
            across, spin = -c * (uy + r * arm) - s * (uz - q * arm), p * y_roll
            v2 = along * along + (across + spin) ** 2
            inverse = 1.0 / sqrt(v2 + 1e-12)
            incidence, stirred, turned = -across * inverse, -spin * inverse, sine * along * inverse
            e = min(max(kw * incidence + stirred + dw * turned, -1.0), 1.0)
            w = min(max((abs(e) - stall) / 0.15, 0.0), 1.0)
            w = w * w * (3.0 - 2.0 * w)
            q_area = half * aero.area * v2
            attached = q_area * (1.0 - w) * slope
            straight = attached * sqrt(1.0 - e * e)
            load = straight * e + q_area * w * plate * area * draw.normal_force / aero.area * e / (0.56 + 0.44 * abs(e))
            carried = attached * (kb * (incidence + stirred / kw) + db * turned) * abs(along) * inverse
            x = x_fin + w * (x_plate - x_fin)
            if control >= 0.0:
                hinge[int(control)] = load * (hinge_x - x)
            fx_own, lever = -load * sine, (x_cg - x) * load + (x_cg - xb) * carried
            fx += fx_own
            fy -= c * (load + carried)
            fz -= s * (load + carried)
            mx += y * (load + straight * ((1.0 - damp) * spin * inverse - (1.0 - direct) * dw * turned))
            my += s * lever + y * c * fx_own
            mz += y * s * fx_own - c * lever
        return fx, fy, fz, mx + cg[2] * fy - cg[1] * fz, my - cg[2] * fx, mz + cg[1] * fx, hinge

    def acceleration(self, y, load):
        """Return dv/dt of the free body, (3,)."""
        return np.array(self.free_rate(y, load)[3:6])

    def free_rate(self, y, load) -> list:
        """Return dy/dt of free flight, servos left out."""
        vx, vy, vz, qw, qx, qy, qz, wx, wy, wz = y[3:13]
        m, (fx, fy, fz), (p, q, r), k = load.matrix, load.force, load.rate, 1.0 / load.mass
        ex, ey, ez = self.model.world.earth_rate
        ax = (m[0] * fx + m[1] * fy + m[2] * fz) * k - 2.0 * (ey * vz - ez * vy)
        ay = (m[3] * fx + m[4] * fy + m[5] * fz) * k - 2.0 * (ez * vx - ex * vz)
        az = (m[6] * fx + m[7] * fy + m[8] * fz) * k - 2.0 * (ex * vy - ey * vx) - load.gravity
        xx, yy, zz, xy, xz, yz = load.inertia
        hx, hy, hz = xx * wx + xy * wy + xz * wz, xy * wx + yy * wy + yz * wz, xz * wx + yz * wy + zz * wz
        mx, my, mz = load.moment
        mx, my, mz = mx - wy * hz + wz * hy, my - wz * hx + wx * hz, mz - wx * hy + wy * hx
        (ixx, ixy, ixz), (_, iyy, iyz), (_, _, izz) = load.inverse
        turn = ixx * mx + ixy * my + ixz * mz, ixy * mx + iyy * my + iyz * mz, ixz * mx + iyz * my + izz * mz
        spin = -0.5 * (qx * p + qy * q + qz * r), 0.5 * (qw * p + qy * r - qz * q), 0.5 * (qw * q + qz * p - qx * r), 0.5 * (qw * r + qx * q - qy * p)
        return [vx, vy, vz, ax, ay, az, *spin, *turn]

    def servo_rates(self, angles, rates, targets):
        """Return the rates of the motors' angles and of their rates."""
        servo, out = self.servo, ([], [])
        for angle, rate, target, hinge in zip(angles, rates, targets, self.hinge):
            up = down = servo.rate_limit
            if servo.stall_torque < inf:
                up *= min(max(1.0 + hinge / servo.stall_torque, 0.0), 1.0)
                down *= min(max(1.0 - hinge / servo.stall_torque, 0.0), 1.0)
            rate = min(max(rate, -down), up)
            pull = servo.frequency * (servo.frequency * (target - angle) - 2.0 * servo.damping * rate)
            pull = min(max(pull, -servo.acceleration_limit), servo.acceleration_limit)
            stopped = (rate >= up and pull > 0.0) or (rate <= -down and pull < 0.0)
            out[0].append(rate)
            out[1].append(0.0 if stopped else pull)
        return out

    def with_play(self, fins, motors):
        """Return the fins' angles behind motors that have gone to these angles."""
        half, travel = 0.5 * self.servo.backlash, self.servo.travel
        motors = [min(max(motor, -travel), travel) for motor in motors]
        return [min(max(fin, motor - half), motor + half) for fin, motor in zip(fins, motors)]


def times(a, b):
    """Return the product of two quaternions, scalar first."""
    w, x, y, z = a
    return (
        w * b[0] - x * b[1] - y * b[2] - z * b[3],
        w * b[1] + x * b[0] + y * b[3] - z * b[2],
        w * b[2] - x * b[3] + y * b[0] + z * b[1],
        w * b[3] + x * b[2] - y * b[1] + z * b[0],
    )


def tilted(pitch, yaw, roll):
    """Return the quaternion body -> launch frame of tilt angles."""
    about_z, about_y = (cos(0.5 * yaw), 0.0, 0.0, sin(0.5 * yaw)), (cos(0.5 * pitch), 0.0, -sin(0.5 * pitch), 0.0)
    return times(times(about_z, about_y), (cos(0.5 * roll), sin(0.5 * roll), 0.0, 0.0))


def _matrix(w, x, y, z):
    return (
        1.0 - 2.0 * (y * y + z * z),
        2.0 * (x * y - w * z),
        2.0 * (x * z + w * y),
        2.0 * (x * y + w * z),
        1.0 - 2.0 * (x * x + z * z),
        2.0 * (y * z - w * x),
        2.0 * (x * z - w * y),
        2.0 * (y * z + w * x),
        1.0 - 2.0 * (x * x + y * y),
    )


def _cell(x, rows):
    """Return row and fraction of a position in a table, held beyond its ends."""
    x = min(max(x, 0.0), rows - 1.0)
    i = min(int(x), rows - 2)
    return i, x - i


def _surface(table, x, y):
    i, f = _cell(x, len(table))
    j, g = _cell(y, len(table[0]))
    low, high = table[i], table[i + 1]
    a = low[j] + g * (low[j + 1] - low[j])
    return a + f * (high[j] + g * (high[j + 1] - high[j]) - a)
