"""Deviations: opened, looked into, decided about with a signature.

Nothing of one is edited: what was found, tested, done and decided are steps that are
added. The closing step is signed like a batch: password again, printed name, time,
meaning, and the SHA-256 of the canonical record of the whole deviation.
"""

from __future__ import annotations

import datetime
import functools
import uuid
from collections.abc import Callable, Iterable

from django.core.exceptions import PermissionDenied
from django.db import transaction
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
    User,
)
from producer.models.journal import canonical
from producer.services.alone import may_review_alone
from producer.services.checks import local_day, plausible_time, require
from producer.services.numbers import next_code
from quality.models import (
    Deviation,
    DeviationStep,
)
from quality.services import critical, deviation_record, deviations, signers
from quality.services.deviation_ends import is_ready, not_conceded_because
from quality.services.deviation_hands import is_own_work, last_at, what_of
from quality.services.record import part, sha256
from quality.services.result_now import result_now
from quality.services.still_signed import readable, sha256_in

Kind = DeviationStep.Kind
Decision = DeviationStep.Decision
CLOSED = "deviation closed: "
CRITICAL = Deviation.Class.CRITICAL
# Not “D”: that is the series of dispatches.
PREFIX = "V"
STEPS = (Kind.CAUSE, Kind.TEST, Kind.ACTION, Kind.CLASS)
# Fewer say nothing that somebody else could judge by.
FEWEST_CHARACTERS = 10


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
    open, no batch that it is about, or that has it in it, is released. A critical one
    holds at once what is released of them already.
    """
    _maker_or_reviewer(by)
    journal.in_line()
    if stock is not None and stock.kind == Stock.Kind.BATCH:
        # A release that is being signed comes first or waits and then sees this.
        locked(Batch.objects.get(pk=stock.pk))
    if stock is not None and characteristic:
        _fits(stock, characteristic)
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
    held = critical.hold(by=by, deviation=deviation, now=classification)
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
            **held,
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
    """Add what was found, tested or done, or another class with its reason.

    A class that says somebody can be harmed is lowered by a reviewer only. Raised to
    it, what is released is held at once, as where it was opened as critical.
    """
    _maker_or_reviewer(by)
    journal.in_line()
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
        # A result says enough: “pH 9.8”.
        text=_text(text, fewest=0 if kind == Kind.TEST else FEWEST_CHARACTERS),
        classification=classification,
        observed_at=plausible_time(observed_at or timezone.now()),
        entered_by=by,
    )
    before = deviations.standing(deviation).classification
    step.full_clean()
    if kind == Kind.CLASS and before == CRITICAL != classification:
        _may_lower(by)
    step.save(force_insert=True)
    held = critical.hold(by=by, deviation=deviation, now=classification)
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
            **held,
        },
        submission=submission,
    )
    return step


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
    must stand first, and a further test where the decision rests on one. Who decides
    is not one who made what it is about or explained it, unless the premises is a
    one-person one and the pause is over; a decision to reject is the careful one and
    needs no second person, as for a batch.

    The decision “to be rejected” rejects nothing by itself: it stops the release, and
    the batch or lot is then rejected by its own decision.
    """
    require(by, Right.REVIEWER)
    # Before the transaction: it is slow on purpose, and others would wait for it.
    if not by.check_password(password):
        raise Refusal(
            "This is not your password. Nothing was signed.", field="password"
        )
    with transaction.atomic():
        return _decide(by, deviation, decision, text, seen, submission)


def _decide(
    by: User,
    deviation: Deviation,
    decision: str,
    text: str,
    seen: str,
    submission: uuid.UUID | None,
) -> DeviationStep:
    """Decide, with the password checked, from what stands when it is our turn."""
    journal.in_line()
    deviation = _still_open(deviation)
    found = deviations.standing(deviation)
    if seen and seen != digest_of(deviation):
        raise Conflict(
            "The deviation has changed since you read it. Read the page again, then"
            " sign."
        )
    if decision not in Decision.values:
        raise Refusal("Choose how it ends.", field="decision")
    is_ready(found, decision)
    refused = not_conceded_because(found)
    if decision == Decision.CONCESSION and refused:
        raise Refusal(refused, field="decision")
    self_reviewed = decision != Decision.REJECTED and is_own_work(by, deviation)
    pause = None
    if self_reviewed:
        what = what_of(by, deviation)
        pause = may_review_alone(by=by, last_at=last_at(found), what=what)
    set_by = signers.password_set_by(by)
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
    step.record = deviation_record.canonical_record(
        step, signers.part_of_decision(set_by, pause)
    )
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
            "class": found.classification,
            "decision": decision,
            "record_sha256": step.record_sha256,
            "self_reviewed": self_reviewed,
            **signers.in_the_journal(set_by, pause),
        },
        reason=step.text,
        submission=submission,
    )
    return step


def digest_of(deviation: Deviation) -> str:
    """Return what changes with every step and result: who signs says what was read."""
    now = result_now(deviation)
    facts = deviation_record.facts_of(deviation)
    return sha256(canonical([facts, now.facts if now else []]))


def possible(deviation: Deviation) -> list[DeviationStep.Decision]:
    """Return how a deviation can end: a concession is not for everything."""
    refused = not_conceded_because(deviations.standing(deviation))
    return [one for one in Decision if one != Decision.CONCESSION or not refused]


def faults() -> Iterable[str]:
    """Yield a sentence for each closed deviation that no longer fits its record."""
    known = set()
    rows = DeviationStep.objects.filter(kind=Kind.CLOSED)
    rows = rows.select_related("deviation__stock", "deviation__instrument")
    for closing in rows.order_by("pk").iterator():
        known.add(closing.record_sha256)
        fault = readable(functools.partial(_fault_of, closing))
        if fault:
            yield f"Deviation {closing.deviation.code}: {fault}"
    entries = JournalEntry.objects.filter(
        subject_kind="deviation", act__startswith=CLOSED
    )
    for entry in entries.order_by("sequence").iterator():
        if sha256_in(entry) not in known:
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
            lambda: (
                part(text, "decision")
                == deviation_record.decision_of(
                    closing, signers.as_of(entries, closing.record_sha256)
                )
            ),
            "name, decision or conditions are no longer what was signed.",
        ),
        (
            lambda: part(text, "facts") == deviation_record.facts_of(deviation),
            "the deviation or a step of it is no longer what was signed.",
        ),
    )
    return next((fault for holds, fault in checks if not holds()), "")


def _fits(stock: Stock, characteristic: str) -> None:
    possible_of = deviations.results_of(stock)
    if characteristic not in possible_of:
        known = ", ".join(one.label for one in possible_of) or "none at all"
        raise Refusal(
            f"{stock.code} has no such result; it has: {known}. Choose one of them, or"
            " that no result is concerned.",
            field="characteristic",
        )


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


def _may_lower(by: User) -> None:
    if not by.may(Right.REVIEWER):
        raise Refusal(
            "Only a reviewer lowers the class from “critical”, with the reason in the"
            " text. Add what you found as a test or an action.",
            field="classification",
        )


def _text(text: str, *, fewest: int = FEWEST_CHARACTERS) -> str:
    text = text.strip()
    if not text:
        raise Refusal("Write what was found, done or decided.", field="text")
    said = [one for one in " ".join(text.split()) if one.isalnum() or one == " "]
    if len(said) < fewest:
        raise Refusal(
            "Write a sentence that somebody else can judge by: what was found, done or"
            f" decided, in {fewest} characters at least.",
            field="text",
        )
    return text
