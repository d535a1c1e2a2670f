"""Flight logs and telemetry: read by a column map, aligned to liftoff, with what was found wrong."""
