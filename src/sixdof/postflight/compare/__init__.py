"""A log against the flights: does the model hold, and how far."""
