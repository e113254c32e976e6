"""Forms of making."""
