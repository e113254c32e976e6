"""Forms of deciding."""
