"""Whether and how far a vehicle turns into the wind, why, and what cures it."""
