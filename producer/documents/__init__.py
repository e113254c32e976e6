"""What the premises prints and gives out."""
