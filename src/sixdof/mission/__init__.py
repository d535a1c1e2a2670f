"""The mission: what the user wrote, checked and explained."""
