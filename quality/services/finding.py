"""From anything typed or scanned to the page it belongs to."""

from __future__ import annotations

import dataclasses

from django.db.models import Q

from batches.models import Bottle, Dispatch, FillingLot, Formula
from producer.codes import (
    CodeError,
    canonical_numbered,
    is_bottle_code,
    is_numbered_code,
    normalise,
)
from producer.models import Consignee, Material, Person, RawLot, Stock, Supplier
from quality.models import Deviation, Recall

MOST_HITS = 20


@dataclasses.dataclass(frozen=True)
class Hit:
    """Something that was found: the name of its page, its key, and words for it."""

    page: str
    key: str | int
    words: str


def by_code(text: str) -> Hit | None:
    """Return the one record that a code names, or None."""
    if is_bottle_code(text):
        code = normalise(text)
        return Hit("quality:bottle", code, code)
    try:
        code = canonical_numbered(text)
    except CodeError:
        return None
    stock = Stock.objects.filter(code=code).first()
    if stock:
        page = "producer:lot" if stock.kind == Stock.Kind.LOT else "batches:batch"
        return Hit(page, code, code)
    for page, model in (
        ("batches:filling_lot", FillingLot),
        ("batches:dispatch", Dispatch),
        ("quality:recall", Recall),
        ("quality:deviation", Deviation),
    ):
        if model._default_manager.filter(code=code).exists():
            return Hit(page, code, code)
    return None


def looks_like_code(text: str) -> bool:
    """Say whether a text is a whole code of ours, issued or not."""
    return is_bottle_code(text) or is_numbered_code(text)


def by_words(text: str) -> list[Hit]:
    """Return records whose name, code or supplier's lot contains the text."""
    text = text.strip()
    if not text:
        return []
    hits = [
        Hit(
            "producer:lot",
            lot.code,
            f"{lot.code} {lot.material}, {lot.supplier}, lot {lot.supplier_lot}",
        )
        for lot in RawLot.objects.listed().filter(
            Q(stock__code__icontains=text)
            | Q(supplier_lot__icontains=text)
            | Q(material__name__icontains=text)
            | Q(supplier__name__icontains=text)
        )[:MOST_HITS]
    ]
    hits += [
        Hit("batches:batch", stock.code, f"Batch {stock.code}")
        for stock in Stock.objects.filter(
            Q(code__icontains=text)
            | Q(batch__formula_version__formula__name__icontains=text),
            kind=Stock.Kind.BATCH,
        ).order_by("-pk")[:MOST_HITS]
    ]
    hits += [
        Hit("batches:formula", formula.pk, f"Formula {formula.name}")
        for formula in Formula.objects.filter(name__icontains=text)[:MOST_HITS]
    ]
    hits += [
        Hit("quality:deviation", one.code, f"Deviation {one.code}: {one.what[:80]}")
        for one in Deviation.objects.filter(
            Q(code__icontains=text) | Q(what__icontains=text)
        )[:MOST_HITS]
    ]
    return hits + _in_registers(text) + _bottles(text)


def _in_registers(text: str) -> list[Hit]:
    hits = [
        Hit(f"producer:register_entry {kind}", row.pk, f"{row} ({kind})")
        for kind, model in (
            ("suppliers", Supplier),
            ("consignees", Consignee),
            ("materials", Material),
        )
        for row in model._default_manager.filter(name__icontains=text)[:MOST_HITS]
    ]
    hits += [
        Hit("producer:people", "", f"{person.name} (people)")
        for person in Person.objects.filter(name__icontains=text)[:MOST_HITS]
    ]
    return hits


def _bottles(text: str) -> list[Hit]:
    code = normalise(text)
    if len(code) < 4:  # noqa: PLR2004 - fewer characters would match half the store
        return []
    return [
        Hit("quality:bottle", bottle.code, f"Bottle {bottle.code}")
        for bottle in Bottle.objects.filter(code__startswith=code)[:MOST_HITS]
    ]
