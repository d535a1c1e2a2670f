"""What happened: hypotheses weighed by evidence."""
