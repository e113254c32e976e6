"""Patch tests: one leaf sprayed first, and looked at a day or two later."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.chemistry.doses import HIGHEST_SPRAY_G_PER_L
from batches.lifecycle import BatchStatus
from batches.models import Batch, PatchTest
from batches.services import filling, moves
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import local_day, need_reason, plausible_time, require
from producer.services.numbers import next_code

Result = PatchTest.Result
# A leaf shows harm after a day or two: the cautions of a spray say 24 to 48 hours.
SOONEST = datetime.timedelta(hours=24)
LATEST = datetime.timedelta(hours=48)


@transaction.atomic
def begin_patch_test(
    *,
    by: User,
    source: Batch,
    plant: str,
    target_g_per_l: Decimal,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> PatchTest:
    """Record that one leaf of a plant was sprayed, at so many grams of soap a litre.

    ``observed_at`` is when. From a released batch within its life only: what is not
    good enough for the whole plant is not good enough for a leaf.
    """
    require(by, Right.MAKER)
    journal.in_line()
    batch = moves.locked(source)
    observed_at = plausible_time(observed_at or timezone.now())
    if batch.status != BatchStatus.RELEASED:
        raise Refusal(
            f"Batch {batch.number} is {BatchStatus(batch.status).label}. Only a"
            " released batch is sprayed."
        )
    if filling.use_by(batch) < local_day(observed_at):
        raise Refusal(f"Batch {batch.number} is past its life. Take another one.")
    if not 0 < target_g_per_l <= HIGHEST_SPRAY_G_PER_L:
        raise Refusal(
            f"A spray has above 0 and up to {HIGHEST_SPRAY_G_PER_L} g of soap a litre."
            " More harms plants. Check the unit: 1 % is 10 g/l.",
            field="target_g_per_l",
        )
    row = PatchTest(
        code=next_code("T", local_day(observed_at).year),
        source=batch.stock,
        plant=plant.strip(),
        target_g_per_l=target_g_per_l,
        sprayed_at=observed_at,
        note=note.strip(),
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    _write(by, row, "patch test begun", {}, submission)
    return row


@transaction.atomic
def look_at_patch_test(
    *,
    by: User,
    test: PatchTest,
    result: str,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> PatchTest:
    """Record how the leaf looks: a new row in the place of the one before.

    Unharmed is taken from 24 hours on: harm may come late. Harm may be told at once,
    and also of a leaf that was called unharmed.
    """
    require(by, Right.MAKER)
    _newest(test)
    observed_at = plausible_time(observed_at or timezone.now())
    if result not in {Result.UNHARMED, Result.HARMED}:
        raise Refusal("Say how the leaf looks.", field="result")
    since = observed_at - test.sprayed_at
    if since < datetime.timedelta(0):
        raise Refusal("It was sprayed after that. Check the time.", field="observed_at")
    if result == Result.UNHARMED and since < SOONEST:
        raise Refusal(
            "Harm can show late. Look again 24 to 48 hours after it was sprayed, and"
            " say then that it is unharmed.",
            field="result",
        )
    row = _after(
        test,
        by=by,
        observed_at=observed_at,
        reason=f"looked at: {Result(result).label}",
        result=result,
        note=note.strip() or test.note,
    )
    _write(by, row, "patch test looked at", _facts(test), submission)
    return row


@transaction.atomic
def take_back_patch_test(
    *,
    by: User,
    test: PatchTest,
    reason: str,
    submission: uuid.UUID | None = None,
) -> PatchTest:
    """Take a patch test back that was not as it is written; the rows stay."""
    require(by, Right.MAKER)
    _newest(test)
    row = _after(
        test,
        by=by,
        observed_at=timezone.now(),
        reason=need_reason(reason),
        result=test.result,
        note=test.note,
        is_void=True,
    )
    _write(by, row, "patch test taken back", _facts(test), submission)
    return row


def patch_tests_of(source: Batch, plant: str) -> list[PatchTest]:
    """Return the tests that stand of a plant with any batch of the same formula.

    The name of the plant is compared without capitals and outer blanks.
    """
    rows = PatchTest.objects.current().filter(
        source__batch__formula_version__formula=source.formula_version.formula_id
    )
    return [row for row in rows if _same(row.plant, plant)]


def what_tests_say(
    source: Batch, *, plant: str, rate: Decimal, at: datetime.datetime
) -> list[str]:
    """Return what is to be minded before a plant is sprayed at a rate; none if nothing.

    That needs a leaf unharmed at this rate or more, sprayed 24 hours before ``at``,
    and none harmed at this rate or less.
    """
    known = patch_tests_of(source, plant)
    minds = [
        f"At {row.target_g_per_l.normalize():f} g/l a leaf of {row.plant} was"
        f" {row.get_result_display()} ({row.code}). Do not spray the plant at this"
        " rate."
        for row in known
        if row.result == Result.HARMED and row.target_g_per_l <= rate
    ]
    unharmed = any(
        row.result == Result.UNHARMED
        and row.target_g_per_l >= rate
        and row.sprayed_at <= at - SOONEST
        for row in known
    )
    if not unharmed:
        minds.append(
            f"No leaf of {plant.strip()} was found unharmed at {rate.normalize():f} g/l"
            " or more a day after it was sprayed. Spray one leaf, and look in 24 to 48"
            " hours, before you spray the plant."
        )
    return minds


def to_look_at(now: datetime.datetime) -> list[PatchTest]:
    """Return the leaves that were sprayed a day ago or more and not looked at yet."""
    rows = PatchTest.objects.current().filter(
        result=Result.WAITING, sprayed_at__lte=now - SOONEST
    )
    return list(rows.select_related("source").order_by("sprayed_at", "pk"))


def _same(one: str, other: str) -> bool:
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def _newest(test: PatchTest) -> None:
    if PatchTest.objects.select_for_update().filter(supersedes=test).exists():
        raise Conflict(
            "Somebody looked at this leaf meanwhile. Open the list of sprays again."
        )
    if test.is_void:
        raise Conflict("This test was taken back; begin a new one.")


def _after(former: PatchTest, *, by: User, **changes: Any) -> PatchTest:
    row = PatchTest(
        code=former.code,
        source=former.source,
        plant=former.plant,
        target_g_per_l=former.target_g_per_l,
        sprayed_at=former.sprayed_at,
        supersedes=former,
        entered_by=by,
        **changes,
    )
    row.full_clean()
    row.save(force_insert=True)
    return row


def _facts(row: PatchTest) -> dict[str, Any]:
    return {
        "batch": row.source.code,
        "plant": row.plant,
        "target_g_per_l": str(row.target_g_per_l),
        "sprayed_at": row.sprayed_at.isoformat(),
        "result": row.result,
        "note": row.note,
        "is_void": row.is_void,
    }


def _write(
    by: User,
    row: PatchTest,
    act: str,
    before: dict[str, Any],
    submission: uuid.UUID | None,
) -> None:
    journal.write(
        by=by,
        act=act,
        subject=row,
        label=row.code,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
