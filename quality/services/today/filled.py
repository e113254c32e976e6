"""Filling lots with something left to do, and samples to look at again."""

from __future__ import annotations

import datetime

from django.db.models import Exists, OuterRef, Q

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot, RetainedSample
from batches.services.carried import TO_LEAVE
from producer.codes import grouped
from producer.quantities import format_mass
from quality.services.today.plain import (
    MAKER,
    MAKER_OR_REVIEWER,
    SOON,
    Kind,
    Row,
    local,
    of_query,
    page,
    since,
    until,
)


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

    A bottle until it is destroyed; a jar for 30 days, since no record ends it.
    """
    rows = (
        RetainedSample.objects.filter(look_on__lte=today)
        .filter(
            Q(bottle__status=BottleStatus.RETAINED)
            | Q(bottle__isnull=True, look_on__gt=today - SOON)
        )
        .select_related("bottle", "place", "filling_lot__batch__formula_version")
        .order_by("look_on", "pk")
    )

    def row(one: RetainedSample) -> Row:
        lot = one.filling_lot
        at = page("batches:filling_lot", lot.code)
        what = (
            f"bottle {grouped(one.bottle.code)}"
            if one.bottle
            else f"jar of {format_mass(one.mass_mg or 0, mark=mark)}"
        )
        product = lot.batch.formula_version.product_name
        return Row(
            name=lot.code,
            at=at,
            words=f"{product}: {what}, {one.place.name}",
            when=until(one.look_on or today, today, "due"),
            status="retest_due",
            label="look again",
            do="Look at it: clear, of one piece, no smell?",
            do_at=at,
            rights=MAKER,
        )

    return of_query("samples", "Samples to look at again", rows, row)
