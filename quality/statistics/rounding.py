"""A result and its uncertainty, rounded for people.

Source: JCGM 100:2008 (GUM), 7.2.6. The expanded uncertainty keeps two digits and is
rounded up, never down: a ± that promises more than was found could contradict the
judgement made with it. (The clause also shows 28.05 rounded to 28 by “common sense”;
we write 29 there.) The value goes to the same decimal place, a half to the even
neighbour, as everywhere here.

Decimal: rounding is a matter of decimal digits.

>>> rounded(0.8137, 1.4512).text()
'0.8 ± 1.5'
"""

from __future__ import annotations

import dataclasses
from decimal import ROUND_HALF_EVEN, ROUND_UP, Decimal

from producer.quantities import format_number
from quality.statistics.errors import InputError

SHOWN_DIGITS = 2  # of an uncertainty
# Of a float, digits beyond these are noise of its arithmetic: 0.1 + 0.2 is 0.3.
FLOAT_DIGITS = 12


@dataclasses.dataclass(frozen=True)
class Rounded:
    """A value and its expanded uncertainty, both to the same decimal place."""

    value: Decimal
    uncertainty: Decimal

    def text(self, *, mark: str = ".") -> str:
        """Return “x ± U” with the given decimal mark; “x” where U is nought.

        >>> Rounded(Decimal("1.50"), Decimal("0.20")).text(mark=",")
        '1,50 ± 0,20'
        """
        value = to_place(self.value, mark=mark)
        if not self.uncertainty:
            return value
        return f"{value} ± {to_place(self.uncertainty, mark=mark)}"


def rounded(value: Decimal | float, uncertainty: Decimal | float) -> Rounded:
    """Return ``value`` ± ``uncertainty`` with no more digits than are known.

    Both are in the same unit. Without uncertainty the value keeps its digits.

    >>> rounded(Decimal("10.05762"), Decimal("0.027"))
    Rounded(value=Decimal('10.058'), uncertainty=Decimal('0.027'))
    >>> rounded(1234.5, 96.3).text()
    '1234 ± 97'
    """
    exact, spread = as_decimal(value), rounded_up(as_decimal(uncertainty))
    if not spread:
        return Rounded(exact, spread)
    return Rounded(exact.quantize(_place(spread), ROUND_HALF_EVEN), spread)


def rounded_up(uncertainty: Decimal, *, digits: int = SHOWN_DIGITS) -> Decimal:
    """Return an uncertainty with so many digits, rounded up; nought stays nought.

    Raises :class:`InputError` below zero.

    >>> [str(rounded_up(Decimal(u))) for u in ("0.5701", "10.47", "0.0991", "9.96")]
    ['0.58', '11', '0.10', '10']
    """
    if uncertainty < 0:
        raise InputError("An uncertainty is not below zero.")
    if not uncertainty:
        return uncertainty
    up = uncertainty
    for _ in range(2):  # 9.96 becomes 10.0, one digit too many: once more
        up = up.quantize(Decimal(1).scaleb(up.adjusted() - digits + 1), ROUND_UP)
    return up


def as_decimal(value: Decimal | float) -> Decimal:
    """Return a number as a Decimal, without the noise in the last digits of a float.

    Raises :class:`InputError` for what is no number.

    >>> as_decimal(0.1 + 0.2)
    Decimal('0.3')
    """
    if isinstance(value, float):
        value = Decimal(f"{value:.{FLOAT_DIGITS}g}")
    if not (number := Decimal(value)).is_finite():
        raise InputError("This result is no number: check what it was computed from.")
    return number


def to_place(number: Decimal, *, mark: str = ".") -> str:
    """Return a number with closing zeros kept, as far as its exponent says.

    >>> to_place(Decimal("1.50")), to_place(Decimal("1.2E+2"))
    ('1.50', '120')
    """
    exponent = number.as_tuple().exponent
    places = max(0, -exponent) if isinstance(exponent, int) else 0
    return format_number(number, mark=mark, places=places)


def _place(number: Decimal) -> Decimal:
    """Return 1 in the last decimal place of a number."""
    return Decimal(1).scaleb(number.adjusted() - len(number.as_tuple().digits) + 1)
