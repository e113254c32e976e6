"""The release of a filling lot: its bottles may leave, and what was looked at first."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Iterator
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.lifecycle import BatchStatus
from batches.models import (
    Batch,
    FillingBalance,
    FillingLot,
    FillingRelease,
    LabelCount,
    LabelIssue,
    RetainedSample,
    SampleLook,
)
from batches.services import carried, moves
from batches.services.bottle_doubts import open_doubts
from batches.services.carried import TO_LEAVE
from batches.services.label_counts import Reconciliation, reconciliation
from producer import journal
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.alone import may_review_alone
from producer.services.checks import require
from quality.models import FillCheck, FillCheckTakenBack
from quality.services import deviations, weighings

WHAT = "filling or entered something about it"


@dataclasses.dataclass(frozen=True, kw_only=True)
class LookedAt:
    """What a release rests on, as it stands now.

    ``check`` is the newest weighing of the bottles; ``to_leave`` is how many bottles
    are here that may leave once they are released.
    """

    lot: FillingLot
    balance: FillingBalance | None
    release: FillingRelease | None
    labels: Reconciliation
    check: FillCheck | None
    samples: list[RetainedSample]
    to_leave: int

    @property
    def changed(self) -> bool:
        """Say whether a sample was found changed, by a look that stands."""
        return any(
            look.state == SampleLook.State.CHANGED
            for sample in self.samples
            for look in sample.looks.all()
        )

    @property
    def is_checked(self) -> bool:
        """Say whether the newest weighing was accepted and stops nothing."""
        return self.check is not None and not weighings.failed(self.check)

    @property
    def is_labelled(self) -> bool:
        """Say whether the labels add up and each bottle that may leave has one."""
        return self.labels.closes and self.labels.applied >= self.to_leave


@transaction.atomic
def release(
    *,
    by: User,
    filling_lot: FillingLot,
    note: str = "",
    submission: uuid.UUID | None = None,
) -> FillingRelease:
    """Let the bottles of a filling lot leave; refuse with all that stands in the way.

    By a reviewer who had no hand in it, unless the premises is a one-person one and
    the pause is over: then it says so for ever. ``note`` is needed where no sample is
    kept, or one changed since the filling, and says why.
    """
    require(by, Right.REVIEWER)
    journal.in_line()
    moves.locked(filling_lot.batch)
    found = looked_at(filling_lot)
    if found.balance is None:
        raise Refusal(
            f"{filling_lot.code} was filled before releases were asked for. Its"
            " bottles may leave as they are."
        )
    if found.release is not None:
        raise Conflict(f"{filling_lot.code} was released a moment ago. Look again.")
    note = note.strip()
    obstacles = list(in_the_way(found, note=note))
    if obstacles:
        raise Refusal(
            f"{filling_lot.code} cannot be released. {' '.join(obstacles)}",
            field=None if len(obstacles) > 1 else _field(found, note),
        )
    pause = None
    if is_own_work(filling_lot, by):
        pause = may_review_alone(by=by, last_at=last_entry_at(filling_lot), what=WHAT)
    row = FillingRelease(
        filling_lot=filling_lot,
        self_reviewed=pause is not None,
        facts=_facts(found, pause),
        note=note,
        observed_at=timezone.now(),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=by,
        act="filling lot released",
        subject=filling_lot,
        label=filling_lot.code,
        after={"self_reviewed": row.self_reviewed, "note": note, **row.facts},
        submission=submission,
    )
    return row


def looked_at(filling_lot: FillingLot) -> LookedAt:
    """Return what there is to look at; a fixed number of queries."""
    released = FillingRelease.objects.filter(filling_lot=filling_lot)
    samples = filling_lot.samples.listed()
    return LookedAt(
        lot=filling_lot,
        balance=FillingBalance.objects.filter(filling_lot=filling_lot).first(),
        release=released.select_related("entered_by__person").first(),
        labels=reconciliation(filling_lot),
        check=weighings.newest_check(filling_lot),
        samples=list(samples),
        to_leave=filling_lot.bottles.filter(status__in=TO_LEAVE).count(),
    )


def in_the_way(found: LookedAt, *, note: str = "") -> Iterator[str]:
    """Yield a sentence for each thing that keeps the bottles here."""
    yield from _of_batch(found.lot)
    yield from _of_labels(found)
    yield from _of_contents(found)
    yield from _of_samples(found, note)
    yield from _of_bottles(found.lot)


def is_own_work(filling_lot: FillingLot, user: User) -> bool:
    """Say whether this person filled the lot, weighed its bottles or counted labels."""
    return user.person_id in _hands(filling_lot)


def last_entry_at(filling_lot: FillingLot) -> datetime.datetime:
    """Return when something about the lot was last entered."""
    rows = (
        filling_lot.fill_checks.all(),
        FillCheckTakenBack.objects.filter(fill_check__filling_lot=filling_lot),
        LabelCount.objects.filter(filling_lot=filling_lot),
        LabelIssue.objects.filter(filling_lot=filling_lot),
        filling_lot.samples.all(),
    )
    times = [
        at
        for one in rows
        for at in one.order_by("-entered_at").values_list("entered_at", flat=True)[:1]
    ]
    return max(filling_lot.entered_at, *times) if times else filling_lot.entered_at


def _hands(filling_lot: FillingLot) -> set[int]:
    # Not who looked at a sample later: that is judging what was made.
    counted = LabelCount.objects.filter(filling_lot=filling_lot)
    issued = LabelIssue.objects.filter(filling_lot=filling_lot)
    return {
        *issued.values_list("entered_by__person_id", flat=True),
        *filling_lot.samples.values_list("entered_by__person_id", flat=True),
        filling_lot.entered_by.person_id,
        *filling_lot.fill_checks.values_list("entered_by__person_id", flat=True),
        *counted.values_list("entered_by__person_id", flat=True),
    }


def _of_batch(lot: FillingLot) -> Iterator[str]:
    batch = Batch.objects.select_related("stock").get(pk=lot.batch_id)
    if batch.status != BatchStatus.RELEASED:
        yield f"Batch {batch.number} is {BatchStatus(batch.status).label}."
    yield from deviations.in_the_way(deviations.of_stocks([batch.pk]))


def _of_labels(found: LookedAt) -> Iterator[str]:
    labels = found.labels
    if not labels.closes:
        yield f"The labels do not add up: {labels.sentence}"
    elif labels.applied < found.to_leave:
        yield (
            f"{found.to_leave} bottles are here to leave, and {labels.applied} labels"
            " are counted as applied. Label the others, or count again."
        )
    here = list(found.lot.bottles.filter(status__in=TO_LEAVE))
    without = carried.without_label(here)
    bare = sorted(one.number for one in here if one.pk in without)
    if bare:
        numbers = ", ".join(map(str, bare[:10]))
        yield f"No label was issued for bottle {numbers}. Issue it, or destroy them."
    wrong = carried.wrong_class(here)
    for words in dict.fromkeys(wrong.values()):
        those = sorted(one.number for one in here if wrong.get(one.pk) == words)
        numbers = ", ".join(map(str, those[:10]))
        yield f"Bottle {numbers} {words}"
    for label in carried.outdated([found.lot]).get(found.lot.pk, ()):
        yield (
            f"Bottles carry label text {label}, which was withdrawn, or the hazard"
            " class is another one now. Print them anew from an approved text."
        )


def _of_contents(found: LookedAt) -> Iterator[str]:
    if found.check is None:
        yield "No bottle was weighed against its label yet."
    elif not found.is_checked:
        yield (
            "The newest weighing of the bottles was not accepted. Top them up, and"
            " weigh them again."
        )


def _of_samples(found: LookedAt, note: str) -> Iterator[str]:
    if not found.samples and not note:
        yield (
            "No sample of it is kept. Keep one, or write in the note why there is none."
        )
    elif found.changed and not note:
        yield (
            "A sample of it changed since the filling. Write in the note why its"
            " bottles may leave all the same."
        )


def _of_bottles(lot: FillingLot) -> Iterator[str]:
    for doubt in open_doubts(list(lot.bottles.all())):
        yield (
            f"Bottle {grouped(doubt.bottle.code)} is in doubt:"
            f" {doubt.get_kind_display()}. Settle that first."
        )


def _field(found: LookedAt, note: str) -> str | None:
    """Return the field of the form that the one obstacle there is belongs to."""
    return "note" if list(_of_samples(found, note)) else None


def _facts(found: LookedAt, pause: int | None) -> dict[str, Any]:
    """Return what was looked at, as plain JSON."""
    balance, check, labels = found.balance, found.check, found.labels
    if balance is None or check is None:
        raise AssertionError("what is not there stands in the way of a release")
    return {
        "labels": {
            "issued": labels.issued,
            "applied": labels.applied,
            "spoiled": labels.spoiled,
            "returned": labels.returned,
            "specimen": labels.specimen,
        },
        "check": {"id": check.pk, "sentence": check.sentence},
        "samples": [sample.pk for sample in found.samples],
        "mass": mass_of(balance),
        "bottles": found.to_leave,
        **({"pause_hours": pause} if pause is not None else {}),
    }


def mass_of(balance: FillingBalance) -> dict[str, int | None]:
    """Return where the mass of a filling went, in milligrams."""
    lot = balance.filling_lot
    return {
        "before_mg": balance.before_mg,
        "filled_mg": lot.filled_mg,
        "loss_mg": lot.loss_mg,
        "sample_mg": balance.sample_mg,
        "rest_mg": balance.rest_mg,
        "unexplained_mg": balance.unexplained_mg,
    }
