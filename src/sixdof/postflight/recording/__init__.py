"""Packets recorded as they come, and played back."""
