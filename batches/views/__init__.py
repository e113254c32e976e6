"""Pages of making, a file per noun."""
