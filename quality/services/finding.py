"""From anything typed or scanned to the page it belongs to."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from typing import TypeVar

from django.db.models import F, Model, Q, QuerySet, Value
from django.db.models.functions import Replace

from batches.models import (
    Batch,
    Bottle,
    Dispatch,
    FillingLot,
    Formula,
    PatchTest,
    Portion,
    SprayMix,
)
from producer.codes import (
    CodeError,
    canonical_numbered,
    code_within,
    grouped,
    is_bottle_code,
    is_mistyped,
    is_numbered_code,
    normalise,
)
from producer.models import (
    Certificate,
    Consignee,
    Container,
    Instrument,
    Material,
    Person,
    RawLot,
    Stock,
    Supplier,
    Vessel,
)
from quality.models import Complaint, ComplaintAccount, Deviation, Recall

MOST_HITS = 10  # of a kind
LONGEST = 120  # characters that are looked for
SHORTEST_OF_A_BOTTLE = 4  # fewer characters would match half the store
Row = TypeVar("Row", bound=Model)
# What people leave out, or put elsewhere, in the numbers of papers and lots.
_BETWEEN = re.compile(r"[\s\-\u2010-\u2015\u2212]+")
_CONTAINER = re.compile(
    r"(.+?)(?:/\s*|,?\s+(?:bottle\s+)?no\.?\s*)([1-9][0-9]{0,4})", re.IGNORECASE
)
# What stands around a code in a sentence, and what is copied along unseen.
_AROUND = " \t\r\n.,;:!?()[]<>{}\"'“”‘’„«»…\u00ad\u200b\u200c\u200d\u2060\ufeff"


@dataclasses.dataclass(frozen=True)
class Hit:
    """Something that was found: its page, what the address is made of, words for it."""

    page: str
    keys: tuple[str | int, ...]
    words: str


@dataclasses.dataclass(frozen=True)
class Group:
    """What was found of one kind; ``more`` says that not all of it is shown."""

    heading: str
    hits: list[Hit]
    more: bool = False


def by_code(text: str) -> Hit | None:
    """Return the one record that a code names, or None.

    The code may stand in a sentence, if it is the only one there.
    """
    hit = _named_by(text.strip(_AROUND))
    if hit or looks_like_code(text):
        return hit
    found = {hit for word in _words(text) if (hit := _named_by(word))}
    return found.pop() if len(found) == 1 else None


def _words(text: str) -> set[str]:
    """Return the words of a text that are codes for sure: a long word may look so."""
    words = {code_within(word.strip(_AROUND)) for word in text[:LONGEST].split()}
    return {
        word
        for word in words
        if is_numbered_code(word) or (is_bottle_code(word) and not word.isalpha())
    }


def _named_by(text: str) -> Hit | None:
    text = code_within(text)
    if is_bottle_code(text):
        code = normalise(text)
        return Hit("quality:bottle", (code,), code)
    part = _CONTAINER.fullmatch(text)
    if part:
        number = int(part[2])
        return (
            _container(part[1], number)
            or _portion(part[1], number)
            or _numbered_bottle(part[1], number)
        )
    try:
        code = canonical_numbered(text)
    except CodeError:
        return None
    stock = Stock.objects.filter(code=code).first()
    if stock:
        page = "producer:lot" if stock.kind == Stock.Kind.LOT else "batches:batch"
        return Hit(page, (code,), code)
    for page, model in (
        ("batches:filling_lot", FillingLot),
        ("batches:dispatch", Dispatch),
        ("quality:recall", Recall),
        ("quality:deviation", Deviation),
        ("quality:complaint", Complaint),
        ("quality:mix", SprayMix),
    ):
        if model._default_manager.filter(code=code).exists():
            return Hit(page, (code,), code)
    tried = PatchTest.objects.filter(code=code).select_related("source").first()
    return Hit("batches:batch", (tried.source.code,), code) if tried else None


def _numbered_bottle(lot: str, number: int) -> Hit | None:
    """Return the bottle that a filling lot and a number name, as its label does."""
    try:
        code = canonical_numbered(lot)
    except CodeError:
        return None
    row = Bottle.objects.filter(filling_lot__code=code, number=number).first()
    return Hit("quality:bottle", (row.code,), f"{code}/{number}") if row else None


def _container(lot: str, number: int) -> Hit | None:
    try:
        code = canonical_numbered(lot)
    except CodeError:
        return None
    known = Container.objects.filter(lot__stock__code=code, number=number)
    return Hit("producer:lot", (code,), f"{code}/{number}") if known.exists() else None


def _portion(batch: str, number: int) -> Hit | None:
    try:
        code = canonical_numbered(batch)
    except CodeError:
        return None
    known = Portion.objects.filter(batch__stock__code=code, number=number)
    return Hit("batches:batch", (code,), f"{code}/{number}") if known.exists() else None


def looks_like_code(text: str) -> bool:
    """Say whether a text is a whole code of ours, issued or not."""
    text = code_within(text.strip(_AROUND))
    container = _CONTAINER.fullmatch(text)
    bare = container[1] if container else text
    return is_bottle_code(bare) or is_numbered_code(bare)


def looks_mistyped(text: str) -> bool:
    """Say whether a text would be a code of ours, but for a wrong character in it."""
    text = code_within(text.strip(_AROUND))
    container = _CONTAINER.fullmatch(text)
    return is_mistyped(container[1] if container else text)


def by_words(text: str) -> list[Group]:
    """Return by kind what contains the text: names, codes, numbers of papers and lots.

    At most ten of a kind, newest first where there is an order in time. A fixed number
    of queries.
    """
    text = code_within(text)[:LONGEST].strip()
    if not text:
        return []
    return [group for group in _groups(text) if group.hits]


def _groups(text: str) -> Iterator[Group]:
    yield _group("Raw lots", _lots(text), _lot_hit)
    yield _group("Certificates", _certificates(text), _certificate_hit)
    yield _group("Batches", _batches(text), _batch_hit)
    yield _group("Filling lots", _fillings(text), _filling_hit)
    yield _group("Bottles", _bottles(text), _bottle_hit)
    yield _group("Dispatches", _dispatches(text), _dispatch_hit)
    deviations = Deviation.objects.filter(
        Q(code__icontains=text) | Q(what__icontains=text)
    )
    yield _group("Deviations", deviations.order_by("-pk"), _deviation_hit)
    told = ComplaintAccount.objects.current().filter(
        Q(complaint__code__icontains=text) | Q(words__icontains=text)
    )
    told = told.select_related("complaint").order_by("-complaint_id")
    yield _group("Complaints", told, _complaint_hit)
    recalls = Recall.objects.filter(Q(code__icontains=text) | Q(reason__icontains=text))
    yield _group("Recalls", recalls.order_by("-pk"), _recall_hit)
    for heading, model, page in (
        ("Formulas", Formula, "batches:formula"),
        ("Materials", Material, "quality:material_limits"),
        ("Suppliers", Supplier, "quality:supplier"),
        ("Consignees", Consignee, "quality:consignee"),
    ):
        rows = model._default_manager.filter(name__icontains=text)
        yield _group(heading, rows, _named(page))
    instruments = Instrument.objects.alias(bare=_bare("serial_or_lot")).filter(
        Q(name__icontains=text) | _found_in("serial_or_lot", text)
    )
    yield _group(
        "Instruments, strips and buffers", instruments, _named("quality:instrument")
    )
    vessels = Vessel.objects.filter(name__icontains=text)
    yield _group("Vessels", vessels, _listed("producer:register", "vessels"))
    people = Person.objects.filter(name__icontains=text)
    yield _group("People", people, _listed("producer:people"))


def _bare(field: str) -> Replace:
    """Return a column without its blanks and dashes."""
    return Replace(Replace(F(field), Value(" "), Value("")), Value("-"), Value(""))


def _found_in(field: str, text: str) -> Q:
    """Return where a number holds the text, whatever blanks and dashes either has.

    The column must be there as ``bare``, see :func:`_bare`.
    """
    held = Q(**{f"{field}__icontains": text})
    bare = _BETWEEN.sub("", text)
    return held | Q(bare__icontains=bare) if bare else held


def _group(heading: str, rows: QuerySet[Row], hit_of: Callable[[Row], Hit]) -> Group:
    found = list(rows[: MOST_HITS + 1])
    return Group(
        heading,
        [hit_of(row) for row in found[:MOST_HITS]],
        more=len(found) > MOST_HITS,
    )


def _lots(text: str) -> QuerySet[RawLot]:
    rows = RawLot.objects.listed().alias(bare=_bare("supplier_lot"))
    return rows.filter(
        Q(stock__code__icontains=text)
        | _found_in("supplier_lot", text)
        | Q(material__name__icontains=text)
        | Q(supplier__name__icontains=text)
    )


def _lot_hit(lot: RawLot) -> Hit:
    words = f"{lot.code} {lot.material}, {lot.supplier}, lot {lot.supplier_lot}"
    return Hit("producer:lot", (lot.code,), words)


def _certificates(text: str) -> QuerySet[Certificate]:
    rows = Certificate.objects.alias(bare=_bare("reference"))
    rows = rows.filter(_found_in("reference", text))
    return rows.select_related("lot__stock", "lot__material").order_by("-pk")


def _certificate_hit(paper: Certificate) -> Hit:
    words = f"{paper.reference}, version {paper.version}: {paper.lot.code}"
    return Hit("producer:lot", (paper.lot.code,), f"{words} {paper.lot.material}")


def _batches(text: str) -> QuerySet[Batch]:
    return Batch.objects.listed().filter(
        Q(stock__code__icontains=text)
        | Q(formula_version__formula__name__icontains=text)
    )


def _batch_hit(batch: Batch) -> Hit:
    words = (
        f"{batch.number} {batch.formula_version.formula.name},"
        f" {batch.get_status_display()}"
    )
    return Hit("batches:batch", (batch.number,), words)


def _fillings(text: str) -> QuerySet[FillingLot]:
    rows = FillingLot.objects.filter(code__icontains=text)
    return rows.select_related("batch__formula_version__formula")


def _filling_hit(lot: FillingLot) -> Hit:
    words = (
        f"{lot.code} {lot.count} bottles of {lot.batch.formula_version.product_name}"
    )
    return Hit("batches:filling_lot", (lot.code,), words)


def _bottles(text: str) -> QuerySet[Bottle]:
    code = normalise(text)
    if len(code) < SHORTEST_OF_A_BOTTLE:
        return Bottle.objects.none()
    return Bottle.objects.filter(code__startswith=code).order_by("code")


def _bottle_hit(bottle: Bottle) -> Hit:
    return Hit("quality:bottle", (bottle.code,), grouped(bottle.code))


def _dispatches(text: str) -> QuerySet[Dispatch]:
    rows = Dispatch.objects.filter(
        Q(code__icontains=text) | Q(consignee__name__icontains=text)
    )
    return rows.select_related("consignee", "taken_back")


def _dispatch_hit(dispatch: Dispatch) -> Hit:
    back = " (taken back: never sent)" if hasattr(dispatch, "taken_back") else ""
    words = f"{dispatch.code} to {dispatch.consignee}{back}"
    return Hit("batches:dispatch", (dispatch.code,), words)


def _deviation_hit(deviation: Deviation) -> Hit:
    words = f"{deviation.code}: {deviation.what[:80]}"
    return Hit("quality:deviation", (deviation.code,), words)


def _complaint_hit(told: ComplaintAccount) -> Hit:
    code = told.complaint.code
    words = f"{code}, {told.get_nature_display()}: {told.words[:80]}"
    return Hit("quality:complaint", (code,), words)


def _recall_hit(recall: Recall) -> Hit:
    mock = " MOCK" if recall.is_mock else ""
    words = f"{recall.code}{mock}, {recall.get_status_display()}: {recall.reason[:80]}"
    return Hit("quality:recall", (recall.code,), words)


def _named(page: str) -> Callable[[Model], Hit]:
    """Return how an entry of a register with a page of its own is shown."""
    return lambda row: Hit(page, (row.pk,), str(row))


def _listed(page: str, *keys: str) -> Callable[[Model], Hit]:
    """Return how an entry is shown that everybody may read in a list only."""
    return lambda row: Hit(page, keys, str(row))
