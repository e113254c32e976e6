"""From an act to the page of the record it was on, and from a code to its acts.

Records of higher apps are known here by the names of their models and pages only, as
the journal itself knows them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from django.apps import apps
from django.db import models
from django.db.models.functions import Cast
from django.urls import reverse

from producer import moved
from producer.models import JournalEntry, Stock

LABEL, ID = "subject_label", "subject_id"


class Part(NamedTuple):
    """Records whose acts are on another one too.

    Found in the table of the model ``within``, by the column ``owner``; ``key`` is the
    column with the id that the journal knows them by. ``only`` narrows it further.
    """

    kind: str
    within: str
    key: str
    owner: str
    only: Mapping[str, Any] = {}


class Through(NamedTuple):
    """A page of another record, which a column of the subject names."""

    column: str
    page: str


# Kind of record → the page that shows it, and what its address is made of.
PAGES: Mapping[str, tuple[str, str]] = {
    "rawlot": ("producer:lot", LABEL),
    "batch": ("batches:batch", LABEL),
    "fillinglot": ("batches:filling_lot", LABEL),
    "fillcheck": ("batches:filling_lot", LABEL),
    "bottle": ("quality:bottle", LABEL),
    "bottlediscrepancy": ("quality:bottle", LABEL),
    "bottlediscrepancyend": ("quality:bottle", LABEL),
    "labelissue": ("batches:filling_lot", LABEL),
    "labelcount": ("batches:filling_lot", LABEL),
    "samplelook": ("batches:filling_lot", LABEL),
    "dispatch": ("batches:dispatch", LABEL),
    "recall": ("quality:recall", LABEL),
    "deviation": ("quality:deviation", LABEL),
    "complaint": ("quality:complaint", LABEL),
    "selfinspection": ("quality:inspection", ID),
    "spraymix": ("quality:mix", LABEL),
    "user": ("producer:account", ID),
    "instrument": ("quality:instrument", ID),
    "material": ("quality:material_limits", ID),
    "supplier": ("quality:supplier", ID),
    "consignee": ("quality:consignee", ID),
    "stocktake": ("producer:stock_take", ID),
}
# Registers that everybody may read as a list.
LISTS = {"vessel": "vessels", "place": "places"}
# Notes that stand on one page all together.
SHARED = {
    "safetynote": "producer:safety",
    "rulescheck": "producer:rules",
    "patchtest": "quality:sprays",
    "sheetformat": "batches:label_formats",
}
# Kinds whose page is that of what they belong to: one query for each kind on a page.
OWNERS: Mapping[str, tuple[Through, ...]] = {
    "formulaversion": (Through("formula_id", "batches:formula"),),
    "labelversion": (Through("formula_id", "batches:label_texts"),),
    "classification": (Through("formula_id", "batches:label_texts"),),
    "itemnumber": (Through("formula_id", "batches:item_numbers"),),
    "limit": (
        Through("formula_version_id", "quality:limits"),
        Through("material_id", "quality:material_limits"),
    ),
    "instrumentcheck": (Through("instrument_id", "quality:instrument"),),
}
# Records with a code of their own, and those whose acts are on them too.
CODED = ("fillinglot", "bottle", "dispatch", "recall", "deviation", "complaint")
# A mock recall moves nothing.
RECALLS = Part(
    "recall", "recallitem", "recall_id", "stock_id", {"recall__is_mock": False}
)


def _complaints(*owners: str) -> tuple[Part, ...]:
    """Return complaints as parts of what their account names, by any of these ways."""
    return tuple(
        Part("complaint", "complaintaccount", "complaint_id", owner) for owner in owners
    )


PARTS: Mapping[str, tuple[Part, ...]] = {
    "bottle": _complaints("bottle_id"),
    "fillinglot": (
        *_complaints("filling_lot_id", "bottle__filling_lot_id"),
        Part("fillcheck", "fillcheck", "pk", "filling_lot_id"),
        Part("labelissue", "labelissue", "pk", "filling_lot_id"),
        Part("labelcount", "labelcount", "pk", "filling_lot_id"),
        Part("samplelook", "samplelook", "pk", "sample__filling_lot_id"),
        Part("bottle", "bottle", "pk", "filling_lot_id"),
        Part("dispatch", "bottleevent", "dispatch_id", "bottle__filling_lot_id"),
    ),
    "batch": (
        *_complaints(
            "batch_id", "filling_lot__batch_id", "bottle__filling_lot__batch_id"
        ),
        Part("fillinglot", "fillinglot", "pk", "batch_id"),
        Part("fillcheck", "fillcheck", "pk", "filling_lot__batch_id"),
        Part("samplelook", "samplelook", "pk", "sample__filling_lot__batch_id"),
        Part("bottle", "bottle", "pk", "filling_lot__batch_id"),
        Part("spraymix", "spraymix", "pk", "source_id"),
        Part("dispatch", "bottleevent", "dispatch_id", "bottle__filling_lot__batch_id"),
        RECALLS,
    ),
    "rawlot": (RECALLS, Part("stocktake", "stockcount", "take_id", "stock_id")),
}


def model_of(kind: str) -> type[models.Model] | None:
    """Return the model of a kind of record, or None if there is no such kind now."""
    for model in apps.get_models():
        if model._meta.model_name == kind:
            return model
    return None


def addresses(entries: Iterable[JournalEntry]) -> dict[int, str]:
    """Return, by row of the journal, the address of the page of its record.

    Rows whose record has no page are left out. At most one query a kind.
    """
    entries = list(entries)
    found = {}
    for entry in entries:
        if entry.subject_kind in PAGES:
            page, part = PAGES[entry.subject_kind]
            found[entry.sequence] = reverse(page, args=[getattr(entry, part)])
        elif entry.subject_kind in SHARED:
            found[entry.sequence] = reverse(SHARED[entry.subject_kind])
        elif entry.subject_kind in LISTS:
            args = [LISTS[entry.subject_kind]]
            found[entry.sequence] = reverse("producer:register", args=args)
    for kind, ways in OWNERS.items():
        rows = [entry for entry in entries if entry.subject_kind == kind]
        if rows:
            found |= _of_owners(kind, ways, rows)
    return found


def _of_owners(
    kind: str, ways: tuple[Through, ...], entries: list[JournalEntry]
) -> dict[int, str]:
    model = model_of(kind)
    if model is None:
        return {}
    columns = [way.column for way in ways]
    keys = {int(entry.subject_id) for entry in entries}
    known = model._default_manager.filter(pk__in=keys).values_list("pk", *columns)
    pages = {
        str(pk): reverse(way.page, args=[value])
        for pk, *values in known
        for way, value in zip(ways, values, strict=True)
        if value is not None
    }
    return {
        entry.sequence: pages[entry.subject_id]
        for entry in entries
        if entry.subject_id in pages
    }


def acts_on(text: str) -> models.Q:
    """Return the condition that an act was on the record with this code or name.

    A code leads to its record and a name as it was written to an index; a name
    written otherwise is compared with that of every row.
    """
    code = text.upper()
    stock = Stock.objects.filter(code=code).first()
    if stock:
        kind = "batch" if stock.kind == Stock.Kind.BATCH else "rawlot"
        return _on(kind, stock.pk)
    for kind in CODED:
        model = model_of(kind)
        found = model._default_manager.filter(code=code).first() if model else None
        if found:
            return _on(kind, found.pk)
    exact = models.Q(subject_label=text)
    if JournalEntry.objects.filter(exact).exists():
        return exact
    return models.Q(subject_label__iexact=text)


def _on(kind: str, key: Any) -> models.Q:
    """Return the condition for a record: on it, on parts of it, or acts that moved it.

    The rows of the journal are looked up one kind after the other, so that each way
    has its index: at most one query a kind of part.
    """
    numbers = set(moved.sequences(kind, [key]))
    for part in PARTS.get(kind, ()):
        model = model_of(part.within)
        if model:
            numbers.update(_on_part(part, model, key))
    own = models.Q(subject_kind=kind, subject_id=str(key))
    return own | models.Q(sequence__in=sorted(numbers))


def _on_part(part: Part, model: type[models.Model], key: Any) -> Iterable[int]:
    rows = model._default_manager.order_by().filter(
        **{part.owner: key, f"{part.key}__isnull": False, **part.only}
    )
    known = rows.annotate(_key=Cast(part.key, models.CharField(max_length=40)))
    return JournalEntry.objects.filter(
        subject_kind=part.kind, subject_id__in=known.values("_key").distinct()
    ).values_list("sequence", flat=True)
