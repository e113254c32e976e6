"""What an audit asks of a batch: its decision, its instruments, who was trained."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from django.urls import reverse

from batches.lifecycle import BatchStatus
from batches.models import Batch, Charge
from producer.models import Person, SafetyNote
from producer.services.checks import local_day
from producer.services.safety import notes_on
from quality.models import Signature
from quality.services import as_signed, reading_order
from quality.services.audit.plain import Link, counted, day
from quality.services.judgement import zone_here
from quality.services.reading_order.exceptions import Exceptions, exceptions_of
from quality.services.reading_order.instruments import Used, instruments_of
from quality.services.reading_order.timeline import timeline
from quality.services.reviewing import Review, review_of


def link_of(batch: Batch, *, mark: str = ".") -> Link:
    """Return a batch as a link; ``mark`` is the decimal mark of what is said."""
    # Whose work it is does not matter here, only what the review finds.
    review = review_of(batch, by=batch.maker, mark=mark)
    signatures = as_signed.signatures_of([batch.pk])
    deciding = as_signed.deciding(signatures)
    used = instruments_of(review.tools.tools, zone_here())
    found = _exceptions(batch, review, signatures, used, mark)
    is_released = batch.status == BatchStatus.RELEASED
    return Link(
        what="Batch",
        name=batch.number,
        at=reverse("quality:review", args=[batch.number]),
        present=list(_present(batch, deciding, used)),
        missing=[
            *_unsigned(batch, deciding),
            *_unchecked(batch, used),
            *_untrained(batch),
            *(f"{batch.number}: {one}" for one in found.obstacles if is_released),
        ],
        unusual=[
            *(one.sentence for one in (*found.head, *found.unusual)),
            *(one for one in found.obstacles if not is_released and not batch.is_open),
        ],
    )


def _exceptions(
    batch: Batch,
    review: Review,
    signatures: Sequence[Signature],
    used: Sequence[Used],
    mark: str,
) -> Exceptions:
    """Return what the review page shows as out of the ordinary."""
    deciding = as_signed.deciding(signatures)
    then = as_signed.as_signed(deciding, mark=mark) if deciding else None
    return exceptions_of(
        batch,
        review,
        signatures,
        shown=then.rows if then else reading_order.shown_of(review, mark=mark),
        is_signed=then is not None,
        events=timeline(review.entries, mark=mark),
        used=used,
        differences=as_signed.differences(then, review) if then else (),
    )


def _present(
    batch: Batch, deciding: Signature | None, used: Sequence[Used]
) -> Iterator[str]:
    yield (
        f"{batch.formula_version.formula.name}, version"
        f" {batch.formula_version.version}, made by {batch.maker.person.name},"
        f" {batch.get_status_display()}."
    )
    if deciding is not None:
        alone = ", self-reviewed" if deciding.self_reviewed else ""
        yield (
            f"{deciding.get_meaning_display()}: signed by {deciding.printed_name} on"
            f" {day(local_day(deciding.observed_at))}{alone}."
        )
    for one in used:
        if one.before is not None and one.before.passed:
            yield (
                f"{one.instrument.name}: checked on"
                f" {day(local_day(one.before.observed_at))}, used"
                f" {counted(one.times, 'time')}."
            )


def _unsigned(batch: Batch, deciding: Signature | None) -> Iterator[str]:
    if deciding is None and not batch.is_open:
        yield f"{batch.number}: no signature over the findings stands."


def _unchecked(batch: Batch, used: Sequence[Used]) -> Iterator[str]:
    """Yield the instruments that were not checked before, or too long before."""
    for one in used:
        if one.is_never_checked:
            continue
        name = f"{batch.number}: {one.instrument.name}"
        first = local_day(one.first_at)
        if one.before is None:
            yield f"{name} was used on {day(first)}, and not checked before."
            continue
        if not one.before.passed:
            yield (
                f"{name} had failed its check on"
                f" {day(local_day(one.before.observed_at))}, the last before it was"
                f" used on {day(first)}."
            )
            continue
        days = (first - local_day(one.before.observed_at)).days
        every = one.instrument.check_every_days
        if every is not None and days > every:
            yield (
                f"{name} was last checked {counted(days, 'day')} before it was used;"
                f" it is to be checked every {counted(every, 'day')}."
            )


def _untrained(batch: Batch) -> Iterator[str]:
    """Yield what was not on record of who made it, on the day they first weighed.

    Of the maker on the day of the batch, and of everybody else who weighed something
    into it; the protective equipment is of the premises, or of a person.
    """
    opened = local_day(batch.opened_at)
    asked = {batch.maker.person: (opened, "the maker")}
    charges = Charge.objects.current().filter(batch=batch)
    for charge in charges.select_related("entered_by__person").order_by("observed_at"):
        person = charge.entered_by.person
        first = local_day(charge.observed_at)
        asked.setdefault(person, (first, f"{person.name}, who weighed into it,"))
    found = (
        line
        for person, (on, who) in asked.items()
        for line in _untrained_of(person, on, who)
    )
    yield from (f"{batch.number}: {one}" for one in dict.fromkeys(found))


def _untrained_of(person: Person, on: datetime.date, who: str) -> Iterator[str]:
    """Yield what was not on record of one person on a day, or overdue."""
    notes = notes_on(person, on)
    for kind, words in (
        (SafetyNote.Kind.TRAINING, f"a training of {who}"),
        (SafetyNote.Kind.PROTECTION, "protective equipment"),
    ):
        own = [one for one in notes if one.kind == kind]
        if not own:
            yield f"on {day(on)} {words} was not on record."
        for one in own:
            if one.due_on is not None and one.due_on < on:
                of = f" of {one.person.name}" if one.person else ""
                yield (
                    f"on {day(on)} “{one.topic}”{of} was overdue since"
                    f" {day(one.due_on)}."
                )
