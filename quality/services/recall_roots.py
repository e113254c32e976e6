"""What a recall begins with, and the batches and filling lots that this means.

A raw lot, a batch or a filling lot is itself where the walk starts. A container, a
certificate, an instrument in doubt or a time is traced through the records to those it
touched: the roots. They are found from the book as it is now, each with its reason;
what was found when a recall was opened is kept as :class:`.RecallRoot`.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
from collections import Counter
from collections.abc import Iterator
from typing import Any, Final

from django.db.models import Max, Min, Q, QuerySet

from batches.models import (
    BulkWeighing,
    Charge,
    Discrepancy,
    DiscrepancyEnd,
    FillingLot,
    Reading,
)
from batches.models.discrepancies import NOTHING_WENT_IN
from producer.errors import Refusal
from producer.models import Certificate, Container, RawLot, Stock
from quality.models import Recall
from quality.services import impact
from quality.services.impact.plain import Doubt
from quality.services.impact.reach import COUNTED_ONLY
from quality.services.impact.taken import taken

During = Recall.During


@dataclasses.dataclass(frozen=True, kw_only=True)
class Window:
    """A time, both ends with it, and what is meant of it: made, filled or both."""

    since: datetime.datetime
    until: datetime.datetime
    during: str = During.BOTH


YEARS: Final = range(2000, 2200)  # of which a clock can be shown in every zone


def why_no_time(at: datetime.datetime) -> str:
    """Return why a moment is no end of a time, or nothing."""
    if at.year in YEARS:
        return ""
    return f"Write a year from {YEARS[0]} to {YEARS[-1]}."


Beginning = Stock | FillingLot | Container | Certificate | Doubt | Window


@dataclasses.dataclass(frozen=True, kw_only=True, order=True)
class Root:
    """Where a walk starts, and why: a raw lot or batch, or a filling lot for itself.

    If it is not ``is_walked`` it is held, and what was made from it is not affected.
    """

    stock_id: int | None = None
    filling_lot_id: int | None = None
    is_walked: bool = True
    why: str = dataclasses.field(default="", compare=False)

    @property
    def key(self) -> tuple[int, int, bool]:
        """What makes two the same, whatever their reasons."""
        return (self.stock_id or 0, self.filling_lot_id or 0, self.is_walked)


def roots_from(beginning: Beginning) -> list[Root]:
    """Return the roots that something means by the book as it is now, in order."""
    return _roots(beginning)


@functools.singledispatch
def _roots(beginning: Any) -> list[Root]:
    raise TypeError(f"A recall does not begin with {beginning!r}.")


@_roots.register
def _stock(beginning: Stock) -> list[Root]:
    return [Root(stock_id=beginning.pk, why="the recall began with it")]


@_roots.register
def _filling_lot(beginning: FillingLot) -> list[Root]:
    return [Root(filling_lot_id=beginning.pk, why="the recall began with it")]


@_roots.register
def _container(beginning: Container) -> list[Root]:
    """Return the batches that were charged from a container, or may have been.

    A charge of its lot that names none may be from it. The lot is held as a whole.
    """
    lot = beginning.lot_id
    charges = Charge.objects.current().filter(source_id=lot)
    sure = _batches(charges.filter(container=beginning))
    maybe = _batches(charges.filter(container__isnull=True)) | _kept_of(lot)
    return [
        Root(stock_id=lot, is_walked=False, why="the container is of this lot"),
        *(
            Root(stock_id=pk, why=f"charged from container {beginning.code}")
            for pk in sorted(sure)
        ),
        *(
            Root(
                stock_id=pk,
                why=f"charged from {beginning.lot.stock.code}, container not recorded",
            )
            for pk in sorted(maybe - sure)
        ),
    ]


@_roots.register
def _certificate(beginning: Certificate) -> list[Root]:
    """Return what rests on a certificate, and on the same paper for other lots.

    All of a lot that was accepted on it alone, whatever other came later.
    """
    roots = []
    for one in _same_paper(beginning):
        code, named = one.lot.stock.code, f"certificate {one.called}"
        if _accepted_on_it_alone(one):
            why = f"{code} was accepted on {named} alone"
            roots.append(Root(stock_id=one.lot_id, why=why))
            continue
        why = f"{named} is of this lot; it has others"
        roots.append(Root(stock_id=one.lot_id, is_walked=False, why=why))
        reckoned = _batches(Charge.objects.current().filter(certificate=one))
        roots += [
            Root(stock_id=pk, why=f"reckoned with {named} of {code}")
            for pk in sorted(reckoned)
        ]
    return roots


@_roots.register
def _doubt(beginning: Doubt) -> list[Root]:
    """Return every lot and batch with a result in doubt.

    A container that was only counted with it says how much is left, not what it is.
    """
    name = beginning.instrument.name
    results = [one for one in taken(beginning) if one.what != COUNTED_ONLY]
    counted = Counter(one.stock_id for one in results)
    return [
        Root(
            stock_id=pk,
            why=f"{count} {'result' if count == 1 else 'results'} by {name} in doubt",
        )
        for pk, count in sorted(counted.items())
    ]


@_roots.register
def _window(beginning: Window) -> list[Root]:
    """Return what was in the making, or filled, between two minutes, both with it."""
    end = beginning.until + datetime.timedelta(minutes=1)
    made: set[int] = set()
    if beginning.during != During.FILLED:
        made = _in_the_making(beginning.since, end)
    roots = [Root(stock_id=pk, why="in the making in that time") for pk in sorted(made)]
    if beginning.during != During.MADE:
        lots = FillingLot.objects.filter(
            observed_at__gte=beginning.since, observed_at__lt=end
        ).exclude(batch_id__in=made)
        roots += [
            Root(filling_lot_id=pk, why="filled in that time")
            for pk in lots.order_by("pk").values_list("pk", flat=True)
        ]
    return roots


def _in_the_making(since: datetime.datetime, end: datetime.datetime) -> set[int]:
    """Return the batches between whose first charge and last entry a time lies."""
    rows = Charge.objects.current().order_by().values_list("batch")
    first = dict(rows.annotate(Min("observed_at")))
    last = dict(rows.annotate(Max("observed_at")))
    for model in (Reading, BulkWeighing):
        entries: QuerySet[Any] = model.objects.current().order_by()
        for pk, at in entries.values_list("batch").annotate(Max("observed_at")):
            last[pk] = max(last.get(pk, at), at)
    return {pk for pk, at in first.items() if at < end and last[pk] >= since}


def columns_of(beginning: Beginning) -> dict[str, Any]:
    """Return the columns of a recall that say what it begins with."""
    match beginning:
        case Stock():
            return {"root": beginning}
        case FillingLot():
            return {"filling_lot": beginning}
        case Container():
            return {"container": beginning}
        case Certificate():
            return {"certificate": beginning}
        case Doubt():
            return {
                "instrument": beginning.instrument,
                "failed_check": beginning.check,
            }
        case Window():
            return dataclasses.asdict(beginning)


def beginning_of(recall: Recall) -> Beginning:
    """Return what a recall began with, as the book has it now.

    Raises :class:`.Refusal` where its instrument is not in doubt any more.
    """
    given = recall.root or recall.filling_lot or recall.container or recall.certificate
    if given is not None:
        return given
    if recall.instrument is not None:
        doubt = impact.doubt_of(recall.instrument, recall.failed_check_id)
        if doubt is None:
            raise Refusal(f"{recall.instrument.name} has no failed check any more.")
        return doubt
    if recall.since is None or recall.until is None:
        raise TypeError(f"Recall {recall.code} begins with nothing.")
    return Window(since=recall.since, until=recall.until, during=recall.during)


def is_plain(beginning: Beginning) -> bool:
    """Say whether it is itself the root: nothing has to be traced to it."""
    return isinstance(beginning, Stock | FillingLot)


def in_words(beginning: Beginning) -> str:
    """Return what a recall of this would be of: “container L26-0007/2”."""
    return Recall(**columns_of(beginning)).subject


def _batches(charges: Any) -> set[int]:
    return set(charges.order_by().values_list("batch_id", flat=True))


def _kept_of(lot_id: int) -> set[int]:
    """Return the batches that an entry kept on a device says the lot went into."""
    kept = Discrepancy.objects.filter(stock_id=lot_id)
    kept = kept.exclude(
        Q(end__outcome=DiscrepancyEnd.Outcome.ENTERED)
        | Q(end__reason__startswith=NOTHING_WENT_IN)
    )
    return set(kept.order_by().values_list("batch_id", flat=True))


def _accepted_on_it_alone(certificate: Certificate) -> bool:
    """Say whether a lot had no other certificate when it was first released."""
    releases = certificate.lot.status_changes.filter(new=RawLot.Status.RELEASED)
    first = releases.order_by("pk").first()
    others = certificate.lot.certificates.exclude(pk=certificate.pk)
    if first is not None:
        others = others.filter(entered_at__lte=first.entered_at)
    return not others.exists()


def _same_paper(beginning: Certificate) -> Iterator[Certificate]:
    """Yield a certificate, and others of the same file that another lot has."""
    rows = Certificate.objects.select_related("lot__stock")
    yield rows.get(pk=beginning.pk)
    if beginning.attachment is not None:
        same = rows.filter(attachment__sha256=beginning.attachment.sha256)
        yield from same.exclude(pk=beginning.pk).order_by("pk")
