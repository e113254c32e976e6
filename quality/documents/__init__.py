"""Prints of what was decided."""
