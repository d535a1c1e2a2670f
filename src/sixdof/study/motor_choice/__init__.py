"""Which motor of a folder a mission should fly."""
