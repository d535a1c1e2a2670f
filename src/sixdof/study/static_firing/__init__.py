"""A static firing's raw log to a thrust curve."""
