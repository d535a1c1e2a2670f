"""The vehicle as it was built: weighed, swung, measured."""
