"""Figures of what is done after a flight."""
