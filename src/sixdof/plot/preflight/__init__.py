"""Figures of what is asked before a flight."""
