"""Numbers that hold everywhere."""

from __future__ import annotations

G0 = 9.80665  # standard gravity, m/s^2 (3rd CGPM, 1901)
INSTANT = 1e-9  # s: two moments closer than this are one
