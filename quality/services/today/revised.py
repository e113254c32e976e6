"""Certificates revised after batches were signed on them, not decided about yet."""

from __future__ import annotations

import dataclasses
import datetime

from django.db.models import Count, Max, OuterRef, Q, Subquery

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, BatchStatusChange, Bottle
from producer.models import RawLot
from quality.models import SignatureMark
from quality.services import marks
from quality.services.revising import why_held
from quality.services.today.plain import (
    REVIEWER,
    Kind,
    Row,
    local,
    of_list,
    page,
    since,
)


@dataclasses.dataclass(kw_only=True)
class Revised:
    """A lot whose certificate was revised, and what of it waits for a reviewer.

    ``waiting`` are the batches on hold that nobody has signed since, ``held`` those of
    them that it put on hold: ids of both.
    """

    lot: RawLot
    at: datetime.datetime
    signed: set[int]
    waiting: set[int]
    held: set[int]
    bottles_out: int = 0
    bottles_held: int = 0


def undecided() -> list[Revised]:
    """Return the lots with a revised certificate about which nobody has decided.

    Somebody has when every batch with it in it that is on hold was signed again after
    it. Most bottles out first. A fixed number of queries.
    """
    rows = (
        SignatureMark.objects.filter(kind=SignatureMark.Kind.BASIS_REVISED)
        .select_related(
            "signature",
            "certificate__lot__stock",
            "certificate__lot__material",
            "certificate__lot__supplier",
        )
        .order_by("pk")
    )
    found: dict[int, Revised] = {}
    for mark in rows:
        if mark.certificate is None:  # never, by a constraint of the table
            continue
        lot = mark.certificate.lot
        one = found.setdefault(
            lot.pk,
            Revised(
                lot=lot, at=mark.entered_at, signed=set(), waiting=set(), held=set()
            ),
        )
        one.at = mark.entered_at
        one.signed.add(mark.signature.batch_id)
    _look_below(list(found.values()))
    left = [one for one in found.values() if one.waiting]
    return sorted(left, key=lambda one: (-one.bottles_out, one.lot.pk))


def _look_below(found: list[Revised]) -> None:
    """See which batches are on hold, at any depth, and count the bottles."""
    went_into = trace.downstream_of_each(
        sorted({pk for one in found for pk in one.signed})
    )
    ids = {pk for reached in went_into.values() for pk in reached}
    bottles = {
        row["filling_lot__batch_id"]: (row["out"], row["held"])
        for row in Bottle.objects.filter(filling_lot__batch_id__in=ids)
        .order_by()
        .values("filling_lot__batch_id")
        .annotate(
            out=Count("pk", filter=Q(status=BottleStatus.DISPATCHED)),
            held=Count("pk", filter=Q(status=BottleStatus.ON_HOLD)),
        )
    }
    last_hold = BatchStatusChange.objects.filter(
        batch=OuterRef("pk"), new=BatchStatus.ON_HOLD
    ).order_by("-pk")
    on_hold = {
        pk: (why or "", signed_at)
        for pk, why, signed_at in Batch.objects.filter(
            pk__in=ids, status=BatchStatus.ON_HOLD
        )
        .annotate(
            why=Subquery(last_hold.values("reason")[:1]),
            signed_at=Max(
                "signatures__entered_at",
                filter=Q(signatures__meaning__in=marks.JUDGING),
            ),
        )
        .values_list("pk", "why", "signed_at")
    }
    for one in found:
        reached = set().union(*(went_into.get(pk, set()) for pk in one.signed))
        counts = [bottles[pk] for pk in reached if pk in bottles]
        one.bottles_out = sum(out for out, _ in counts)
        one.bottles_held = sum(held for _, held in counts)
        for pk in reached & on_hold.keys():
            why, signed_at = on_hold[pk]
            if signed_at is None or signed_at <= one.at:
                one.waiting.add(pk)
                if why.startswith(why_held(one.lot.code)):
                    one.held.add(pk)


def certificates(today: datetime.date, found: list[Revised]) -> Kind:
    """Return one row for each lot, with all that it put on hold."""

    def row(one: Revised) -> Row:
        at = page("quality:revision", one.lot.code)
        counts = [
            f"{_many(one.bottles_out, 'bottle')} {_are(one.bottles_out)} out",
            f"{one.bottles_held} on hold",
            f"{_many(len(one.waiting), 'batch', 'batches')} on hold",
        ]
        return Row(
            name=one.lot.code,
            at=at,
            words=f"{one.lot.material.name}: {', '.join(counts)}",
            when=f"revised {since(local(one.at), today)}",
            status="fail" if one.bottles_out else "on_hold",
            label="bottles are out" if one.bottles_out else "on hold",
            do="See what it changes, and decide",
            do_at=at,
            rights=REVIEWER,
        )

    return of_list("revised", "A certificate was revised after the release", found, row)


def _many(count: int, one: str, several: str = "") -> str:
    return f"{count} {one if count == 1 else several or one + 's'}"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
