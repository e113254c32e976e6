"""Masses as they would be typed, to begin a field with."""

from __future__ import annotations

from producer.middleware import decimal_mark
from producer.quantities import GROUP_SPACE, format_number, grams

THREE_DECIMALS = -3


def typed(mg: int) -> str:
    """Return a mass in grams as it would be typed, in a way that reads only once."""
    value = grams(mg).normalize()
    text = format_number(value, mark=decimal_mark()).replace(GROUP_SPACE, "")
    # Three decimals could be thousands; a fourth cannot.
    return f"{text}0" if value.as_tuple().exponent == THREE_DECIMALS else text
