"""GS1 keys: the digits of a number, and whether they belong to a company prefix.

The check digit is that of the GS1 General Specifications, section 7.9 (from memory):
from the right, digits count three times and once in turn, up to the next ten. Tests
hold it against the encoder of ``zxing-cpp`` and a published example.
"""

from __future__ import annotations

from typing import Final

ITEM, LOCATION = 14, 13  # digits of a GTIN as it is kept, and of a GLN
ITEM_LENGTHS: Final = (12, 13, 14)
SHORTEST_PREFIX, LONGEST_PREFIX = 4, 12


class NotAKey(ValueError):
    """What was typed is no such number; says why and what to do."""


def check_digit(digits: str) -> str:
    """Return the last digit that belongs behind ``digits``.

    >>> check_digit("401234511111")
    '8'
    """
    weighed = (
        int(digit) * (1 if place % 2 else 3)
        for place, digit in enumerate(reversed(digits))
    )
    return str(-sum(weighed) % 10)


def prefix_of(typed: str) -> str:
    """Return the digits of a company prefix; raise :class:`NotAKey` for another.

    >>> prefix_of("401 2345")
    '4012345'
    >>> prefix_of("")
    ''
    """
    digits = _digits(typed)
    if digits and not SHORTEST_PREFIX <= len(digits) <= LONGEST_PREFIX:
        raise NotAKey(
            f"A company prefix has {SHORTEST_PREFIX} to {LONGEST_PREFIX} digits. Copy"
            " it from the letter of your GS1 organisation."
        )
    return digits


def item_number(typed: str, prefix: str) -> str:
    """Return a GTIN as 14 digits; raise :class:`NotAKey` if it is none of ``prefix``.

    Shorter ones get noughts in front. The first of the 14 tells the packing, nought for
    what is sold by itself; the prefix begins behind it. A GTIN of 8 digits holds no
    prefix and is not taken.

    >>> item_number("4012345 11111 8", "4012345")
    '04012345111118'
    """
    digits = _digits(typed)
    if len(digits) not in ITEM_LENGTHS:
        raise NotAKey("A GTIN has 12, 13 or 14 digits. Count them.")
    if len(digits) == ITEM and digits[0] != "0":
        raise NotAKey("That is the number of a case. Write that of a single bottle.")
    return _checked(digits.zfill(ITEM), prefix, begins=1)


def is_item_number(kept: str) -> bool:
    """Say whether what is kept is a GTIN of 14 digits, the last of which fits.

    >>> is_item_number("04012345111118"), is_item_number("04012345111119")
    (True, False)
    """
    is_whole = len(kept) == ITEM and kept.isascii() and kept.isdigit()
    return is_whole and check_digit(kept[:-1]) == kept[-1]


def location_number(typed: str, prefix: str) -> str:
    """Return a GLN as 13 digits; raise :class:`NotAKey` if it is none of ``prefix``.

    >>> location_number("4012345000009", "4012345")
    '4012345000009'
    >>> location_number("", "4012345")
    ''
    """
    digits = _digits(typed)
    if not digits:
        return ""
    if len(digits) != LOCATION:
        raise NotAKey("A GLN has 13 digits. Count them.")
    return _checked(digits, prefix, begins=0)


def _digits(typed: str) -> str:
    digits = "".join(typed.split()).replace("-", "")
    if digits and not (digits.isascii() and digits.isdigit()):
        raise NotAKey("Write digits only.")
    return digits


def _checked(digits: str, prefix: str, *, begins: int) -> str:
    if check_digit(digits[:-1]) != digits[-1]:
        raise NotAKey(
            "The last digit does not fit the others: one is mistyped. Compare them."
        )
    if not prefix:
        raise NotAKey(
            "Without a company prefix there are no GS1 numbers. The owner writes it"
            " down under Registers, Premises."
        )
    if not digits[begins:].startswith(prefix):
        raise NotAKey(
            f"It does not begin with your company prefix {prefix}. Compare both; before"
            " the prefix of a number of 12 digits stands a nought."
        )
    return digits
