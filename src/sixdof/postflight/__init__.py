"""After the flight: what happened, where to search, does the model still hold."""
