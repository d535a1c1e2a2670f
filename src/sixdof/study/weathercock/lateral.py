"""The turn into the wind as a linear problem: a vehicle that leaves its rail into a steady cross wind and gathers speed.

In the vertical plane of the wind let `theta` be the angle of the axis from the vertical and u the speed over the ground across it, both positive
towards where the wind w comes from, V = V0 + a t the speed along it. The air meets the vehicle at an incidence alpha = theta - (u + w)/V, and
for small angles

    I theta'' = -(rho V^2/2) S C_Na x_m alpha - (c V + j) I theta' + M        x_m: static margin, m
    m u'      = m (a + g) theta + (rho V^2/2) S C_Na alpha

With no damping (c = j = 0), no lift across the path, no gravity and no moment of its own (M = 0) the second line is (V sigma)' = a theta, sigma =
(u + w)/V the angle of the airspeed, and alpha V = eta obeys, over the distance s flown, eta'' + k^2 eta = 0 with k^2 = rho S C_Na x_m/(2 I): the
vehicle swings once every 2 pi/k metres whatever its speed. So alpha V = -w cos(k s), theta' = w k sin(k s), and theta is a Fresnel integral. The
theory of rockets that gather speed while they swing is that of the 1940s: J. B. Rosser, R. R. Newton, G. L. Gross, Mathematical Theory of Rocket
Flight, 1947; L. Davis, J. W. Follin, L. Blitzer, Exterior Ballistics of Rockets, 1958. The forms here are derived anew, as above; the
auxiliary functions of the Fresnel integrals are those of M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, 7.3.5 and 7.3.6.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.special import fresnel

from sixdof.study.probes.columns import G0


class Lateral(NamedTuple):
    """A vehicle as it leaves the rail, frozen there. SI and radians.

    speed : over the ground, m/s. acceleration : along the path, the mean up to burnout, m/s^2. wavenumber : k of the swing, rad/m. lift :
    rho S C_Na/(2 m), 1/m. damping : c, of the air, 1/m. jet : j, of the jet less what the shrinking inertia gives back, 1/s. burn : from rail
    departure to burnout, s. margin : calibres. thrust_to_weight : mean of the burn over the weight at departure. lean : of the rail, rad.
    """

    speed: float
    acceleration: float
    wavenumber: float
    lift: float
    damping: float
    jet: float
    burn: float
    margin: float
    thrust_to_weight: float
    lean: float


def triangle(wind, speed):
    """Return the angle (rad) between a vehicle's path and the air that meets it: a wind across the path (m/s) at a speed (m/s): atan(wind/speed).

    An infinitely stable, slow vehicle turns by just that angle; one that gathers speed turns less (see `final_turn`).
    """
    return np.arctan2(wind, speed)


def wavenumber(density, area, slope, margin, inertia):
    """Return k (rad/m) of the swing: k^2 = rho S C_Na x_m/(2 I). density kg/m^3; area m^2; slope 1/rad; margin x_m, m; inertia kg m^2; 0 if unstable."""
    return np.sqrt(np.maximum(0.5 * density * area * slope * margin / inertia, 0.0))


def closed_turn(model: Lateral, wind, time):
    """Return the turn into the wind (rad) after `time` (s) from rail departure, by the closed form: no damping, no lift across, no gravity.

    wind : across the path at departure, steady, m/s. theta = w sqrt(pi k/a) {cos(pi x0^2/2) [S(x) - S(x0)] - sin(pi x0^2/2) [C(x) - C(x0)]}
    with x = V sqrt(k/(pi a)), S and C the Fresnel integrals. A vehicle that does not gather speed: theta = (w/V0) (1 - cos k V0 t).
    """
    k, a, speed = model.wavenumber, model.acceleration, model.speed
    if not k > 0.0:
        return 0.0 * np.asarray(time, dtype=float)
    if abs(a) * np.max(time) < 1e-6 * speed:
        return wind / speed * (1.0 - np.cos(k * speed * np.asarray(time, dtype=float)))
    scale = math.sqrt(k / (math.pi * a))
    first, now = speed * scale, (speed + a * np.asarray(time, dtype=float)) * scale
    (s0, c0), (s1, c1) = fresnel(first), fresnel(now)
    phase = 0.5 * math.pi * first**2
    return wind * math.sqrt(math.pi * k / a) * (math.cos(phase) * (s1 - s0) - math.sin(phase) * (c1 - c0))


def final_turn(wind, speed, acceleration, k):
    """Return what the closed form turns to in the end (rad): w sqrt(pi k/a) f(V0 sqrt(k/(pi a))), f the auxiliary function of the Fresnel integrals.

    For a long swing gone through slowly (V0^2 k >> a) that is the wind triangle w/V0; faster ones turn less, and less stable ones too. Arrays
    broadcast. wind, speed m/s; acceleration m/s^2, above 0; k rad/m.
    """
    x = speed * np.sqrt(k / (math.pi * acceleration))
    s, c = fresnel(x)
    phase = 0.5 * math.pi * np.square(x)
    return wind * np.sqrt(math.pi * k / acceleration) * ((0.5 - s) * np.cos(phase) - (0.5 - c) * np.sin(phase))


def linear_turn(model: Lateral, wind: float | Callable[[float], float], time, *, lean: float = 0.0, moment: float = 0.0, gravity: float = G0):
    """Return lean and path lean (2, n), rad, at `time` (n,) s after rail departure, by the linear equations with damping, lift and gravity.

    wind : across the path, m/s, or a function of the distance flown (m). lean : of the rail, rad, positive into the wind. moment : M/I, of a
    thrust line off the centre of mass, rad/s^2. Coefficients stay as they are at departure. After burnout the equations do not hold.
    """
    k2, a = model.wavenumber**2, model.acceleration

    def rates(t, state):
        theta, turn, across = state
        speed = model.speed + a * t
        here = wind(speed * t - 0.5 * a * t * t) if callable(wind) else wind
        alpha = theta - (across + here) / speed
        pull = (a + gravity) * theta + model.lift * speed * speed * alpha
        return turn, -k2 * speed * speed * alpha - (model.damping * speed + model.jet) * turn + moment, pull

    time = np.atleast_1d(np.asarray(time, dtype=float))
    start = [lean, 0.0, model.speed * lean]
    found = solve_ivp(rates, (0.0, max(float(time.max()), 1e-9)), start, t_eval=time, rtol=1e-8, atol=1e-10)
    return np.array([found.y[0], found.y[2] / (model.speed + a * time)])


def speed_needed(wind: float, turn: float, acceleration: float, k: float, *, damped: float = 1.0) -> float:
    """Return the rail departure speed (m/s) at which the closed form turns by no more than `turn` (rad); 0 where any speed does, inf where none up to
    1000 m/s does. damped : what the closed form's turn is multiplied by, for damping and lift as the linear equations have them."""
    if damped * float(final_turn(wind, 1e-6, acceleration, k)) <= turn:
        return 0.0
    low, high = 1e-6, 1000.0
    if damped * float(final_turn(wind, high, acceleration, k)) > turn:
        return math.inf
    while high - low > 1e-6 * high:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if damped * float(final_turn(wind, middle, acceleration, k)) > turn else (low, middle)
    return high
