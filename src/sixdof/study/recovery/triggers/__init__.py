"""When each trigger may fire: branches, flights, windows, words."""
