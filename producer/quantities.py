"""Numbers as people type and read them; masses in whole milligrams.

Pure: no Django. A comma and a point both mark decimals, thousands may be grouped,
and what can be read in two ways is never guessed. Number style follows SI Brochure
9, 5.4.4: either mark, groups of three parted by a thin space from five digits on.

>>> parse_number("1,5"), parse_number("1 250,5")
(Decimal('1.5'), Decimal('1250.5'))
>>> parse_mass("1,5 kg")
1500000
>>> format_mass(208_000), format_mass(1_250_000, mark=",")
('208 g', '1,25 kg')
"""

from __future__ import annotations

import re
import string
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

MASS_UNITS = {"mg": 1, "g": 1_000, "kg": 1_000_000}
A_GRAM = 1_000  # milligrams
VOLUME_UNITS = {"µl": 1, "ul": 1, "μl": 1, "ml": 1_000, "l": 1_000_000}
MOST_DIGITS = 15
MOST_ADDRESS_DIGITS = 9
# A million tonnes in milligrams: far above any pot, well inside a 64-bit column.
MOST_UNITS = 10**15
GROUP_SPACE = "\u202f"
GROUPED_FROM = 5
MINUS = "\u2212"

# What people and spreadsheets put between groups: blanks of several widths, and the
# apostrophe of Swiss habit.
_BLANKS = dict.fromkeys(map(ord, "\t\u00a0\u2007\u2009\u202f'’"), " ")
_LETTERS = string.ascii_letters + "µμ"  # the micro sign and the Greek letter
_WHOLE = re.compile(r"[0-9]+")
_DECIMAL = re.compile(r"(?P<whole>[0-9]*)[.,](?P<fraction>[0-9]+)")
_READS_TWICE = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
# Groups of thousands by one sign throughout, then decimals after the other mark.
_GROUPED = re.compile(
    r"(?P<whole>[1-9][0-9]{0,2}(?P<group>[ .,])[0-9]{3}(?:(?P=group)[0-9]{3})*)"
    r"(?:(?!(?P=group))[.,](?P<fraction>[0-9]+))?"
)
_LONGEST_QUOTE = 40


class QuantityError(ValueError):
    """What was typed is not a number we can take; the message says what to type."""


class AmbiguousNumber(QuantityError):
    """What was typed can be read in two ways.

    ``readings`` holds both, ``choices`` both as text with their unit; each of these
    is read in one way only when it is typed instead.
    """

    def __init__(self, text: str, readings: tuple[Decimal, Decimal], unit: str) -> None:
        first, second = (f"{_unmistakable(value)} {unit}".strip() for value in readings)
        super().__init__(
            f"“{text}” can mean {first} or {second}. Type {first} or {second}."
        )
        self.text = text
        self.readings = readings
        self.choices = (first, second)


def parse_number(
    text: str, *, unit: str = "", within: tuple[Decimal, Decimal] | None = None
) -> Decimal:
    """Return the number that ``text`` says, every digit kept.

    A comma or a point may mark the decimals; blanks, apostrophes or the other mark
    may group thousands. One to three digits, a mark and three more digits, like
    “1,250”, is written for 1.25 and for 1250: that raises :class:`AmbiguousNumber`,
    unless only one of the two lies ``within`` the given bounds. A leading zero, as in
    “0,208”, settles it: no group of thousands begins with one. Anything that is not
    plainly one number raises :class:`QuantityError`. ``unit`` is for the messages.

    >>> parse_number("1.250,5"), parse_number("0,208"), parse_number("−2.5")
    (Decimal('1250.5'), Decimal('0.208'), Decimal('-2.5'))
    >>> parse_number("1,250")
    Traceback (most recent call last):
    producer.quantities.AmbiguousNumber: “1,250” can mean 1.25 or 1250. Type 1.25 or 1250.
    >>> parse_number("1,012", within=(Decimal("0.8"), Decimal("1.3")))
    Decimal('1.012')
    """  # noqa: E501 - the message is one line
    typed = text.strip()
    if not typed:
        raise QuantityError("Type a number.")
    body = typed.translate(_BLANKS).replace(MINUS, "-")
    sign = "-" if body.startswith("-") else ""
    body = body.removeprefix(sign or "+").lstrip(" ")
    if _READS_TWICE.fullmatch(body):
        return _one_reading(typed, sign, body, unit, within)
    match = _WHOLE.fullmatch(body) or _DECIMAL.fullmatch(body)
    match = match or _GROUPED.fullmatch(body)
    if match is None:
        raise QuantityError(
            f"{_quoted(typed)} is not one number. Type digits 0 to 9 with one comma or"
            " point for the decimals, for example 12.5."
        )
    parts = match.groupdict()
    whole = re.sub(r"[^0-9]", "", parts.get("whole", body)) or "0"
    fraction = parts.get("fraction") or ""
    if len((whole + fraction).lstrip("0")) > MOST_DIGITS:
        raise QuantityError(
            f"{_quoted(typed)} has more digits than any instrument shows. Type at most"
            f" {MOST_DIGITS}."
        )
    return Decimal(f"{sign}{whole}.{fraction}" if fraction else sign + whole)


