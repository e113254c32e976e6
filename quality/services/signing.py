"""Decisions about a batch, each signed with the password re-entered."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle
from batches.services import filling, moves
from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import (
    JournalEntry,
    StockMovement,
    User,
)
from producer.services import stock as ledger
from producer.services.alone import may_review_alone
from producer.services.checks import need_reason
from quality.models import Judgement, Signature
from quality.services import filling_checks, holding, record, signers
from quality.services.reviewing import WHAT, Review, last_entry_at, review_of
from quality.services.still_signed import fault_of_record, readable, sha256_in

Meaning = Signature.Meaning
ACT = "batch signed: "

LEADS_TO: dict[str, BatchStatus] = {
    Meaning.RELEASE: BatchStatus.RELEASED,
    Meaning.REJECT: BatchStatus.REJECTED,
    Meaning.HOLD: BatchStatus.ON_HOLD,
    Meaning.UNHOLD: BatchStatus.RELEASED,
    Meaning.REWORK: BatchStatus.REWORKED,
    Meaning.DISPOSE: BatchStatus.DISPOSED,
}
POSSIBLE: dict[str, tuple[Signature.Meaning, ...]] = {
    BatchStatus.AWAITING_REVIEW: (Meaning.RELEASE, Meaning.REJECT),
    BatchStatus.RELEASED: (Meaning.HOLD,),
    BatchStatus.ON_HOLD: (Meaning.UNHOLD, Meaning.REJECT),
    BatchStatus.REJECTED: (Meaning.REWORK, Meaning.DISPOSE),
}
# What was made from it is held with it; the words are the reason that it keeps.
HOLDS_BELOW = {
    Meaning.HOLD: "was put on hold",
    Meaning.REJECT: "was rejected",
}


def sign(
    *,
    by: User,
    batch: Batch,
    meaning: str,
    password: str,
    reason: str = "",
    seen: str = "",
    submission: uuid.UUID | None = None,
) -> Signature:
    """Decide about a batch and bind the decision to its record.

    ``seen`` is the digest of the review as the page showed it: nobody signs what has
    changed since.

    A release needs every finding acceptable and no obstacle among the sources, and a
    reason where something about it is doubtful; who
    signs is not one who made the batch, unless the premises is a one-person one and
    the pause is over: then the signature says so for ever.
    """
    # Before the transaction: it is slow on purpose, and others would wait for it.
    if not by.check_password(password):
        raise Refusal(
            "This is not your password. Nothing was signed.", field="password"
        )
    with transaction.atomic():
        return _decide(by, batch, meaning, reason, seen, submission)


def _decide(
    by: User,
    batch: Batch,
    meaning: str,
    reason: str,
    seen: str,
    submission: uuid.UUID | None,
) -> Signature:
    """Decide, with the password checked, from what stands when it is our turn."""
    journal.in_line()
    if meaning in HOLDS_BELOW:
        holding.lock_with_below(batch)
    batch = moves.locked(batch)
    if meaning not in POSSIBLE.get(batch.status, ()):
        # Two decisions lead to “released”; only one of them looks at the findings.
        raise Conflict(
            f"Batch {batch.number} is {BatchStatus(batch.status).label}, and this"
            " decision does not fit that. Open it again to see where it stands."
        )
    review = review_of(batch, by=by)
    if seen and seen != review.digest:
        raise Conflict(
            "The batch has changed since you read it, or your pause ended meanwhile."
            " Read the page again, then sign."
        )
    if meaning in {Meaning.RELEASE, Meaning.UNHOLD}:
        _may_be_released(batch, review)
    if meaning != Meaning.RELEASE or review.needs_reason:
        reason = need_reason(reason)
    self_reviewed = review.is_own_work and meaning in {Meaning.RELEASE, Meaning.UNHOLD}
    pause = None
    if self_reviewed:
        pause = may_review_alone(by=by, last_at=last_entry_at(batch), what=WHAT)
    old = batch.status
    moves.move_batch(by=by, batch=batch, new=LEADS_TO[meaning], reason=reason)
    set_by = signers.password_set_by(by)
    beside = signers.part_of_decision(set_by, pause)
    signature = _signature(batch, review, by, meaning, reason, beside)
    followed = _consequences(by, batch, meaning, reason)
    journal.write(
        by=by,
        act=f"{ACT}{signature.get_meaning_display()}",
        subject=batch,
        label=batch.number,
        before={"status": old},
        after={
            "status": batch.status,
            "record_sha256": signature.record_sha256,
            "self_reviewed": self_reviewed,
            **signers.in_the_journal(set_by, pause),
            **followed,
        },
        reason=reason,
        submission=submission,
    )
    return signature


def faults() -> Iterable[str]:
    """Yield a sentence for each signature that no longer fits its record."""
    known = set()
    signatures = Signature.objects.select_related("batch__stock")
    signatures = signatures.order_by("pk").prefetch_related("marks")
    for signature in signatures.iterator(chunk_size=200):
        known.add(signature.record_sha256)
        fault = readable(functools.partial(_fault_of, signature))
        if fault:
            number = signature.batch.number
            yield f"Signature {signature.pk} on batch {number}: {fault}"
    entries = JournalEntry.objects.filter(act__startswith=ACT)
    for entry in entries.order_by("sequence").iterator():
        if sha256_in(entry) not in known:
            yield (
                f"Batch {entry.subject_label}: the signature in journal row"
                f" {entry.sequence} is missing."
            )


def _fault_of(signature: Signature) -> str:
    text, batch = signature.record, signature.batch
    entries = JournalEntry.objects.filter(
        subject_kind="batch", subject_id=str(batch.pk), act__startswith=ACT
    )
    checks: tuple[tuple[Callable[[], bool], str], ...] = (
        (
            lambda: record.sha256(text) == signature.record_sha256,
            "the signed text was altered.",
        ),
        (
            lambda: entries.filter(after__contains=signature.record_sha256).exists(),
            "the journal knows of no signature over this text.",
        ),
        (
            lambda: (
                record.part(text, "decision")
                == record.decision_of(
                    signature, signers.as_of(entries, signature.record_sha256)
                )
            ),
            "name, meaning or reason are no longer what was signed.",
        ),
        (
            lambda: record.judged(text) == record.judgements_of(signature),
            "a judgement is no longer what was signed.",
        ),
    )
    fault = next((fault for holds, fault in checks if not holds()), "")
    return fault or fault_of_record(signature)


def _signature(
    batch: Batch,
    review: Review,
    by: User,
    meaning: str,
    reason: str,
    beside: Mapping[str, Any],
) -> Signature:
    signature = Signature(
        batch=batch,
        meaning=meaning,
        signer=by,
        printed_name=by.person.name,
        self_reviewed=signers.PAUSE in beside,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    signature.record = record.canonical_record(
        signature, review.findings, review.computed, review.signed_around, beside
    )
    signature.record_sha256 = record.sha256(signature.record)
    signature.full_clean()
    signature.save(force_insert=True)
    written.create_all(
        Judgement,
        (
            Judgement(
                signature=signature,
                characteristic=finding.characteristic,
                limit=finding.limit,
                value=finding.value,
                standard_uncertainty=finding.standard_uncertainty,
                verdict=finding.verdict,
                sentence=finding.sentence,
                rule=finding.rule_slug,
                effect=finding.effect,
                origin=finding.origin,
                risk=None if finding.risk is None else record.kept_risk(finding.risk),
            )
            for finding in review.findings
            if finding.verdict is not None and finding.limit is not None
        ),
    )
    return signature


def _may_be_released(batch: Batch, review: Review) -> None:
    if review.obstacles:
        raise Refusal(
            f"Batch {batch.number} cannot be released. " + " ".join(review.obstacles)
        )


def _consequences(
    by: User, batch: Batch, meaning: str, reason: str
) -> Mapping[str, Any]:
    """Do what follows from a decision; return what the journal says of it."""
    what = HOLDS_BELOW.get(Meaning(meaning))
    if what is not None:
        held = holding.hold(by=by, batch_ids=[batch.pk], reason=reason)
        held += holding.hold_below(by=by, batch=batch, what=what, reason=reason)
        return held.facts
    if meaning == Meaning.UNHOLD:
        filling.change_bottles(
            by=by,
            bottles=list(_held_with(batch)),
            new=BottleStatus.FILLED,
            reason=reason,
        )
        # What a weighing forbids to leave, the hold of the batch only covered.
        filling_checks.hold_again(by=by, batch=batch)
    if meaning == Meaning.DISPOSE and batch.stock.on_hand_mg:
        ledger.move(
            by=by,
            stock=batch.stock,
            kind=StockMovement.Kind.DISPOSAL,
            amount_mg=-batch.stock.on_hand_mg,
            observed_at=timezone.now(),
            reason=reason,
        )
    return {}


def _held_with(batch: Batch) -> models.QuerySet[Bottle]:
    """Return the bottles that the hold of the batch held, not those held before it.

    What only put one on another shelf is no hold of it.
    """
    held_at = (
        batch.status_changes.filter(new=BatchStatus.ON_HOLD)
        .order_by("-pk")
        .values_list("entered_at", flat=True)
        .first()
    )
    return (
        Bottle.objects.filter(filling_lot__batch=batch, status=BottleStatus.ON_HOLD)
        .annotate(
            held_since=models.Max(
                "events__entered_at",
                filter=~models.Q(events__old=models.F("events__new")),
            )
        )
        .filter(held_since__gte=held_at)
    )
