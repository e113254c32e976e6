"""Pages of the premises, a file per noun."""
