"""GTINs of products and sizes: given, corrected, taken back.

A number that named bottles of one product and size is never given to another.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterator
from typing import Any, NamedTuple

from django.db import transaction
from django.utils import timezone

from batches.models import FillingLot, Formula, ItemNumber
from producer import gs1, journal
from producer.errors import Conflict, Refusal
from producer.models import Premises, Right, User
from producer.services.checks import need_reason, require


class Given(NamedTuple):
    """A number, or nothing, and since when bottles are named by it."""

    gtin: str
    since: datetime.datetime


Sizes = dict[tuple[int, int], list[Given]]


@transaction.atomic
def give(
    *,
    by: User,
    formula: Formula,
    nominal_ul: int,
    gtin: str,
    submission: uuid.UUID | None = None,
) -> ItemNumber:
    """Record the GTIN of a product in bottles of ``nominal_ul`` microlitres."""
    journal.in_line()
    require(by, Right.MAKER)
    if standing_of(formula).filter(nominal_ul=nominal_ul).exists():
        raise Conflict("This size has a number already. Correct that one.")
    row = ItemNumber(
        formula=formula,
        nominal_ul=nominal_ul,
        gtin=_free(gtin, formula, nominal_ul),
        entered_by=by,
        observed_at=timezone.now(),
    )
    return _kept(by, row, "item number given", {}, submission)


@transaction.atomic
def amend(
    *,
    by: User,
    number: ItemNumber,
    reason: str,
    gtin: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> ItemNumber:
    """Correct a GTIN by a new row, or take it back; the old row stays.

    Bottles filled before keep their name: files that name them were handed out.
    """
    journal.in_line()
    require(by, Right.MAKER)
    if number.is_void or ItemNumber.objects.filter(supersedes=number).exists():
        raise Conflict("This was corrected already. Open the page again.")
    row = ItemNumber(
        formula=number.formula,
        nominal_ul=number.nominal_ul,
        gtin=number.gtin
        if void
        else _free(gtin, number.formula, number.nominal_ul, number),
        entered_by=by,
        observed_at=number.observed_at,
        supersedes=number,
        reason=need_reason(reason),
        is_void=void,
    )
    act = "item number taken back" if void else "item number corrected"
    return _kept(by, row, act, _facts(number), submission)


def standing_of(formula: Formula) -> Any:
    """Return the numbers of a product that stand, smallest size first."""
    rows = ItemNumber.objects.current().filter(formula=formula)
    return rows.order_by("nominal_ul", "pk")


def by_size() -> Sizes:
    """Return what bottles are named by: the numbers of each product and size.

    All that ever stood, in turn, none while one was taken back: a bottle keeps the
    name that it had in files handed out, whatever becomes of the number. One query.
    """
    found: Sizes = {}
    for row in ItemNumber.objects.order_by("pk"):
        given = Given("" if row.is_void else row.gtin, row.entered_at)
        found.setdefault((row.formula_id, row.nominal_ul), []).append(given)
    return found


def _free(
    typed: str, formula: Formula, nominal_ul: int, former: ItemNumber | None = None
) -> str:
    try:
        gtin = gs1.item_number(typed, Premises.objects.get().gs1_company_prefix)
    except gs1.NotAKey as error:
        raise Refusal(str(error), field="gtin") from error
    if former is not None and former.gtin == gtin:
        raise Refusal("That is the number it has. Write the right one.", field="gtin")
    others = ItemNumber.objects.filter(gtin=gtin, is_void=False)
    for other in others.exclude(formula=formula, nominal_ul=nominal_ul):
        newer = _newer(other)
        if newer is None or _named_bottles(other, newer):
            raise Refusal(
                f"{gtin} is or was the number of {other.formula.name} in another size"
                " or product. Each has its own: allot a new one.",
                field="gtin",
            )
    return gtin


def faults() -> Iterator[str]:
    """Yield a fault where a GTIN is none, or names bottles of two products or sizes."""
    named: dict[str, tuple[int, int]] = {}
    for row in ItemNumber.objects.select_related("formula").order_by("pk"):
        if not gs1.is_item_number(row.gtin):
            yield f"{row.gtin}, the number of {row.formula.name}, is no GTIN."
        if row.is_void or not _named_bottles(row, _newer(row)):
            continue
        size = (row.formula_id, row.nominal_ul)
        if named.setdefault(row.gtin, size) != size:
            yield (
                f"{row.gtin} names bottles of {row.formula.name} and of another product"
                " or size."
            )


def _newer(number: ItemNumber) -> ItemNumber | None:
    return ItemNumber.objects.filter(supersedes=number).first()


def _named_bottles(number: ItemNumber, newer: ItemNumber | None) -> bool:
    """Say whether bottles were filled while a number stood, until there was a newer."""
    filled = FillingLot.objects.filter(
        batch__formula_version__formula=number.formula_id,
        nominal_ul=number.nominal_ul,
        entered_at__gte=number.entered_at,
    )
    if newer is not None:
        filled = filled.filter(entered_at__lt=newer.entered_at)
    return filled.exists()


def _kept(
    by: User,
    row: ItemNumber,
    act: str,
    before: dict[str, Any],
    submission: uuid.UUID | None,
) -> ItemNumber:
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=by,
        act=act,
        subject=row,
        label=row.formula.name,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: ItemNumber) -> dict[str, Any]:
    return {"nominal_ul": row.nominal_ul, "gtin": row.gtin, "is_void": row.is_void}
