"""Deviations: opened, looked into, decided about with a signature.

Nothing of one is edited: what was found, tested, done and decided are steps that are
added. The closing step is signed like a batch: password again, printed name, time,
meaning, and the SHA-256 of the canonical record of the whole deviation.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable, Iterable
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import models, transaction
from django.utils import timezone

from batches.models import Batch
from batches.services.moves import locked
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import (
    Instrument,
    JournalEntry,
    Right,
    Stock,
    StockMovement,
    User,
)
from producer.models.journal import canonical
from producer.services.checks import local_day, plausible_time, require
from producer.services.numbers import next_code
from quality.models import (
    Characteristic,
    Deviation,
    DeviationStep,
    InstrumentCheck,
)
from quality.services import deviation_record, deviations
from quality.services.alone import may_review_alone
from quality.services.record import part, sha256
from quality.services.reviewing import hands_in, last_entry_at

Kind = DeviationStep.Kind
Decision = DeviationStep.Decision
CLOSED = "deviation closed: "
# Not “D”: that is the series of dispatches.
PREFIX = "V"
STEPS = (Kind.CAUSE, Kind.TEST, Kind.ACTION, Kind.CLASS)
# What nobody may give leave for: unreacted oil is not soap.
NEVER_CONCEDED = frozenset({Characteristic.CLARITY})


@transaction.atomic
def open_deviation(
    *,
    by: User,
    classification: str,
    what: str,
    stock: Stock | None = None,
    instrument: Instrument | None = None,
    characteristic: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Deviation:
    """Open a deviation about a raw lot, a batch or an instrument.

    ``characteristic`` names the result it is about, where it is about one. While it is
    open, no batch that it is about, or that has it in it, is released.
    """
    _maker_or_reviewer(by)
    if stock is not None and stock.kind == Stock.Kind.BATCH:
        # A release that is being signed comes first or waits and then sees this.
        locked(Batch.objects.get(pk=stock.pk))
    now = timezone.now()
    deviation = Deviation(
        code=next_code(PREFIX, local_day(now).year),
        stock=stock,
        instrument=instrument,
        characteristic=characteristic,
        classification=classification,
        what=what.strip(),
        observed_at=plausible_time(observed_at or now),
        entered_by=by,
    )
    deviation.full_clean()
    deviation.save(force_insert=True)
    journal.write(
        by=by,
        act="deviation opened",
        subject=deviation,
        label=deviation.code,
        after={
            "of": deviations.name_of(deviation),
            "characteristic": characteristic,
            "class": classification,
            "what": deviation.what,
        },
        submission=submission,
    )
    return deviation


@transaction.atomic
def add_step(
    *,
    by: User,
    deviation: Deviation,
    kind: str,
    text: str,
    classification: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> DeviationStep:
    """Add what was found, tested or done, or another class with its reason."""
    _maker_or_reviewer(by)
    deviation = _still_open(deviation)
    if kind not in STEPS:
        raise Refusal("Choose what this step is.", field="kind")
    if kind != Kind.CLASS and classification:
        raise Refusal(
            "Only a step that changes the class has a class.", field="classification"
        )
    step = DeviationStep(
        deviation=deviation,
        kind=kind,
        text=_text(text),
        classification=classification,
        observed_at=plausible_time(observed_at or timezone.now()),
        entered_by=by,
    )
    before = deviations.standing(deviation).classification
    step.full_clean()
    step.save(force_insert=True)
    journal.write(
        by=by,
        act=f"deviation: {Kind(kind).label}",
        subject=deviation,
        label=deviation.code,
        before={"class": before} if kind == Kind.CLASS else {},
        after={
            "step": step.pk,
            "text": step.text,
            **({"class": classification} if kind == Kind.CLASS else {}),
        },
        submission=submission,
    )
    return step


@transaction.atomic
def close_deviation(
    *,
    by: User,
    deviation: Deviation,
    decision: str,
    text: str,
    password: str,
    seen: str = "",
    submission: uuid.UUID | None = None,
) -> DeviationStep:
    """Decide about a deviation and bind the decision to its record.

    ``text`` says why; of a concession, for what and on which conditions. ``seen`` is
    the digest of the page: nobody signs what has changed since. A cause and an action
    must stand first. Who decides is not one who made what it is about, unless the
    premises is a one-person one and the pause is over; a decision to reject is the
    careful one and needs no second person, as for a batch.

    The decision “to be rejected” rejects nothing by itself: it stops the release, and
    the batch or lot is then rejected by its own decision.
    """
    require(by, Right.REVIEWER)
    deviation = _still_open(deviation)
    found = deviations.standing(deviation)
    if seen and seen != digest_of(deviation):
        raise Conflict(
            "The deviation has changed since you read it. Read the page again, then"
            " sign."
        )
    if decision not in Decision.values:
        raise Refusal("Choose how it ends.", field="decision")
    _is_ready(found)
    refused = _not_conceded_because(deviation)
    if decision == Decision.CONCESSION and refused:
        raise Refusal(refused, field="decision")
    if not by.check_password(password):
        raise Refusal(
            "This is not your password. Nothing was signed.", field="password"
        )
    self_reviewed = decision != Decision.REJECTED and is_own_work(by, deviation)
    if self_reviewed:
        may_review_alone(by=by, last_at=_last_at(found), what=_what_of(deviation))
    step = DeviationStep(
        deviation=deviation,
        kind=Kind.CLOSED,
        text=_text(text),
        decision=decision,
        printed_name=by.person.name,
        self_reviewed=self_reviewed,
        observed_at=timezone.now(),
        entered_by=by,
    )
    step.record = deviation_record.canonical_record(step)
    step.record_sha256 = sha256(step.record)
    step.full_clean()
    step.save(force_insert=True)
    journal.write(
        by=by,
        act=f"{CLOSED}{decision.replace('_', ' ')}",
        subject=deviation,
        label=deviation.code,
        before={"class": found.classification},
        after={
            "step": step.pk,
            "decision": decision,
            "record_sha256": step.record_sha256,
            "self_reviewed": self_reviewed,
        },
        reason=step.text,
        submission=submission,
    )
    return step


def digest_of(deviation: Deviation) -> str:
    """Return what changes whenever a step is added: who signs says what was read."""
    return sha256(canonical(deviation_record.facts_of(deviation)))


def possible(deviation: Deviation) -> list[DeviationStep.Decision]:
    """Return how a deviation can end: a concession is not for everything."""
    return [
        one
        for one in Decision
        if one != Decision.CONCESSION or not _not_conceded_because(deviation)
    ]


def is_own_work(by: User, deviation: Deviation) -> bool:
    """Say whether the person behind ``by`` had a hand in what it is about."""
    return by.person_id in hands_of(deviation)


def hands_of(deviation: Deviation) -> set[int]:
    """Return the ids of the people whose work it is about: people, never accounts.

    Of a batch, who made it or entered something in it; of a raw lot, who booked
    anything about it in; of an instrument, who checked it.
    """
    stock = deviation.stock
    if stock is None:
        return _people(InstrumentCheck.objects.filter(instrument=deviation.instrument))
    if stock.kind == Stock.Kind.BATCH:
        return hands_in(Batch.objects.get(pk=stock.pk))
    return _people(
        stock.movements.filter(kind=StockMovement.Kind.RECEIPT),
        stock.lot.certificates.all(),
        stock.titrations.all(),
        stock.container_weighings.all(),
    )


def faults() -> Iterable[str]:
    """Yield a sentence for each closed deviation that no longer fits its record."""
    known = set()
    rows = DeviationStep.objects.filter(kind=Kind.CLOSED)
    rows = rows.select_related("deviation__stock", "deviation__instrument")
    for closing in rows.order_by("pk").iterator():
        known.add(closing.record_sha256)
        fault = _fault_of(closing)
        if fault:
            yield f"Deviation {closing.deviation.code}: {fault}"
    entries = JournalEntry.objects.filter(
        subject_kind="deviation", act__startswith=CLOSED
    )
    for entry in entries.order_by("sequence").iterator():
        if entry.after_values["record_sha256"] not in known:
            yield (
                f"Deviation {entry.subject_label}: the decision in journal row"
                f" {entry.sequence} is missing."
            )


def _fault_of(closing: DeviationStep) -> str:
    text, deviation = closing.record, closing.deviation
    entries = JournalEntry.objects.filter(
        subject_kind="deviation",
        subject_id=str(deviation.pk),
        act__startswith=CLOSED,
    )
    checks: tuple[tuple[Callable[[], bool], str], ...] = (
        (
            lambda: sha256(text) == closing.record_sha256,
            "the signed text was altered.",
        ),
        (
            lambda: entries.filter(after__contains=closing.record_sha256).exists(),
            "the journal knows of no decision over this text.",
        ),
        (
            lambda: part(text, "decision") == deviation_record.decision_of(closing),
            "name, decision or conditions are no longer what was signed.",
        ),
        (
            lambda: part(text, "facts") == deviation_record.facts_of(deviation),
            "the deviation or a step of it is no longer what was signed.",
        ),
    )
    return next((fault for holds, fault in checks if not holds()), "")


def _maker_or_reviewer(by: User) -> None:
    if not by.may(Right.MAKER) and not by.may(Right.REVIEWER):
        raise PermissionDenied(
            f"This needs the right “{Right.MAKER.label}” or “{Right.REVIEWER.label}”."
        )


def _still_open(deviation: Deviation) -> Deviation:
    """Return the deviation, locked, if nothing has closed it."""
    deviation = (
        Deviation.objects.select_for_update(of=("self",))
        .select_related("stock", "instrument", "entered_by__person")
        .get(pk=deviation.pk)
    )
    if deviation.steps.filter(kind=Kind.CLOSED).exists():
        raise Conflict(
            f"Deviation {deviation.code} is closed and signed; nothing is added to it."
            " Open a new one that names it."
        )
    return deviation


def _is_ready(found: deviations.Standing) -> None:
    missing = [
        str(kind.label) for kind in (Kind.CAUSE, Kind.ACTION) if not found.has(kind)
    ]
    if missing:
        raise Refusal(
            f"Write down the {' and the '.join(missing)} first: a deviation is decided"
            " when it is known why it came about and what was done."
        )


def _not_conceded_because(deviation: Deviation) -> str:
    """Return why there can be no concession, or nothing."""
    stock = deviation.stock
    if stock is None or stock.kind != Stock.Kind.BATCH or not deviation.characteristic:
        return (
            "A concession is for one result of one batch. This deviation is not about"
            " the result of a batch: choose another end."
        )
    if deviation.characteristic in NEVER_CONCEDED:
        return (
            "There is no concession for a soap that does not dissolve clear: oil is"
            " left in it, or it has split. Cook on, correct it, or reject it."
        )
    return ""


def _last_at(found: deviations.Standing) -> datetime.datetime:
    """Return when something was last entered in it, or in its batch."""
    deviation = found.deviation
    times = [deviation.entered_at, *(step.entered_at for step in found.steps)]
    if deviation.stock is not None and deviation.stock.kind == Stock.Kind.BATCH:
        times.append(last_entry_at(Batch.objects.get(pk=deviation.stock.pk)))
    return max(times)


def _what_of(deviation: Deviation) -> str:
    if deviation.stock is None:
        return "check of this instrument"
    if deviation.stock.kind == Stock.Kind.BATCH:
        return "batch or entered something in it"
    return "entry of the raw lot"


def _people(*tables: models.QuerySet[Any]) -> set[int]:
    """Return the people who entered any of these rows."""
    return {
        person
        for rows in tables
        for person in rows.order_by().values_list("entered_by__person", flat=True)
    }


def _text(text: str) -> str:
    text = text.strip()
    if not text:
        raise Refusal("Write what was found, done or decided.", field="text")
    return text
