"""Batches and bottles: on the stove, and waiting for somebody."""

from __future__ import annotations

import datetime
from collections.abc import Collection

from django.db.models import Count, Max, Prefetch, Q, QuerySet

from batches.lifecycle import BatchStatus
from batches.models import Batch, Charge, FillingLot, WeighingStart
from batches.services.half_weighings import all_open_starts, words_of
from batches.services.sources import why_not
from producer.models import Material
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


def incomplete(today: datetime.date) -> Kind:
    """Weighings of which only the first half is stored."""

    def row(one: WeighingStart) -> Row:
        return Row(
            name=one.batch.number,
            at=page("batches:batch", one.batch.number),
            words=f"Begun and not finished: {words_of(one)}",
            when=f"begun {since(local(one.observed_at), today)}",
            status="retest_due",
            label="incomplete",
            do="Finish it, or take it back",
            do_at=page("batches:pot", one.batch.number),
            rights=MAKER,
        )

    return of_list("incomplete", "Incomplete weighings", all_open_starts(), row)


def in_the_pot(today: datetime.date, *, now: datetime.datetime) -> Kind:
    """Batches in process, each with its next step."""

    def row(one: Batch) -> Row:
        last = [row.entered_at for row in (*one.charges.all(), *one.readings.all())]
        return Row(
            **_of_batch(one),
            when=f"last entry {ago(max(last), now)}"
            if last
            else f"opened {since(local(one.opened_at), today)}",
            do=next_step(one, today),
            do_at=page("batches:pot", one.number),
            rights=MAKER,
        )

    return of_query(
        "pot",
        "In the pot",
        _batches(BatchStatus.IN_PROCESS)
        .prefetch_related(
            Prefetch("charges", Charge.objects.current()),
            "readings",
            "bulk_weighings",
            "lot_choices__source__lot",
            "lot_choices__source__batch",
            "formula_version__lines__material",
            "formula_version__lines__source_formula",
        )
        .order_by("pk"),
        row,
        all_at=_listed(BatchStatus.IN_PROCESS),
    )


def next_step(batch: Batch, today: datetime.date) -> str:
    """Return the next step in short, from what is there; the pot knows it exactly.

    Potash is weighed last, and nothing of a lot that may not be drawn from. The charges
    are the current ones; they and the lots chosen were fetched beforehand.
    """
    charged = {row.line_id for row in batch.charges.all()}
    lacking = [
        line for line in batch.formula_version.lines.all() if line.pk not in charged
    ]
    lacking.sort(
        key=lambda line: (
            line.material is not None and line.material.kind == Material.Kind.POTASH
        )
    )
    if lacking:
        chosen = {one.line_id: one.source for one in batch.lot_choices.all()}
        source = chosen.get(lacking[0].pk)
        if source is not None and why_not(source, today):
            return f"Choose another lot than {source.code}, or have it released"
        return f"Weigh {lacking[0].material or lacking[0].source_formula}"
    if not batch.bulk_weighings.all():
        return "Cook and test, then weigh it"
    return "Finish it"


def planned(today: datetime.date) -> Kind:
    """Batches that are opened and not begun."""

    def row(one: Batch) -> Row:
        return Row(
            **_of_batch(one),
            when=f"opened {since(local(one.opened_at), today)}",
            do="Begin with the hold points",
            do_at=page("batches:pot", one.number),
            rights=MAKER,
        )

    return of_query(
        "planned",
        "Planned",
        _batches(BatchStatus.PLANNED).order_by("pk"),
        row,
        all_at=_listed(BatchStatus.PLANNED),
    )


def on_hold(today: datetime.date, *, told: Collection[int] = ()) -> Kind:
    """Batches that were released and are held, without those told elsewhere."""
    return _to_judge(
        today,
        "on_hold",
        "On hold: to review again",
        "Review it again",
        "held",
        told=told,
    )


def to_review(today: datetime.date) -> Kind:
    """Batches that wait for their review."""
    return _to_judge(
        today, "awaiting_review", "Waiting for review", "Review it", "waiting"
    )


def rejected(today: datetime.date) -> Kind:
    """Batches that were rejected and still are there."""
    return _to_judge(
        today,
        "rejected",
        "Rejected: rework or dispose of",
        "Rework or dispose of it",
        "rejected",
    )


def bottles_to_decide(today: datetime.date, *, told: Collection[int] = ()) -> Kind:
    """Return the filling lots with bottles that are held, or came back.

    Without those held with their batch of which a row elsewhere tells.
    """
    held = Count("bottles", filter=Q(bottles__status="on_hold"), distinct=True)
    back = Count("bottles", filter=Q(bottles__status="returned"), distinct=True)
    lots = (
        FillingLot.objects.annotate(
            held=held, back=back, moved=Max("bottles__events__observed_at")
        )
        .exclude(held=0, back=0)
        .exclude(batch_id__in=told, back=0)
        .select_related("batch__formula_version__formula")
        .order_by("pk")
    )

    def row(one: FillingLot) -> Row:
        counts = {"on hold": one.held, "returned": one.back}  # type: ignore[attr-defined]
        at = page("batches:filling_lot", one.code)
        said = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
        return Row(
            name=one.code,
            at=at,
            words=f"{one.batch.formula_version.product_name}: {said}",
            when=since(local(one.moved), today),  # type: ignore[attr-defined]
            status="on_hold" if one.held else "returned",  # type: ignore[attr-defined]
            do="Decide about them",
            do_at=at,
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "bottles",
        "Bottles on hold or returned",
        lots,
        row,
        all_at=page("batches:bottles"),
    )


def _batches(status: str) -> QuerySet[Batch]:
    return Batch.objects.listed().filter(status=status)


def _listed(status: str) -> str:
    return page("batches:batches", query={"status": str(status)})


def _to_judge(
    today: datetime.date,
    status: str,
    heading: str,
    do: str,
    since_when: str,
    *,
    told: Collection[int] = (),
) -> Kind:
    moved = Max("status_changes__entered_at", filter=Q(status_changes__new=status))

    def row(one: Batch) -> Row:
        at = one.moved or one.entered_at  # type: ignore[attr-defined]
        return Row(
            **_of_batch(one),
            when=f"{since_when} {since(local(at), today)}",
            do=do,
            do_at=page("quality:review", one.number),
            rights=REVIEWER,
        )

    records = _batches(status).exclude(pk__in=told).annotate(moved=moved)
    records = records.order_by("pk")
    return of_query(status, heading, records, row, all_at=_listed(status))


def _of_batch(batch: Batch) -> dict[str, str]:
    return {
        "name": batch.number,
        "at": page("batches:batch", batch.number),
        "words": (
            f"{batch.formula_version.formula.name}, maker {batch.maker.person.name}"
        ),
        "status": batch.status,
        "label": batch.get_status_display(),
    }
