"""Loads along the body, on guides, at deployments: mass and air spread along what flies together, and what carries them."""