def parse_mass(text: str, *, unit: str = "g", allow_negative: bool = False) -> int:
    """Return whole milligrams; mg, g and kg are known, ``unit`` holds if none is typed.

    Raises :class:`QuantityError` for what is finer than 1 mg, below zero unless
    ``allow_negative``, or above a million tonnes, and :class:`AmbiguousNumber` as
    :func:`parse_number` does.

    >>> parse_mass("208"), parse_mass("0,208 kg"), parse_mass("350MG")
    (208000, 208000, 350)
    """
    return _parse(text, MASS_UNITS, unit, "mg", allow_negative=allow_negative)


def parse_volume(text: str, *, unit: str = "ml") -> int:
    """Return whole microlitres; µl, ml, l are known, ``unit`` holds if none is typed.

    Raises as :func:`parse_mass` does; a volume is never below zero.

    >>> parse_volume("0,5 L"), parse_volume("750")
    (500000, 750000)
    """
    return _parse(text, VOLUME_UNITS, unit, "µl", allow_negative=False)


def whole_number(text: str | None, *, default: int) -> int:
    """Return the whole number in a part of an address; nonsense gives ``default``.

    Nine digits are enough for any page or count, and fit every column and loop.

    >>> [whole_number(text, default=1) for text in ("12", "-3", "²", "9" * 5000)]
    [12, 1, 1, 1]
    """
    if text and len(text) <= MOST_ADDRESS_DIGITS and _WHOLE.fullmatch(text):
        return int(text)
    return default


def grams(mg: int) -> Decimal:
    """Return milligrams as grams, exactly.

    >>> grams(208_005)
    Decimal('208.005')
    """
    return Decimal(mg) / 1000


def milligrams(mass_g: Decimal) -> int:
    """Return grams as whole milligrams; a half goes to the even neighbour.

    Half to even, so that rounding many masses does not pile up on one side.

    >>> milligrams(Decimal("1.2345")), milligrams(Decimal("1.2355"))
    (1234, 1236)
    """
    return int((mass_g * 1000).to_integral_value(ROUND_HALF_EVEN))


def format_number(value: Decimal, *, mark: str = ".", places: int | None = None) -> str:
    r"""Return a number for reading: grouped from five digits, a true minus sign.

    With ``places`` it is rounded to so many decimals, a half to the even neighbour;
    without, every digit stands but closing zeros. This is for reading: “1.012” is
    printed as it is, and would be asked about if typed.

    >>> format_number(Decimal("-12345.60"), mark=",") == "\u221212\u202f345,6"
    True
    >>> format_number(Decimal("2"), places=2)
    '2.00'
    """
    if places is None:
        text = _plain(value)
    else:
        value = value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
        text = f"{value:f}"
    sign = MINUS if value < 0 else ""
    whole, _, fraction = text.lstrip("-").partition(".")
    if len(whole) >= GROUPED_FROM:
        whole = f"{int(whole):,}".replace(",", GROUP_SPACE)
    return sign + whole + (mark + fraction if fraction else "")


