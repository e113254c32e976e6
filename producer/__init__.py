"""What we have: people, materials, raw lots, stock, instruments and the journal."""
