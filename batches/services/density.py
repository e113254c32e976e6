"""The density to reckon with: measured, else as last filled, else usual.

Nominal quantities are at 20 °C, see :mod:`batches.chemistry.net_content`. What a liquid
soap expands by is not known here: no source was found for its water, soap and glycerol
together. So a density is never carried over to 20 °C: it counts if it was taken there.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final, NamedTuple

from django.utils import timezone

from batches.models import Batch, FillingLot, LiquidReading
from batches.services import liquid_readings
from producer.errors import Refusal
from producer.quantities import format_number

# °C. One degree is some 0.0003 g/ml of water (CRC Handbook, from memory: 0.9984 at 19
# and 0.9980 at 21 °C), less than weighing 100 ml tells.
AT: Final = Decimal(20)
WITHIN: Final = Decimal(1)
# What a soap solution weighs: common practice, no source.
USUAL: Final = Decimal("1.02")
# Below and above these a number is a slip; by so much of the book's value one may
# differ without a word. Common practice, no source: diluted soap lies between 0.99 and
# 1.06, and weighing 100 ml tells a hundredth.
PLAUSIBLE: Final = (Decimal("0.8"), Decimal("1.5"))
UNASKED: Final = Decimal("0.01")


class Density(NamedTuple):
    """A density in g/ml at 20 °C, and where it is from, in words."""

    value: Decimal
    origin: str


def is_at_twenty(reading: LiquidReading) -> bool:
    """Say whether a density was measured at 20 ± 1 °C, so that it counts as it is."""
    return reading.temperature is not None and abs(reading.temperature - AT) <= WITHIN


def density_of(batch: Batch) -> Density:
    """Return the density to reckon with in g/ml, and where it is from.

    The newest that was measured, if that was at 20 ± 1 °C; else that of the last
    filling of this formula; else what is usual.
    """
    measured = liquid_readings.newest(batch, LiquidReading.Kind.DENSITY)
    if measured is None or measured.value is None:
        return _not_measured(batch)
    day = timezone.localtime(measured.observed_at)
    on = f"{day.day} {day:%b %Y}"
    if is_at_twenty(measured):
        return Density(measured.value, f"measured on {on} at {_degrees(measured)}")
    value, origin = _not_measured(batch)
    return Density(
        value,
        f"{origin}. What was measured on {on} was at {_degrees(measured)} and does not"
        " count: measure it at 20 °C",
    )


def measured_for_filling(batch: Batch) -> Density | None:
    """Return the density measured of a batch, if one counts, and when it was."""
    measured = liquid_readings.newest(batch, LiquidReading.Kind.DENSITY)
    if measured is None or measured.value is None or not is_at_twenty(measured):
        return None
    return density_of(batch)


def _not_measured(batch: Batch) -> Density:
    former = (
        FillingLot.objects.filter(
            batch__formula_version__formula=batch.formula_version.formula_id
        )
        .order_by("-pk")
        .first()
    )
    if former is None:
        return Density(USUAL, "usual for a liquid soap; weigh 100 ml of yours")
    return Density(former.density, f"as in {former.code}")


def _degrees(reading: LiquidReading) -> str:
    return f"{format_number((reading.temperature or Decimal(0)).normalize())} °C"


def said_of_typed(batch: Batch, typed: Decimal, reason: str) -> str:
    """Return what is kept of a typed density that is not the book's, or nothing.

    ``typed`` is in g/ml at 20 °C. Refuses what no soap solution has, as a slip, and
    one that differs from :func:`density_of` by more than :data:`UNASKED` without a
    reason: one too low makes short bottles look full.
    """
    low, high = PLAUSIBLE
    if not low <= typed <= high:
        raise Refusal(
            f"A density of {format_number(typed)} g/ml is outside {format_number(low)}"
            f" to {format_number(high)}, where no liquid soap is. Check the decimal"
            " mark; weigh 100 ml at 20 °C and divide by 100.",
            field="density",
        )
    known = density_of(batch)
    if abs(typed - known.value) <= known.value * UNASKED:
        return ""
    book = f"{format_number(known.value.normalize())} g/ml ({known.origin})"
    if not reason.strip():
        raise Refusal(
            f"By the book the density is {book}, and {format_number(typed)} was typed."
            " One that is too low makes short bottles look full. Weigh 100 ml again;"
            " if it is right, say below how you know.",
            field="density_reason",
        )
    return (
        f"Density {format_number(typed.normalize())} g/ml where the book has {book}:"
        f" {reason.strip()}"
    )
