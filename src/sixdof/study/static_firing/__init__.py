"""Static firings: from a raw log to a thrust curve."""
