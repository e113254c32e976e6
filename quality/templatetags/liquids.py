"""Blocks about liquids for pages of making: net content, number of bottles, soap."""

from __future__ import annotations

from typing import Any

from django import template

from batches.chemistry.errors import ChemistryError
from batches.chemistry.net_content import fill_limits
from batches.models import Batch, FillingLot, Formula, LiquidReading
from batches.services import density, liquid_readings, use_by
from batches.services.entries import Entries
from producer.models import Right
from quality.services import dosing, filling_checks, weighing_back

register = template.Library()


@register.inclusion_tag("quality/_fill_checks.html", takes_context=True)
def fill_checks(context: template.Context, lot: FillingLot) -> dict[str, Any]:
    """Show what weighed bottles of a filling lot said, and what they are held to."""
    rows = lot.fill_checks.select_related(
        "scale",
        "entered_by__person",
        "limit",
        "filling_lot__release",
        "taken_back__entered_by__person",
    )
    checks: list[Any] = list(rows.in_turn())
    for check in checks:
        check.may_take_back = not hasattr(
            check, "taken_back"
        ) and weighing_back.may_take_back(context["user"], check)
    page = {
        "user": context["user"],
        "lot": lot,
        "checks": checks,
        "none_stands": checks and all(hasattr(one, "taken_back") for one in checks),
        "must_stay": filling_checks.newest_stops(lot),
        "held": filling_checks.held_by_weighing(lot),
    }
    try:
        page["limits"] = fill_limits(filling_checks.nominal_ml(lot))
    except ChemistryError as error:
        page["refused"] = str(error)
    return page


@register.inclusion_tag("quality/_liquid.html", takes_context=True)
def liquid(
    context: dict[str, Any], batch: Batch, entries: Entries | None = None
) -> dict[str, Any]:
    """Show what came of a liquid: soap, class of contents, density, hardness, use-by.

    Of a dilution, and of a blend that is no paste; nothing of a cook.
    """
    page: dict[str, Any] = {"batch": batch, "is_liquid": _is_liquid(batch)}
    if not page["is_liquid"]:
        return page
    page |= _measured(batch, entries or Entries(batch), context["user"])
    ends = use_by.ends_of(batch)
    page["ends"] = ends if any(end.code == batch.number for end in ends) else []
    try:
        product = dosing.product_of(batch)
    except dosing.NotKnownError as reason:
        return {**page, "not_known": str(reason)}
    page["percent"] = product.percent
    if product.worked_out is not None:
        page["content"] = dosing.content_of(product.worked_out, product.lowest)
    return page


def _is_liquid(batch: Batch) -> bool:
    is_paste = batch.formula_version.formula.purpose == Formula.Purpose.PASTE
    return batch.kind == Formula.Kind.DILUTION or (
        batch.kind == Formula.Kind.BLEND and not is_paste
    )


def _measured(batch: Batch, entries: Entries, user: Any) -> dict[str, Any]:
    """Return what was measured, what counts of it, and what may still be measured."""
    kinds = LiquidReading.Kind
    newest = {kind: liquid_readings.newest_of(entries, kind) for kind in kinds}
    may, gone = user.may(Right.MAKER), {"abandoned", "rejected", "reworked", "disposed"}
    may = may and batch.status not in gone
    closed = liquid_readings.closed_at(batch)
    return {
        "hardness": newest[kinds.HARDNESS],
        "measured_density": newest[kinds.DENSITY],
        "density": density.density_of(batch),
        "readings": entries.liquid_readings,
        "can_measure_water": may and batch.is_open,
        "can_measure": may and batch.status != "planned",
        "can_amend": {
            row.pk
            for row in entries.liquid_readings
            if may and (closed is None or row.entered_at > closed)
        },
    }


@register.inclusion_tag("quality/_bottles_from_mass.html")
def bottles_from_mass(batch: Batch) -> dict[str, Any]:
    """Show how many bottles of each usual size the mass on hand gives."""
    density, origin = filling_checks.density_of(batch)
    return {
        "rows": filling_checks.bottles_of(batch.stock.on_hand_mg, density),
        "density": density,
        "origin": origin,
    }
