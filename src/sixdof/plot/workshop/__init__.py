"""Figures of the vehicle in the workshop."""
