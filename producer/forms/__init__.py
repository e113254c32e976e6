"""What people type, turned into whole milligrams, decimals and records."""
