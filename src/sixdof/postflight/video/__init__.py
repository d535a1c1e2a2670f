"""A video read frame by frame: what it can tell of a flight and what it cannot."""
