"""Blocks about liquids for pages of making: net content, number of bottles, soap."""

from __future__ import annotations

from typing import Any

from django import template

from batches.chemistry.errors import ChemistryError
from batches.chemistry.net_content import fill_limits
from batches.models import Batch, FillingLot, Formula
from quality.services import dosing, filling_checks

register = template.Library()


@register.inclusion_tag("quality/_fill_checks.html", takes_context=True)
def fill_checks(context: template.Context, lot: FillingLot) -> dict[str, Any]:
    """Show what weighed bottles of a filling lot said, and what they are held to."""
    page = {
        "user": context["user"],
        "lot": lot,
        "checks": lot.fill_checks.select_related(
            "scale", "entered_by__person", "limit"
        ),
        "must_stay": filling_checks.newest_stops(lot),
        "held": filling_checks.held_by_weighing(lot),
    }
    try:
        page["limits"] = fill_limits(filling_checks.nominal_ml(lot))
    except ChemistryError as error:
        page["refused"] = str(error)
    return page


@register.inclusion_tag("quality/_liquid.html")
def liquid(batch: Batch) -> dict[str, Any]:
    """Show the class of contents of a dilution, with the question if there is one.

    Nothing of a cook or a blend: they are not what is sold.
    """
    page: dict[str, Any] = {"batch": batch}
    if batch.kind != Formula.Kind.DILUTION:
        return page
    try:
        product = dosing.product_of(batch)
    except dosing.NotKnownError as reason:
        return {**page, "not_known": str(reason)}
    page["percent"] = product.percent
    if product.worked_out is not None:
        page["content"] = dosing.content_of(product.worked_out, product.lowest)
    return page


@register.inclusion_tag("quality/_bottles_from_mass.html")
def bottles_from_mass(batch: Batch) -> dict[str, Any]:
    """Show how many bottles of each usual size the mass on hand gives."""
    density, origin = filling_checks.density_of(batch)
    return {
        "rows": filling_checks.bottles_of(batch.stock.on_hand_mg, density),
        "density": density,
        "origin": origin,
    }
