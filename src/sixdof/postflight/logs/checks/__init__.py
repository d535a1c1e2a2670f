"""What is looked for in a log: its packets and clocks, readings that are none, units that physics contradicts."""
