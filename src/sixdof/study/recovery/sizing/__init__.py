"""How large canopies must be, and may be."""
