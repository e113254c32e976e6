"""The closing of a recall: signed with the password, and the count kept as it stood.

A :class:`.Signature` belongs to a batch, and a recall is none; so name, meaning, time
and who set the password stand in the facts of the closing event, with the counts and
masses that were seen. ``verify`` holds them against the SHA-256 in the journal.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
import uuid
from collections.abc import Iterator, Mapping
from typing import Any, Final

from django.db import transaction

from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Right, User
from producer.models.journal import canonical
from producer.services.checks import require
from quality.models import Recall, RecallEvent
from quality.services import recalling, signers
from quality.services.recall_balance import plain
from quality.services.recall_clearing import untold
from quality.services.recall_holders import TRIES, listed
from quality.services.recall_status import Standing, standing_of
from quality.services.still_signed import readable

MEANING: Final = "recall closed: all that can be done was done"
MOCK_MEANING: Final = "MOCK recall closed"
SHA256: Final = "facts_sha256"
PLACES: Final = ("here", "retained", "returned", "recovered", "destroyed", "out")


def close(
    *,
    by: User,
    recall: Recall,
    note: str,
    password: str,
    why_not: str = "",
    seen: str = "",
    submission: uuid.UUID | None = None,
) -> Recall:
    """Close a recall whose holders were told, and keep the count as it stands.

    ``why_not`` is needed where a holder was not tried, or fewer were reached than the
    level of checks asks for and not each of the others was tried three times.
    ``seen`` is :func:`digest_of` as the page showed it: nobody signs what has changed
    since. A lot that the recall held is to be decided about again, and stays on hold.
    """
    require(by, Right.REVIEWER)
    # Before the transaction: it is slow on purpose, and others would wait for it.
    if not by.check_password(password):
        raise Refusal(
            "This is not your password. Nothing was closed.", field="password"
        )
    with transaction.atomic():
        return _close(by, recall, note.strip(), why_not.strip(), seen, submission)


def _close(
    by: User,
    recall: Recall,
    note: str,
    why_not: str,
    seen: str,
    submission: uuid.UUID | None,
) -> Recall:
    journal.in_line()
    if not note:
        raise Refusal("Write what was done; the note stays on record.", field="note")
    now = standing_of(recall)
    if seen and seen != digest_of(now):
        raise Conflict(
            "Something changed since you read this page: an attempt, a bottle or a"
            " mass. Read it again, then sign."
        )
    lacking = list(in_the_way(now))
    if lacking and not why_not:
        raise Refusal(
            f"{' '.join(lacking)} Do it, or write why not.",
            field="why_not",
        )
    old = recall.status
    closed_at = recalling.move_on(recall, Recall.Status.CLOSED)
    facts = _facts(by, now, why_not, closed_at)
    recalling.keep_event(by, recall, note, facts)
    journal.write(
        by=by,
        act="mock recall closed" if recall.is_mock else "recall closed",
        subject=recall,
        label=recall.code,
        before={"status": old},
        after={
            "status": recall.status,
            SHA256: sha256_of(facts),
            **signers.in_the_journal(signers.password_set_by(by), None),
        },
        reason=note,
        submission=submission,
    )
    return recall


def meaning_of(recall: Recall) -> str:
    """Return what a signature under the closing says."""
    return MOCK_MEANING if recall.is_mock else MEANING


def in_the_way(now: Standing) -> Iterator[str]:
    """Yield what was not done that a closing asks for; with a reason it may close."""
    effect = now.effect
    if now.drift:
        yield "The book was corrected since, and the recall was not looked at again."
    if not now.recall.is_mock:
        if now.evaluation is None:
            yield "How bad it could be was not written down."
        waiting = len(untold(now.cleared))
        if waiting:
            yield f"Alarmed for nothing and not told so: {waiting}."
    untried = sum(
        1 for one in listed(now.balance.holders) if not one.tries and not one.is_done
    )
    if untried:
        of = f"Not tried: {untried} of the holders, who are {effect.listed}."
        if now.recall.is_mock:
            of = (
                f"Of {untried} of the holders, who are {effect.listed}, it is not said"
                " yet whether you would reach them."
            )
        yield of
    enough = all(
        one.is_tried_enough for one in listed(now.balance.holders) if one.tries
    )
    if effect.reached < effect.to_reach and not enough and not now.recall.is_mock:
        yield (
            f"{effect.reached} holders were reached, the level of checks asks for"
            f" {effect.to_reach}, and not each of the others was tried {TRIES} times."
        )


def digest_of(now: Standing) -> str:
    """Return the SHA-256 of what a closing would keep, without times."""
    return sha256_of({**plain(now.balance), **_reach(now), "status": now.recall.status})


def _reach(now: Standing) -> dict[str, Any]:
    """Return what was recalled and how bad it is held to be, as JSON to be kept."""
    recall = now.recall
    batches = recall.items.standing().filter(stock__kind="batch")
    return {
        "began_with": now.subject,
        "hazard_class": recall.hazard_class,
        "depth": recall.depth,
        "evaluation": now.evaluation.pk if now.evaluation else None,
        "batches": list(batches.order_by("pk").values_list("stock__code", flat=True)),
        "roots": [
            [row.stock_id, row.filling_lot_id, row.is_walked]
            for row in recall.roots.standing().order_by("pk")
        ],
    }


def sha256_of(facts: Mapping[str, Any]) -> str:
    """Return the SHA-256 of facts as canonical JSON."""
    return hashlib.sha256(canonical(facts).encode()).hexdigest()


def faults() -> Iterator[str]:
    """Yield a fault where the count kept at a closing is not the one that was signed.

    Closings from before counts were kept have none, and no hash in the journal.
    """
    events = RecallEvent.objects.filter(new=Recall.Status.CLOSED)
    signed = _signed()
    for event in events.select_related("recall").order_by("pk").iterator():
        code = event.recall.code
        kept = signed.pop(event.recall_id, None)
        if event.facts is None and kept is None:
            continue
        if event.facts is None or kept != sha256_of(event.facts):
            yield f"Recall {code}: the count kept at its closing is not the one signed."
            continue
        fault = readable(functools.partial(_adds_up, event.facts))
        if fault:
            yield f"Recall {code}: {fault}"
    for recall in Recall.objects.filter(pk__in=signed).order_by("pk"):
        yield f"Recall {recall.code}: its closing was signed and is not there."


def _signed() -> dict[int, str]:
    entries = JournalEntry.objects.filter(
        subject_kind="recall", after__contains=f'"{SHA256}":'
    )
    return {
        int(entry.subject_id): str(entry.after_values[SHA256])
        for entry in entries.order_by("sequence").iterator()
    }


def _adds_up(facts: Mapping[str, Any]) -> str:
    """Return that the kept places of bottles miss some and no sentence says so."""
    bottles = facts["bottles"]
    placed = sum(bottles[place] for place in PLACES)
    if placed != bottles["filled"] and not facts["open_ends"]:
        return (
            f"{bottles['filled']} bottles were filled and {placed} placed at its"
            " closing, and nothing was said of it."
        )
    return ""


def _facts(
    by: User, now: Standing, why_not: str, at: datetime.datetime
) -> dict[str, Any]:
    set_by = signers.password_set_by(by)
    return {
        "signature": {
            "name": by.person.name,
            "account": by.username,
            "meaning": meaning_of(now.recall),
            "at": at.isoformat(),
            **({signers.SET_BY: set_by} if set_by else {}),
        },
        "is_mock": now.recall.is_mock,
        "level": dict(now.level) if now.level else None,
        "why_not": why_not,
        "listed": now.effect.listed,
        "tried": now.effect.tried,
        "reached": now.effect.reached,
        "seconds": _seconds(now, at),
        **_reach(now),
        **plain(now.balance),
    }


def _seconds(now: Standing, closed: datetime.datetime) -> dict[str, int | None]:
    """Return how many seconds after the opening each step was done."""
    found = {
        one.slug: None if one.after is None else int(one.after.total_seconds())
        for one in now.times
    }
    found["closed"] = int((closed - now.recall.opened_at).total_seconds())
    return found
