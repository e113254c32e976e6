"""The demo scenario: an invented smallholding and half a year of its records."""
