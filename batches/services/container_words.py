"""What the weight of a container says beside the book, in words."""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.ageing import Uptake, Verdict, usable_after
from batches.models import ContainerWeighing
from batches.services import sources
from producer.errors import Refusal
from producer.models import Material, RawLot
from producer.quantities import (
    format_computed_mass,
    format_mass,
    format_number,
    milligrams,
)


def first_words(row: ContainerWeighing) -> str:
    """Return what the first weighing of a container of unknown tare says."""
    return (
        f"First weighing: {format_mass(row.gross_mg)} gross beside"
        f" {format_mass(row.book_mg)} in the book. Its tare is not known, so from now"
        " on the difference against this weighing counts."
    )


def sentence(lot: RawLot, uptake: Uptake, doubt: Decimal) -> str:
    """Return what was seen, how sure it is, and what to do about it.

    ``doubt`` is U (k = 2) of the difference in grams. Potash that is to be held begins
    with ``sources.HOLD_WORDS``.
    """
    net, book = (
        format_computed_mass(milligrams(mass)) for mass in (uptake.net_g, uptake.book_g)
    )
    difference = format_computed_mass(milligrams(abs(uptake.gain_g)))
    share = format_number(abs(uptake.percent), places=2)
    scale = f"U = {format_number(doubt, places=1)} g, k = 2"
    seen = f"{net} on the scale, {book} in the book"
    if lot.material.kind != Material.Kind.POTASH and not uptake.clear:
        return f"Agrees: {seen} ({scale})."
    if uptake.verdict is Verdict.AGREES:
        return f"Agrees: {seen} ({scale})."
    if uptake.verdict is Verdict.UNLOGGED_LOSS:
        return (
            f"Unlogged loss: {seen}, {difference} less ({share} %; {scale}). Something"
            " was used or lost and not written down, or the tare is wrong. Look for the"
            " missing charge, or do a stock-take."
        )
    more = f"{seen}, {difference} more ({share} %; {scale})."
    if lot.material.kind != Material.Kind.POTASH:
        return (
            f"More than the book: {more} Check gross and tare, and whether a charge was"
            " written down that was not taken."
        )
    parts = [
        f"{sources.HOLD_WORDS}: {more}",
        "Potash takes water and carbon dioxide from the air.",
        _bounds(lot, uptake),
    ]
    if not uptake.clear:
        parts.append(
            "The scale alone could make this difference: weigh again on a finer one,"
            " and take this weighing back if that agrees."
        )
    return " ".join(part for part in parts if part)


def _bounds(lot: RawLot, uptake: Uptake) -> str:
    try:
        figure = sources.potash_as_known(lot)
    except Refusal:  # no certificate and no titration yet: nothing to bound
        return "What of it is usable is not known: it has no assay."
    least, most = (
        format_number(share * 100, places=1)
        for share in usable_after(
            usable_fraction=min(figure.value, Decimal(1)), uptake=uptake
        )
    )
    was = format_number(figure.value * 100, places=1)
    return (
        f"Usable is now between {least} %, if all that came is carbon dioxide, and"
        f" {most} %, if all is water; before it was {was} %."
    )
