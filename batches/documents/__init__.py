"""Prints of what is made."""
