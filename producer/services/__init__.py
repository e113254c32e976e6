"""What can be done to the records of the premises."""
