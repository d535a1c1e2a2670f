"""The page for the launch day."""
