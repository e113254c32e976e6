"""What the bench found, on the pages of lots and batches."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template

from batches.chemistry.constants import PERCENT
from batches.chemistry.estimates import plus_minus
from batches.lifecycle import BatchStatus
from batches.models import Batch, ContainerWeighing, Titration
from batches.services import sources, titrating
from producer.errors import Refusal
from producer.middleware import decimal_mark
from producer.models import Material, RawLot
from producer.quantities import format_number

register = template.Library()

# How a lot's figure is shown: its name, the factor to the unit, the unit.
SHOWN: dict[str, tuple[str, Decimal, str]] = {
    Material.Kind.POTASH: ("Usable potassium hydroxide", PERCENT, "%"),
    Material.Kind.OIL: ("Saponification value", Decimal(1), "mg KOH/g"),
    Material.Kind.ADDITION: ("Takes up free alkali", Decimal(1), "g KOH per gram"),
}


def plus_minus_words(value: Decimal, standard_uncertainty: Decimal) -> str:
    """Return “x ± U” with k = 2 and the decimal mark of the premises."""
    shown, spread = plus_minus(value, 2 * standard_uncertainty)
    exponent = spread.as_tuple().exponent
    places = -exponent if isinstance(exponent, int) else 0
    mark = decimal_mark()
    both = (format_number(part, mark=mark, places=places) for part in (shown, spread))
    return " ± ".join(both)


@register.inclusion_tag("batches/_lot_figures.html", takes_context=True)
def lot_figures(context: dict[str, Any], lot: RawLot) -> dict[str, Any]:
    """Show what a lot gives to the computations, and what the bench found of it."""
    figure, refusal = _figure(lot)
    name, factor, unit = SHOWN.get(lot.material.kind, ("", Decimal(1), ""))
    return {
        "lot": lot,
        "user": context["user"],
        "shown": lot.material.kind in {Material.Kind.POTASH, Material.Kind.OIL}
        or figure is not None,
        "name": name,
        "figure": figure,
        "words": ""
        if figure is None
        else plus_minus_words(
            figure.value * factor, figure.standard_uncertainty * factor
        ),
        "unit": unit,
        "refusal": refusal,
        "kinds": _kinds(lot),
        "titrations": _titrations(lot.pk),
        "weighings": ContainerWeighing.objects.filter(stock_id=lot.pk)
        .select_related(
            "scale", "entered_by__person", "superseded_by", "container__lot__stock"
        )
        .order_by("-pk"),
    }


@register.inclusion_tag("batches/_batch_titrations.html", takes_context=True)
def batch_titrations(
    context: dict[str, Any],
    batch: Batch,
    can_amend: object,
    can_change: object = False,  # noqa: FBT002 - as a template gives it
) -> dict[str, Any]:
    """Show the titrations of a batch; with a button while its record is open.

    ``can_change`` offers to take one back although the record is signed.
    """
    kinds = titrating.kinds_for(batch.stock) if can_amend else ()
    return {
        "batch": batch,
        "code": batch.stock.code,
        "user": context["user"],
        "can_amend": can_amend,
        "can_change": can_change,
        "can_titrate": bool(kinds) and batch.status != BatchStatus.PLANNED,
        "titrations": _titrations(batch.pk),
    }


def _figure(lot: RawLot) -> tuple[sources.Figure | None, str]:
    try:
        return sources.figure_of(lot), ""
    except Refusal as refusal:  # the page says why, instead of a figure
        return None, refusal.message


def _kinds(lot: RawLot) -> list[tuple[str, str]]:
    return [
        (str(kind), titrating.NAMES[kind].lower())
        for kind in titrating.kinds_for(lot.stock)
    ]


def _titrations(stock_id: int) -> list[Titration]:
    return list(
        Titration.objects.filter(stock_id=stock_id)
        .select_related("scale", "indicator", "entered_by__person", "superseded_by")
        .prefetch_related("replicates")
        .order_by("-pk")
    )
