"""Lists, as tables."""
