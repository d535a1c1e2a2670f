"""Where the pieces come down: contours, fields, shares, maps."""
