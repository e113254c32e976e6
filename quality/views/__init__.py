"""Pages of deciding, a file per noun."""
