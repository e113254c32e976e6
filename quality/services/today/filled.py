"""Filling lots with something left to do, and samples to look at again."""

from __future__ import annotations

import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot, RetainedSample, SampleLook
from batches.services.carried import TO_LEAVE
from producer.codes import grouped
from producer.quantities import format_mass
from quality.services.sample_changes import not_taken_up
from quality.services.today.plain import (
    MAKER_OR_REVIEWER,
    Kind,
    Row,
    local,
    of_query,
    page,
    since,
    until,
)

SHORT = 120  # characters of a text that is told elsewhere in full


def unreleased(today: datetime.date) -> Kind:
    """Return the filling lots with bottles here that may not leave yet."""
    here = Bottle.objects.filter(filling_lot=OuterRef("pk"), status__in=TO_LEAVE)
    lots = (
        FillingLot.objects.filter(
            Exists(here), balance__isnull=False, release__isnull=True
        )
        .select_related("batch__formula_version")
        .order_by("pk")
    )

    def row(one: FillingLot) -> Row:
        at = page("batches:filling_lot", one.code)
        return Row(
            name=one.code,
            at=at,
            words=f"{one.batch.formula_version.product_name}, {one.count} bottles",
            when=f"filled {since(local(one.observed_at), today)}",
            status="held",
            label="not released",
            do="See what is still to do",
            do_at=at,
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "fillings",
        "Filling lots to finish",
        lots,
        row,
        all_at=page("batches:bottles"),
    )


def samples(today: datetime.date, *, mark: str = ".") -> Kind:
    """Return the samples whose day to be looked at has come.

    Until somebody records that they did; a bottle also until it is kept no longer.
    """
    rows = (
        RetainedSample.objects.due(today)
        .filter(Q(bottle__status=BottleStatus.RETAINED) | Q(bottle__isnull=True))
        .select_related("bottle", "place", "filling_lot__batch__formula_version")
    )

    def row(one: Any) -> Row:  # a sample, annotated with next_look
        lot = one.filling_lot
        product = lot.batch.formula_version.product_name
        return Row(
            name=lot.code,
            at=page("batches:filling_lot", lot.code),
            words=f"{product}: {_what(one, mark)}, {one.place.name}",
            when=until(one.next_look, today, "due"),
            status="retest_due",
            label="look again",
            do="Look at it: clear, of one piece, no smell?",
            do_at=page("batches:sample_look", lot.code, one.pk),
            rights=MAKER_OR_REVIEWER,
        )

    return of_query("samples", "Samples to look at again", rows, row)


def changed(today: datetime.date, *, mark: str = ".") -> Kind:
    """Return the looks that found a sample changed, and that nobody has taken up."""

    def row(one: SampleLook) -> Row:
        lot = one.sample.filling_lot
        return Row(
            name=lot.code,
            at=page("batches:filling_lot", lot.code),
            words=f"{_what(one.sample, mark)}: {one.found[:SHORT]}",
            when=f"seen {since(local(one.observed_at), today)}",
            status="changed",
            do="Open a deviation of its batch",
            do_at=page("quality:deviation_open", lot.batch.number),
            rights=MAKER_OR_REVIEWER,
        )

    rows = not_taken_up().select_related("sample__filling_lot__batch__stock")
    return of_query("changed", "Samples that changed", rows, row)


def _what(sample: RetainedSample, mark: str) -> str:
    if sample.bottle:
        return f"bottle {grouped(sample.bottle.code)}"
    return f"jar of {format_mass(sample.mass_mg or 0, mark=mark)}"
