"""Amounts of money as people type and read them; whole hundredths of the currency.

Pure: no Django.

>>> parse_money("12,5"), parse_money("1 250.00")
(1250, 125000)
>>> format_money(1250, currency="£"), format_money(125000, currency="EUR", mark=",")
('£12.50', '1250,00\u202fEUR')
"""

from __future__ import annotations

from decimal import Decimal

from producer.quantities import QuantityError, parse_number

PLACES = 2
MOST = 10**12  # hundredths: more than any premises here will ever pay


def parse_money(text: str) -> int:
    """Return whole hundredths. Raises :class:`QuantityError` for what is none.

    An amount that reads in two ways, as “1,250”, is asked about; one with more than
    two decimals or below zero is refused.

    >>> parse_money("0.05")
    5
    """
    amount = parse_number(text)
    if amount < 0:
        raise QuantityError("An amount is not below zero.")
    hundredths = amount.scaleb(PLACES)
    if hundredths != int(hundredths):
        raise QuantityError(
            f"“{text.strip()}” has more than two decimals. Type the amount as it was"
            " paid."
        )
    if hundredths > MOST:
        raise QuantityError("That is more than a premises pays. Check the figure.")
    return int(hundredths)


def format_money(hundredths: int, *, currency: str = "", mark: str = ".") -> str:
    """Return an amount with both decimals and its currency.

    A sign such as £ stands before it, letters such as EUR behind it.

    >>> format_money(5), format_money(-1999, currency="€", mark=",")
    ('0.05', '−€19,99')
    """
    sign = "−" if hundredths < 0 else ""
    number = f"{Decimal(abs(hundredths)).scaleb(-PLACES):.2f}".replace(".", mark)
    if not currency:
        return sign + number
    if currency.isalpha():
        return f"{sign}{number}\u202f{currency}"
    return f"{sign}{currency}{number}"
