"""Rules of thumb that studies hold flights against: common practice among builders and ranges, not law and not physics."""

from __future__ import annotations

import math

import numpy as np

WIND_RATIO = 4.0  # rail departure speed over wind speed
RAIL_INCIDENCE = math.radians(15.0)  # as the vehicle leaves the rail
LEAST_MARGIN, MOST_MARGIN = 1.0, 3.0  # static margin, calibres
LEAN = math.radians(20.0)  # of the nose into the wind at burnout: as far from the vertical as a safety code lets a launcher point
DESCENT_RATE = 6.1  # m/s, 20 ft/s, under the last canopy
IGNITION_TILT = math.radians(20.0)  # the range's limit for a launcher; flight computers are set to inhibit between it and 30 deg
SAFETY_CODE_WIND = 8.9408  # m/s, 20 mph: the safety codes of high power rocketry launch nothing in more


def not_stable(margins: np.ndarray) -> str:
    """Return the sentence for a vehicle whose static margin at rail departure is below 0 in the median flight, "" for another.

    margins : (flights,), calibres; NaN of a flight that has none.
    """
    known = margins[np.isfinite(margins)]
    if not known.size or np.median(known) >= 0.0:
        return ""
    text = f"NOT STABLE: the static margin at rail departure is {np.median(known):.1f} calibres, below 0 in {int((known < 0.0).sum())} of {known.size} flights"
    return f"{text}. Unless its controls hold it, it turns over, and all else told here is of a vehicle that tumbles: see `python -m sixdof stability`."
