"""Lists of what is made."""
