"""What an instrument is held against: check weights and buffers of the register."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from producer.errors import Refusal
from producer.models import Instrument
from producer.quantities import format_number
from quality.statistics.buffers import TABLES, BufferSet

Kind = Instrument.Kind
# What is not read from: it stands for a value, or shows one by its colour.
REFERENCES: Final = frozenset({Kind.CHECK_WEIGHT, Kind.BUFFER, Kind.INDICATOR})
# What an instrument of a kind is held against.
FITTING: Final[Mapping[str, Instrument.Kind]] = {
    Kind.SCALE: Kind.CHECK_WEIGHT,
    Kind.PH_METER: Kind.BUFFER,
}
WORDS: Final[Mapping[str, str]] = {
    Kind.CHECK_WEIGHT: "a check weight",
    Kind.BUFFER: "a lot of pH buffer",
}
ADVICE: Final[Mapping[str, str]] = {
    Kind.CHECK_WEIGHT: "Take one whose certificate is in date.",
    Kind.BUFFER: "Open a fresh lot, register it and take that.",
}


def must_be_good(
    reference: Instrument, *, of: Instrument, on: datetime.date, field: str | None
) -> None:
    """Refuse what this instrument is not held against, or not any more on that day."""
    wanted = FITTING.get(of.kind)
    if wanted is None or reference.kind != wanted:
        raise Refusal(
            f"{reference.name} is a {reference.get_kind_display()}; {of.name} is not"
            " held against it."
            + (f" Choose {WORDS[wanted]}." if wanted else " Write what it was."),
            field=field,
        )
    if not reference.in_use:
        raise Refusal(
            f"{reference.name} is out of use in the register. {ADVICE[reference.kind]}",
            field=field,
        )
    last = reference.good_until
    if last is not None and reference.is_expired(on):
        raise Refusal(
            f"{reference.name} was good until {last:%d %b %Y}."
            f" {ADVICE[reference.kind]}",
            field=field,
        )


def must_be_what_it_says(
    reference: Instrument, value: Decimal, *, field: str | None
) -> None:
    """Refuse another value than the register has for this weight or buffer."""
    if value == reference.nominal:
        return
    unit = "g" if reference.kind == Kind.CHECK_WEIGHT else "pH"
    raise Refusal(
        f"{reference.name} stands for {format_number(reference.nominal or Decimal(0))}"
        f" {unit} in the register, not for {format_number(value)} {unit}. Take the"
        " value of the register, or correct the register first.",
        field=field,
    )


def buffer_name(reference: Instrument) -> tuple[BufferSet, str] | None:
    """Return the set and the name in it of a lot of buffer; None if no table has it.

    Its nominal pH at 25 °C says which one it is: no two buffers share one.
    """
    for which, buffers in TABLES.items():
        for name in buffers:
            if reference.nominal == Decimal(name):
                return which, name
    return None


def in_hand(kind: str, on: datetime.date) -> list[Instrument]:
    """Return what there is of a kind that is in use and good on that day."""
    rows = Instrument.objects.filter(kind=kind, in_use=True).order_by("nominal", "pk")
    return [row for row in rows if not row.is_expired(on)]
