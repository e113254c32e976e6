"""Codes that people read, type and scan, each with a check character.

Pure: no Django. Check characters follow the hybrid systems of ISO/IEC 7064:2003,
computed by python-stdnum.

>>> numbered_code("L", 2026, 17)
'L26-0017-8'
>>> is_numbered_code("l26 0017 8"), is_numbered_code("L26-0071-8")
(True, False)
"""

from __future__ import annotations

import re
import secrets
import string
from collections.abc import Callable, Sequence

from stdnum.iso7064 import mod_37_36

# Digits 2–9 and the letters without I, L, O, U: no sign of it is taken for another.
# A hybrid system of ISO/IEC 7064 works for any alphabet of M characters for which
# M + 1 is prime; the standard names M = 10 and 36, and 30 + 1 = 31 is prime too. MOD
# 31,30 finds every single wrong character. It finds a swap of neighbours but for one
# pair of characters, next to each other in the alphabet, that depends on what stands
# before them: 1 in 435 swaps of unlike characters. The tests count both.
BOTTLE_ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
BOTTLE_LENGTH = 12
GROUP_LENGTH = 4
FIRST_YEAR, LAST_YEAR = 2000, 2099  # a code has two digits for the year

_BEFORE_BOTTLE = re.compile("/b/", re.IGNORECASE)
_WHOLE_ADDRESS = re.compile(r"https?://[^/?#]+/([^?#]*)(?:[?#].*)?", re.IGNORECASE)
# Blanks, hyphens, dashes, minus, and what cannot be seen but is copied along.
_GAPS = re.compile(r"[\s\-\u00ad\u200b-\u200d\u2010-\u2015\u2060\u2212\ufeff]+")
_TO_UPPER = str.maketrans(string.ascii_lowercase, string.ascii_uppercase)
_NUMBERED = re.compile(r"([A-Z])([0-9]{2})((?!0000)[0-9]{4}|[1-9][0-9]{4,})([0-9A-Z])")


class CodeError(ValueError):
    """This is not a code of ours; the message says what is wrong with it."""


def new_bottle_code(choice: Callable[[Sequence[str]], str] = secrets.choice) -> str:
    """Return a new opaque code: eleven random characters and a check character.

    Eleven of thirty are 54 bits: codes cannot be guessed by counting. ``choice`` picks
    one of a sequence; tests pass their own.

    >>> new_bottle_code(lambda alphabet: alphabet[0])
    '222222222224'
    """
    body = "".join(choice(BOTTLE_ALPHABET) for _ in range(BOTTLE_LENGTH - 1))
    return body + str(mod_37_36.calc_check_digit(body, alphabet=BOTTLE_ALPHABET))


def normalise(text: str) -> str:
    """Return what was typed or scanned as a bare code: capitals, no blanks or hyphens.

    Of a web address that ends in “/b/CODE”, the code.

    >>> normalise(" https://soap.example/b/abcd-efgh-jkmn/ ")
    'ABCDEFGHJKMN'
    >>> normalise("abcd\u200b-efgh\u00ad-jkmn")  # copied from a page or a PDF
    'ABCDEFGHJKMN'
    """
    text = text.strip()
    return _GAPS.sub("", _bottle_part(text) or text).translate(_TO_UPPER)


def _bottle_part(text: str) -> str:
    """Return what stands in an address where a bottle's code does, or nothing.

    In one pass over the text, however long: anybody may send one.
    """
    path = re.split("[?#]", text, maxsplit=1)[0]
    _, *after = _BEFORE_BOTTLE.split(path)
    part = after[-1].removesuffix("/") if after else ""
    return "" if "/" in part else part


def is_bottle_code(text: str) -> bool:
    """Say whether ``text`` is a whole bottle code with a fitting check character.

    >>> is_bottle_code("2222-2222-2224"), is_bottle_code("2222-2222-2225")
    (True, False)
    """
    code = normalise(text)
    return (
        len(code) == BOTTLE_LENGTH
        and set(code) <= set(BOTTLE_ALPHABET)
        and bool(mod_37_36.is_valid(code, alphabet=BOTTLE_ALPHABET))
    )


