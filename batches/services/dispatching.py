"""Bottles leave for a consignee."""

from __future__ import annotations

import datetime
import uuid
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence

from django.db import transaction
from django.utils import timezone

from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle, Dispatch, FillingLot
from batches.services import filling
from batches.services.leaving import AT_A_TIME, Stop, fresh, stops
from producer import journal
from producer.codes import grouped, is_bottle_code, normalise
from producer.errors import Conflict, Refusal
from producer.models import Consignee, Right, User
from producer.services.checks import (
    existed_at,
    local_day,
    not_before,
    plausible_time,
    require,
)
from producer.services.numbers import next_code

# What the results say against a batch: its id with a sentence, for those it concerns.
Barred = Callable[[Collection[Batch]], Mapping[int, str]]
SCANNED_TWICE = "scanned twice: if these are two bottles, report it"


def bottles_by_range(lot: FillingLot, first: int, last: int) -> list[Bottle]:
    """Return the bottles numbered ``first`` to ``last`` of a filling lot."""
    if not 1 <= first <= last <= lot.count:
        raise Refusal(
            f"{lot.code} has bottles 1 to {lot.count}. Write the first and the last.",
            field="first",
        )
    return list(lot.bottles.listed().filter(number__gte=first, number__lte=last))


def bottles_by_codes(text: str) -> list[Bottle]:
    """Return the bottles whose codes or addresses stand in ``text``, one a line.

    Two lines with one code are refused: they may be two bottles.
    """
    codes = [normalise(line) for line in text.split()]
    wrong = [code for code in codes if not is_bottle_code(code)]
    if wrong:
        raise Refusal(
            f"“{wrong[0]}” is not a bottle code; a character is wrong or missing. Scan"
            " or type it again.",
            field="codes",
        )
    twice = [code for code, times in Counter(codes).items() if times > 1]
    if twice:
        words = ", ".join(grouped(code) for code in twice)
        raise Refusal(
            f"{words}: {SCANNED_TWICE}. If it was one bottle, take one of the lines"
            " out.",
            field="codes",
        )
    found: dict[str, Bottle] = {}
    for start in range(0, len(codes), AT_A_TIME):
        rows = Bottle.objects.listed().filter(code__in=codes[start : start + AT_A_TIME])
        found |= {bottle.code: bottle for bottle in rows}
    unknown = [code for code in codes if code not in found]
    if unknown:
        raise Refusal(
            f"{grouped(unknown[0])} was not issued by this premises.", field="codes"
        )
    return [found[code] for code in codes]


def chosen(
    *,
    codes: str,
    filling_lot: str,
    first: int | None,
    last: int | None,
    states: Collection[str] = (BottleStatus.FILLED,),
) -> list[Bottle]:
    """Return the bottles of a form: by codes, by a range, or a whole filling lot.

    Of a whole filling lot those in one of ``states``; what a range names is taken as
    named, and what cannot go is then refused.
    """
    bottles = bottles_by_codes(codes)
    if not filling_lot.strip():
        if first or last:
            raise Refusal(
                "Write of which filling lot these are the numbers.", field="filling_lot"
            )
        return bottles
    lot = FillingLot.objects.filter(code=filling_lot.strip().upper()).first()
    if lot is None:
        raise Refusal("No filling lot has this code.", field="filling_lot")
    if first or last:
        return bottles + bottles_by_range(lot, first or 1, last or lot.count)
    here = list(lot.bottles.listed().filter(status__in=states))
    if not here:
        raise Refusal(
            f"No bottle of {lot.code} is there for this.", field="filling_lot"
        )
    return bottles + here


