"""Commands of judging."""
