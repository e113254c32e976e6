"""Lists of what was decided."""
