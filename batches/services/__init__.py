"""What can be done in making."""