def grouped(code: str) -> str:
    """Return a bottle code in groups of four, for reading aloud.

    >>> grouped("ABCDEFGHJKMN")
    'ABCD-EFGH-JKMN'
    """
    if len(code) == BOTTLE_LENGTH:  # asked for a hundred thousand at a time
        return f"{code[:4]}-{code[4:8]}-{code[8:]}"
    starts = range(0, len(code), GROUP_LENGTH)
    return "-".join(code[start : start + GROUP_LENGTH] for start in starts)


def numbered_code(prefix: str, year: int, number: int) -> str:
    """Return a consecutive code: prefix, year, number and check character.

    The number has four digits, or more when it needs them. The check character is
    ISO/IEC 7064 MOD 37,36 over all that stands before it, hyphens left out. Raises
    :class:`CodeError` for a prefix that is not one capital letter, a number below
    one, or a year outside 2000 to 2099.

    >>> numbered_code("B", 2026, 12345)
    'B26-12345-F'
    """
    if not re.fullmatch(r"[A-Z]", prefix) or number < 1:
        raise CodeError("A code has one capital letter and a number from 1 on.")
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise CodeError(f"A code has no room for the year {year}. Check the date.")
    body = f"{prefix}{year % 100:02d}{number:04d}"
    return f"{body[:3]}-{body[3:]}-{mod_37_36.calc_check_digit(body)}"


def canonical_numbered(text: str) -> str:
    """Return a numbered code as we print it, however it was typed.

    Raises :class:`CodeError` when the check character does not fit.

    >>> canonical_numbered("l2600178")
    'L26-0017-8'
    """
    match = _NUMBERED.fullmatch(normalise(text))
    if match is None or not mod_37_36.is_valid("".join(match.groups())):
        raise CodeError(
            f"“{text.strip()}” is not one of our codes. A character is wrong or"
            " missing: read it again from the label."
        )
    prefix, year, number, check = match.groups()
    return f"{prefix}{year}-{number}-{check}"


def is_numbered_code(text: str) -> bool:
    """Say whether ``text`` is a numbered code with a fitting check character.

    >>> is_numbered_code("L26-0017-8"), is_numbered_code("L26-0018-8")
    (True, False)
    """
    try:
        canonical_numbered(text)
    except CodeError:
        return False
    return True


def code_within(text: str) -> str:
    """Return the part of what was scanned that is the code; of other text, all of it.

    Of a whole address, on any host, the part of its path that is a code of ours, or
    that stands where a bottle’s code does. Of “L26-0017-8/2”, a container, all of it.

    >>> code_within("https://elsewhere.example/lots/L26-0017-8/")
    'L26-0017-8'
    >>> code_within("http://soap.example/b/abcd-efgh-jkmn?from=scan")
    'ABCDEFGHJKMN'
    """
    text = text.strip()
    if _bottle_part(text):
        return normalise(text)
    address = _WHOLE_ADDRESS.fullmatch(text)
    if address is None:
        return text
    for part in address[1].split("/"):
        if is_numbered_code(part) or is_bottle_code(part):
            return part
    return text


def is_mistyped(text: str) -> bool:
    """Say whether a text has the shape of a code of ours, but not its check character.

    Twelve letters without a digit or hyphen may be a word, and are no code then.

    >>> is_mistyped("L26-0018-8"), is_mistyped("2222-2222-2225")
    (True, True)
    >>> is_mistyped("L26-0017-8"), is_mistyped("checkmetered"), is_mistyped("L26-00")
    (False, False, False)
    """
    code = normalise(text)
    if _NUMBERED.fullmatch(code):
        return not is_numbered_code(code)
    has_shape = len(code) == BOTTLE_LENGTH and set(code) <= set(BOTTLE_ALPHABET)
    is_word = text.strip().isalpha()
    return has_shape and not is_word and not is_bottle_code(code)
