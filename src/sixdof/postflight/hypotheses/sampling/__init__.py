"""Draws near the evidence: adaptive importance sampling in score space, which knows nothing of rockets."""
