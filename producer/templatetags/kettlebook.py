"""Filters and tags that every template has."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal

from django import template
from django.utils import timezone

from producer.codes import grouped
from producer.middleware import decimal_mark
from producer.models import Premises, Right, User
from producer.money import format_money
from producer.quantities import (
    format_computed_mass,
    format_mass,
    format_number,
    format_volume,
)
from producer.wall_clock import offset_of

register = template.Library()
NOTHING = "–"
# A number as RFC 3966 writes one for dialling: digits, and between them what makes it
# readable. Brackets around digits belong to it; a letter or any other bracket ends it.
TELEPHONE = re.compile(r"\+?[\s./-]*(?:\(\d+\)|\d)(?:[\s./-]*(?:\(\d+\)|\d))*")
LEAST_DIALLED = 3  # digits: “111” is a number to call, “24” hours are not


@register.filter
def mass(mg: int | None) -> str:
    """Show milligrams as the mass a person would say: ``1250000`` → “1.25 kg”."""
    return NOTHING if mg is None else format_mass(mg, mark=decimal_mark())


@register.filter
def computed_mass(mg: int | None) -> str:
    """Show a mass that was computed, from a gram on to a tenth: “773.2 g”."""
    return NOTHING if mg is None else format_computed_mass(mg, mark=decimal_mark())


@register.filter
def volume(ul: int | None) -> str:
    """Show microlitres as the volume a person would say: ``500000`` → “500 ml”."""
    return NOTHING if ul is None else format_volume(ul, mark=decimal_mark())


@register.filter
def number(value: Decimal | int | None, places: int | None = None) -> str:
    """Show a number with the decimal mark of the premises."""
    if value is None:
        return NOTHING
    return format_number(Decimal(value), mark=decimal_mark(), places=places)


@register.filter
def money(hundredths: int | None, premises: Premises | None) -> str:
    """Show an amount in the currency of the premises: “£12.50”, “12,50 EUR”."""
    if hundredths is None:
        return NOTHING
    currency = premises.currency if premises else ""
    return format_money(hundredths, currency=currency, mark=decimal_mark())


@register.filter
def tel(text: str) -> str:
    """Return the address that dials the number a text begins with, or nothing.

    “01632 960999 (the farm)” → “tel:01632960999”. The “(0)” of “+44 (0)1632 960999” is
    not dialled from abroad, and left out.
    """
    found = TELEPHONE.match(text.strip())
    if found is None:
        return ""
    number = found[0]
    plus = "+" if number.startswith("+") else ""
    if plus:
        number = number.replace("(0)", "")
    digits = "".join(re.findall("[0-9]", number))
    return f"tel:{plus}{digits}" if len(digits) >= LEAST_DIALLED else ""


@register.filter
def day(value: datetime.date | None) -> str:
    """Show a calendar day with the month in letters, which no country misreads."""
    return f"{value.day} {value:%b %Y}" if value else NOTHING


@register.filter
def moment(value: datetime.datetime | None) -> str:
    """Show a time of the premises with its offset: “5 Oct 2026, 14:05 +02:00”."""
    if not value:
        return NOTHING
    local = timezone.localtime(value)
    return f"{local.day} {local:%b %Y, %H:%M} {offset_of(local)}"


@register.filter
def bottle_code(code: str) -> str:
    """Show a bottle code in groups of four."""
    return grouped(code)


@register.filter
def may(user: User, right: str) -> bool:
    """Say whether the signed-in account holds a right: ``{% if user|may:"maker" %}``.

    A visitor who is not signed in holds none.
    """
    return isinstance(user, User) and user.may(Right(right))


@register.filter
def item(values: dict[object, object], key: object) -> object:
    """Return the value of a dict by a key that is itself a variable."""
    return values[key]
