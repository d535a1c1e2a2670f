"""What a ground video tells."""
