"""How much wind a mission stands."""
