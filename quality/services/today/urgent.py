"""What can hurt, or lets something wrong pass."""

from __future__ import annotations

import datetime
from collections import defaultdict

from django.db.models import Max, Q
from django.utils import timezone

from batches.excursions import Excursion, Point, excursions
from batches.lifecycle import BatchStatus
from batches.models import Batch, Discrepancy, Reading
from batches.services.discrepancies import open_discrepancies, said
from producer.quantities import format_number
from quality.models import Deviation, InstrumentCheck, Recall
from quality.services import deviations as deviating
from quality.services import impact
from quality.services.recall_revising import overtaken_among
from quality.services.today.plain import (
    MAKER,
    MAKER_OR_REVIEWER,
    REVIEWER,
    Kind,
    Row,
    ago,
    local,
    of_list,
    of_query,
    page,
    since,
)

DAYS_LOOKED_BACK = 366
SHORT = 120  # characters of a text that is told elsewhere in full


def recalls(today: datetime.date) -> Kind:
    """Recalls that are not closed, the real ones before mock ones."""

    def row(one: Recall) -> Row:
        mock = "MOCK recall of" if one.is_mock else "of"
        at = page("quality:recall", one.code)
        return Row(
            name=one.code,
            at=at,
            words=f"{mock} {one.subject}: {one.reason[:SHORT]}",
            when=f"open {since(local(one.opened_at), today)}",
            status=one.status,
            label=one.get_status_display(),
            do=_next_of(one),
            do_at=at,
            rights=REVIEWER,
        )

    found = Recall.objects.with_beginning().exclude(status=Recall.Status.CLOSED)
    return of_query(
        "recall",
        "Open recalls",
        found.order_by("is_mock", "hazard_class", "pk"),
        row,
        all_at=page("quality:recalls"),
    )


def _next_of(recall: Recall) -> str:
    if recall.status != Recall.Status.OPEN:
        return "Close it"
    return "Go through it" if recall.is_mock else "Tell the holders"


def overtaken(today: datetime.date) -> Kind:
    """Recalls that a corrected book has overtaken: to be looked at again, or anew.

    Open ones, and real ones that were closed within a year.
    """
    lately = timezone.now() - datetime.timedelta(days=DAYS_LOOKED_BACK)
    rows = Recall.objects.with_beginning().filter(
        Q(closed_at=None) | Q(closed_at__gte=lately, is_mock=False)
    )

    def row(one: Recall) -> Row:
        at = page("quality:recall", one.code)
        is_closed = one.closed_at is not None
        return Row(
            name=one.code,
            at=at,
            words=f"of {one.subject}: the book was corrected since, and"
            f" {'more' if is_closed else 'more, or less,'} is affected",
            when=f"opened {since(local(one.opened_at), today)}",
            status=one.status,
            label=one.get_status_display(),
            do="Open another one" if is_closed else "Look at it again",
            do_at=at,
            rights=REVIEWER,
        )

    found = overtaken_among(list(rows.order_by("pk")))
    return of_list("overtaken", "Recalls and a corrected book", found, row)


def too_hot(today: datetime.date, *, now: datetime.datetime, mark: str) -> Kind:
    """Pots whose last reading lies above the limit of their formula."""
    points: dict[int, list[Point]] = defaultdict(list)
    pots: dict[int, Batch] = {}
    temperatures = (
        Reading.objects.current()
        .filter(
            characteristic=Reading.Characteristic.TEMPERATURE,
            value__isnull=False,
            batch__status=BatchStatus.IN_PROCESS,
        )
        .select_related("batch__stock", "batch__formula_version__formula")
        .order_by("observed_at", "pk")
    )
    for reading in temperatures:
        if reading.value is not None:
            pots[reading.batch_id] = reading.batch
            point = Point(at=reading.observed_at, celsius=reading.value)
            points[reading.batch_id].append(point)
    hot = []
    for key, batch in pots.items():
        found = excursions(points[key], batch.formula_version.temperature_limit)
        if found and found[-1].end is None:
            hot.append((batch, found[-1], points[key][-1]))

    def row(one: tuple[Batch, Excursion, Point]) -> Row:
        batch, above, last = one
        shown, limit, peak = (
            format_number(value, mark=mark, places=1)
            for value in (last.celsius, above.limit, above.peak)
        )
        at = page("batches:pot", batch.number)
        return Row(
            name=batch.number,
            at=page("batches:batch", batch.number),
            words=(
                f"{batch.formula_version.formula.name}: {shown} °C, the limit is"
                f" {limit} °C; {peak} °C at its hottest. Take it off the heat."
            ),
            when=(
                f"above it {'' if above.start_seen else 'at its first reading, '}"
                f"{ago(above.start, now)}; last read {ago(last.at, now)}"
            ),
            status="fail",
            label="too hot",
            do="Go to the pot",
            do_at=at,
            rights=MAKER,
        )

    hot.sort(key=lambda one: one[1].limit - one[2].celsius)
    return of_list("hot", "A pot above its limit", hot, row)


def discrepancies(today: datetime.date) -> Kind:
    """Entries made without network that do not fit the book."""

    def row(one: Discrepancy) -> Row:
        return Row(
            name=one.batch.number,
            at=page("batches:batch", one.batch.number),
            words=said(one),
            when=f"open {since(local(one.entered_at), today)}",
            status="open",
            do="Settle it",
            do_at=page("batches:discrepancy", one.batch.number, one.pk),
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "discrepancy",
        "Entries that do not fit the book",
        open_discrepancies().order_by("pk"),
        row,
    )


def failed_instruments(today: datetime.date) -> Kind:
    """Failed checks into which nobody has looked and that no deviation tells of.

    An open one does that was opened, or noted in, after the check: one that was open
    before is of another fault until somebody writes this one into it.
    """
    told: dict[int, datetime.datetime] = {}
    for key, opened, noted in (
        deviating.found("", "open")
        .filter(instrument__isnull=False)
        .order_by()
        .annotate(noted=Max("steps__entered_at"))
        .values_list("instrument_id", "entered_at", "noted")
    ):
        told[key] = max(noted or opened, told.get(key, opened))

    def row(one: InstrumentCheck) -> Row:
        key = one.instrument_id
        return Row(
            name=one.instrument.name,
            at=page("quality:instrument_impact", key, query={"check": one.pk}),
            words="What it showed since its last good check is in doubt.",
            when=f"failed {since(local(one.observed_at), today)}",
            status="fail",
            label="failed",
            do="Open a deviation",
            do_at=page("quality:deviation_open_instrument", key),
            rights=MAKER_OR_REVIEWER,
        )

    return of_list(
        "failed",
        "Failed instruments: what depends on them is not looked into",
        [
            one
            for one in impact.not_looked_into()
            if one.instrument_id not in told or told[one.instrument_id] < one.entered_at
        ],
        row,
        all_at=page("producer:register", "instruments"),
    )


def deviations(today: datetime.date) -> Kind:
    """Open deviations, the oldest first."""

    def row(one: Deviation) -> Row:
        at = page("quality:deviation", one.code)
        return Row(
            name=one.code,
            at=at,
            words=f"{deviating.name_of(one)}: {one.what[:SHORT]}",
            when=f"open {since(local(one.observed_at), today)}",
            status="open",
            label=one.get_classification_display(),
            do="Look into it",
            do_at=at,
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "deviation",
        "Open deviations",
        deviating.found("", "open").order_by("pk"),
        row,
        all_at=page("quality:deviations", query={"status": "open"}),
    )
