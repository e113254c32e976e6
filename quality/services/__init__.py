"""What can be decided."""