def format_mass(mg: int, *, mark: str = ".") -> str:
    """Return a mass exactly, in the unit a person would say, readable in one way.

    Milligrams below 1 g, kilograms from 1000 g on. Where that would print one to
    three digits, a mark and three digits, which could be a group of thousands, the
    next smaller unit is taken, which then is whole: 1234 g, not 1.234 kg.

    >>> format_mass(350), format_mass(208_500), format_mass(1_234_000)
    ('350 mg', '208.5 g', '1234 g')
    """
    return _format(mg, ("mg", "g", "kg"), mark)


def format_computed_mass(mg: int | Fraction, *, mark: str = ".") -> str:
    """Return a mass that was computed, from a gram on to a tenth of a gram.

    No kitchen scale shows more, and milligrams beside kilograms cannot be read at the
    stove. What a scale showed is said exactly, by :func:`format_mass`.

    >>> format_computed_mass(773_222), format_computed_mass(950)
    ('773.2 g', '950 mg')
    """
    whole = round(mg)
    return format_mass(round(whole, -2) if abs(whole) >= A_GRAM else whole, mark=mark)


def format_volume(ul: int, *, mark: str = ".") -> str:
    """Return a volume exactly, in the unit a person would say, as for masses.

    >>> format_volume(500_000), format_volume(1_500_000, mark=",")
    ('500 ml', '1,5 l')
    """
    return _format(ul, ("µl", "ml", "l"), mark)


def _one_reading(
    typed: str,
    sign: str,
    body: str,
    unit: str,
    within: tuple[Decimal, Decimal] | None,
) -> Decimal:
    """Return the only reading within the bounds; ask if it is not the only one."""
    whole, fraction = re.split(r"[.,]", body)
    with_decimals = Decimal(f"{sign}{whole}.{fraction}")
    with_thousands = Decimal(sign + whole + fraction)
    if within is not None:
        low, high = within
        fitting = [r for r in (with_decimals, with_thousands) if low <= r <= high]
        if len(fitting) == 1:
            return fitting[0]
    readings = (Decimal(_unmistakable(with_decimals)), with_thousands)
    raise AmbiguousNumber(typed, readings, unit)


def _parse(
    text: str, units: dict[str, int], unit: str, smallest: str, *, allow_negative: bool
) -> int:
    typed = text.strip()
    number = typed.rstrip(_LETTERS)
    name = typed[len(number) :].lower() or unit
    if name not in units:
        known = ", ".join(name for name in units if name not in {"ul", "μl"})
        raise QuantityError(
            f"The unit of {_quoted(typed)} is not known here. Use one of {known}."
        )
    value = parse_number(number, unit=name)
    if value < 0 and not allow_negative:
        raise QuantityError(f"{_quoted(typed)} is below zero. Type what was measured.")
    amount = value * units[name]
    if abs(amount) > MOST_UNITS:
        raise QuantityError(
            f"{_quoted(typed)} is more than any vessel holds. Check number and unit."
        )
    if amount != amount.to_integral_value():
        raise QuantityError(
            f"{_quoted(typed)} is finer than 1 {smallest}. Type no more digits than the"
            " instrument shows."
        )
    return int(amount)


def _format(amount: int, units: tuple[str, str, str], mark: str) -> str:
    sizes = (1, 1_000, 1_000_000)
    # nothing is said in the middle unit: 0 g
    rank = sum(abs(amount) >= size for size in sizes[1:]) if amount else 1
    value = Decimal(amount) / sizes[rank]
    if _READS_TWICE.fullmatch(_plain(abs(value))):
        rank -= 1
        value = Decimal(amount) / sizes[rank]
    return f"{format_number(value, mark=mark)} {units[rank]}"


def _unmistakable(value: Decimal) -> str:
    """Return plain digits that :func:`parse_number` reads in one way."""
    text = _plain(value)
    return text + "0" if _READS_TWICE.fullmatch(text.lstrip("-")) else text


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _quoted(typed: str) -> str:
    if len(typed) > _LONGEST_QUOTE:
        typed = typed[:_LONGEST_QUOTE] + "…"
    return f"“{typed}”"
