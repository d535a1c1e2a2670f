"""Ejections: charges, the pins they shear, the harness that stops the pieces."""