@transaction.atomic
def dispatch(
    *,
    by: User,
    bottles: Sequence[Bottle],
    consignee: Consignee,
    barred: Barred,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Dispatch:
    """Record that bottles left for a consignee; all of them or none.

    ``barred`` says what the results have against a batch of these leaving for this
    consignee; it is :func:`quality.services.supplying.barred_for`. There is no
    dispatch without it.
    """
    require(by, Right.MAKER)
    journal.in_line()
    consignee = Consignee.objects.get(pk=consignee.pk)
    if consignee.erased_at is not None:
        raise Refusal(
            "The contact data of this consignee were erased. Register them anew.",
            field="consignee",
        )
    if not bottles:
        raise Refusal("Choose at least one bottle.", field="codes")
    observed_at = plausible_time(observed_at or timezone.now())
    each_once(bottles)
    bottles = fresh(bottles)
    _after_filling(bottles, observed_at)
    # Told as earlier, it must be in date today as well: else a date typed would do.
    last_day = local_day(max(observed_at, timezone.now()))
    for found in stops(bottles, consignee, last_day).values():
        raise _refusal(found[0])
    row = Dispatch(
        code=next_code("D", local_day(observed_at).year),
        consignee=consignee,
        note=note,
        observed_at=observed_at,
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    for words in barred(_locked_released_batches(bottles)).values():
        raise Refusal(words, field="codes")
    _send(by, row, bottles)
    journal.write(
        by=by,
        act="bottles dispatched",
        subject=row,
        label=row.code,
        after={
            "consignee": consignee.reference,
            "bottles": [bottle.code for bottle in bottles],
        },
        submission=submission,
    )
    return row


def _refusal(stop: Stop) -> Refusal:
    return Refusal(f"{stop.words} Nothing was dispatched.", field=stop.field)


def _after_filling(bottles: Sequence[Bottle], observed_at: datetime.datetime) -> None:
    """Refuse a time at which one of the bottles was not filled yet."""
    last = max(existed_at(bottle.filling_lot) for bottle in bottles)
    not_before(
        observed_at, last, was="These bottles were filled", what="a dispatch of them"
    )


def each_once(bottles: Sequence[Bottle]) -> None:
    """Refuse bottles of which one is among them twice."""
    counted = Counter(bottle.pk for bottle in bottles)
    for bottle in bottles:
        if counted[bottle.pk] > 1:
            raise Refusal(
                f"Bottle {grouped(bottle.code)} is among them twice: by its code and"
                f" in the range, or {SCANNED_TWICE}.",
                field="codes",
            )


def _send(by: User, row: Dispatch, bottles: Sequence[Bottle]) -> None:
    ids = [bottle.pk for bottle in bottles]
    for start in range(0, len(ids), AT_A_TIME):
        piece = ids[start : start + AT_A_TIME]
        # No join here: having waited for a row, PostgreSQL looks again at that row
        # alone, and would send a bottle that was held a moment ago.
        changed = Bottle.objects.filter(
            pk__in=piece, status=BottleStatus.FILLED
        ).update(status=BottleStatus.DISPATCHED, consignee=row.consignee)
        if changed != len(piece):
            raise Conflict(
                "One of these bottles has left, or was put on hold, a moment ago."
                " Nothing was dispatched; look again."
            )
    filling.add_events(
        by=by,
        bottles=bottles,
        old=BottleStatus.FILLED,
        new=BottleStatus.DISPATCHED,
        dispatch_id=row.pk,
        observed_at=row.observed_at,
    )


def _locked_released_batches(bottles: Sequence[Bottle]) -> list[Batch]:
    """Lock the batches until the transaction ends: nobody holds one meanwhile."""
    ids = {bottle.filling_lot.batch_id for bottle in bottles}
    batches = list(
        Batch.objects.select_for_update(of=("self",))
        .select_related("stock", "formula_version__formula")
        .filter(pk__in=ids)
        .order_by("pk")
    )
    if any(batch.status != BatchStatus.RELEASED for batch in batches):
        raise Conflict(
            "The batch of one of these bottles was put on hold a moment ago. Nothing"
            " was dispatched; look again."
        )
    return batches
