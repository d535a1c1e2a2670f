"""Recovery: canopies, charges, harnesses, and when each trigger may fire."""
