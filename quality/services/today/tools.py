"""Instruments, strips and buffers; notes of safety; what comes round with the year."""

from __future__ import annotations

import datetime

from django.db.models import Count, Max, Min, Q

from batches.models import BottleEvent, FillingLot
from producer.models import (
    Instrument,
    RawLot,
    Right,
    RulesCheck,
    SafetyNote,
    StockTake,
)
from producer.services.safety import due_notes
from quality.models import Recall, SelfInspection
from quality.services.checking import checks_due
from quality.services.due_checks import CheckDue
from quality.services.today.plain import (
    MAKER,
    REVIEWER,
    SOON,
    Kind,
    Row,
    in_full,
    local,
    of_list,
    page,
    until,
)

YEAR = datetime.timedelta(days=365)


def dates(today: datetime.date) -> Kind:
    """Return strips, buffers and instruments past or near their last good day."""
    dated = Instrument.objects.filter(in_use=True).filter(
        Q(expires_on__isnull=False)
        | Q(opened_on__isnull=False, days_after_opening__isnull=False)
    )
    near = [
        (good_until, one)
        for one in dated
        if (good_until := one.good_until) is not None and good_until <= today + SOON
    ]
    near.sort(key=lambda pair: (pair[0], pair[1].pk))

    def row(pair: tuple[datetime.date, Instrument]) -> Row:
        day, one = pair
        past = day < today
        return Row(
            name=one.name,
            at=page("quality:instrument", one.pk),
            words=one.get_kind_display(),
            when=until(day, today, "past its date" if past else "good until"),
            status="expired" if past else "retest_due",
            label="expired" if past else "near its date",
            do="Open a new one" if past else "Get a new one",
            do_at=page("producer:register_entry", "instruments", one.pk),
            rights=MAKER,
        )

    return of_list(
        "tool",
        "Test strips and instruments past or near their date",
        near,
        row,
        all_at=page("producer:register", "instruments"),
    )


def checks(today: datetime.date) -> Kind:
    """Instruments whose check is due."""

    def row(one: CheckDue) -> Row:
        when = until(one.due_on, today, "due") if one.due_on else "never checked so far"
        return Row(
            name=one.instrument.name,
            at=page("quality:instrument", one.instrument.pk),
            words=f"{one.instrument.get_kind_display()}: check it",
            when=when,
            status="retest_due",
            label="check due",
            do="Check it",
            do_at=page("quality:instrument_check", one.instrument.pk),
            rights=MAKER,
        )

    return of_list(
        "check",
        "Checks due",
        checks_due(today),
        row,
        all_at=page("producer:register", "instruments"),
    )


def safety_notes(today: datetime.date) -> Kind:
    """Training, equipment, first aid and rules that are due again."""

    def row(one: SafetyNote) -> Row:
        assert one.due_on is not None  # noqa: S101 - due_notes returns no other
        past = one.due_on < today
        return Row(
            name=str(one),
            at=page("producer:safety"),
            words=one.person.name if one.person else "the premises",
            when=until(one.due_on, today, "due"),
            status="expired" if past else "retest_due",
            label="overdue" if past else "due",
            do="Do it, and note it",
            do_at=page("producer:safety_new", query={"again": one.pk}),
            rights=MAKER,
        )

    return of_list(
        "safety",
        "Training and equipment",
        due_notes(today),
        row,
        all_at=page("producer:safety"),
    )


def yearly(today: datetime.date) -> Kind:
    """Return what was not done for a year, on a premises that has worked for one.

    A stock-take of everything, a mock recall, an audit of one's own, the rules of an
    authority read again: sections 1.1 and 1.5 of the requirements, common practice. A
    mock recall already in the first year, as soon as a bottle has left.
    """
    first = RawLot.objects.aggregate(first=Min("received_on"))["first"]
    filled = FillingLot.objects.aggregate(first=Min("observed_at"))["first"]
    take = StockTake.objects.aggregate(last=Max("observed_at"))["last"]
    rules = SafetyNote.objects.current().filter(kind=SafetyNote.Kind.RULES)
    noted = rules.aggregate(last=Max("done_on"))["last"]
    looked = RulesCheck.objects.current().aggregate(last=Max("observed_at"))["last"]
    read = max(filter(None, (noted, looked and local(looked))), default=None)
    rows = []
    if _is_a_year(first, take and local(take), today):
        rows.append(
            _yearly(
                "Stock-take of everything",
                "Count each lot and container, and look at the dates.",
                take and local(take),
                ("Count", page("producer:stock_take_new")),
                rights=MAKER,
            )
        )
    rows += _mock_recall(today)
    audit = SelfInspection.objects.current().aggregate(last=Max("observed_at"))["last"]
    if _is_a_year(filled and local(filled), audit and local(audit), today):
        rows.append(
            _yearly(
                "Audit of your own",
                "Draw a bottle and a lot, walk both to the end, and write down what"
                " lacks.",
                audit and local(audit),
                ("Draw", page("quality:audit")),
                rights=(Right.OWNER, Right.REVIEWER),
            )
        )
    if _is_a_year(filled and local(filled), read, today):
        rows.append(
            _yearly(
                "An authority’s rules",
                "Read the pages again, and note the place and the day.",
                read,
                ("Read and record it", page("producer:rules_new")),
                rights=MAKER,
            )
        )
    return Kind(slug="yearly", heading="Once a year", rows=rows, count=len(rows))


def _mock_recall(today: datetime.date) -> list[Row]:
    """Return that a mock recall is due: none was closed for a year, and bottles left.

    One that is open is told of among the recalls. Common practice, no source.
    """
    mocks = Recall.objects.filter(is_mock=True).aggregate(
        last=Max("closed_at"), still_open=Count("pk", filter=Q(closed_at=None))
    )
    last, left = mocks["last"], _left_last()
    recent = last is not None and today - local(last) <= YEAR
    if mocks["still_open"] or recent or left is None:
        return []
    return [
        _yearly(
            "Mock recall",
            f"Begin at {left}, of which bottles left last: how long until every bottle"
            " is placed, and every holder would be called?",
            last and local(last),
            (
                "Open a mock recall",
                page("quality:recall_open", left, query={"mock": 1}),
            ),
            rights=REVIEWER,
        )
    ]


def _left_last() -> str | None:
    """Return the number of the batch of which bottles were dispatched last."""
    moves = BottleEvent.objects.filter(
        dispatch__isnull=False, dispatch__taken_back=None
    ).order_by("-pk")
    code: str | None = moves.values_list(
        "bottle__filling_lot__batch__stock__code", flat=True
    ).first()
    return code


def _is_a_year(
    first: datetime.date | None, last: datetime.date | None, today: datetime.date
) -> bool:
    """Say whether it was not done for a year, or never in the first one."""
    begun = last or first
    return begun is not None and begun + YEAR <= today


def _yearly(
    name: str,
    words: str,
    last: datetime.date | None,
    act: tuple[str, str],
    *,
    rights: tuple[Right, ...],
) -> Row:
    do, do_at = act
    return Row(
        name=name,
        at=do_at,
        words=words,
        when=f"last on {in_full(last)}" if last else "not done so far",
        status="retest_due",
        label="due",
        do=do,
        do_at=do_at,
        rights=rights,
    )
