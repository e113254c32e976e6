"""What we make: batches, their weighings and readings, bottles, and the trace."""
