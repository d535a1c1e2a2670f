"""Rules of thumb that studies hold flights against: common practice among builders and ranges, not law and not physics."""

from __future__ import annotations

import math

WIND_RATIO = 4.0  # rail departure speed over wind speed
RAIL_INCIDENCE = math.radians(15.0)  # as the vehicle leaves the rail
LEAST_MARGIN, MOST_MARGIN = 1.0, 3.0  # static margin, calibres
LEAN = math.radians(20.0)  # of the nose into the wind at burnout: as far from the vertical as a safety code lets a launcher point
DESCENT_RATE = 6.1  # m/s, 20 ft/s, under the last canopy
IGNITION_TILT = math.radians(20.0)  # the range's limit for a launcher; flight computers are set to inhibit between it and 30 deg
SAFETY_CODE_WIND = 8.9408  # m/s, 20 mph: the safety codes of high power rocketry launch nothing in more
