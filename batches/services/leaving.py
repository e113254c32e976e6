"""Why a bottle may not leave, as far as the records of the making know it.

What the results say against it, :mod:`quality.services.supplying` hands down to
:func:`.dispatching.dispatch`, because imports run one way.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Collection, Iterator, Sequence

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, Bottle, FillingLot, Formula
from batches.services import carried, filling_state, label_counts
from batches.services.bottle_doubts import open_doubts
from batches.services.formulas import number_refused
from producer.codes import grouped
from producer.models import Consignee, RulesCheck
from producer.services import rules

AT_A_TIME = 500  # bottles in one query; SQLite counts its variables


@dataclasses.dataclass(frozen=True, kw_only=True)
class Stop:
    """A sentence that stands in the way, and the field of the form it concerns."""

    words: str
    field: str = "codes"


def fresh(bottles: Sequence[Bottle]) -> list[Bottle]:
    """Return the bottles as they stand now, in the same order, each once."""
    ids = list(dict.fromkeys(bottle.pk for bottle in bottles))
    found: dict[int, Bottle] = {}
    for start in range(0, len(ids), AT_A_TIME):
        found |= Bottle.objects.listed().in_bulk(ids[start : start + AT_A_TIME])
    return [found[pk] for pk in ids]


def stops(
    bottles: Sequence[Bottle], consignee: Consignee | None, on: datetime.date
) -> dict[int, list[Stop]]:
    """Return by the id of each bottle what stands in its way on that day.

    A fixed number of queries for all of them, and those for the soap content of each
    batch. Without a consignee what stands in the way of anybody.
    """
    lots = {bottle.filling_lot_id: bottle.filling_lot for bottle in bottles}
    within = trace.blocked(sorted({lot.batch_id for lot in lots.values()}))
    # What is printed after the release opens the count again: one may be elsewhere.
    unreleased = {
        **label_counts.too_few(list(lots.values())),
        **label_counts.open_counts(list(lots.values())),
        **filling_state.why_not_leaving(list(lots.values())),
    }
    old_texts = carried.outdated(list(lots.values()))
    bare = carried.without_label(bottles)
    classes = carried.wrong_class(bottles)
    own, doubles = _doubts(bottles)
    by_lot = {
        lot.pk: [
            *_of_batch(lot.batch, within.get(lot.batch_id, ())),
            *_of_lot(lot, unreleased.get(lot.pk, ""), doubles, on),
            *(_of_text(text) for text in old_texts.get(lot.pk, ())),
        ]
        for lot in lots.values()
    }
    sprays = _sprays([lot.batch for lot in lots.values()], consignee)
    found: dict[int, list[Stop]] = {}
    for bottle in bottles:
        lot, label = lots[bottle.filling_lot_id], f"Bottle {grouped(bottle.code)}"
        said = [Stop(words=f"{label} {words}") for words in by_lot[lot.pk]]
        if lot.batch_id in sprays:
            words = f"{label} {sprays[lot.batch_id]}"
            said.append(Stop(words=words, field="consignee"))
        if bottle.pk in bare:
            said.append(Stop(words=f"{label} has no label. Issue one and put it on."))
        if bottle.pk in classes:
            said.append(Stop(words=f"{label} {classes[bottle.pk]}"))
        found[bottle.pk] = [*_of_bottle(bottle, own.get(bottle.pk)), *said]
    return {pk: one for pk, one in found.items() if one}


def _doubts(bottles: Sequence[Bottle]) -> tuple[dict[int, str], dict[int, str]]:
    """Return the open doubts in words: by bottle, and of doubles by filling lot."""
    own: dict[int, str] = {}
    doubles: dict[int, str] = {}
    for doubt in open_doubts(bottles):
        own[doubt.bottle_id] = doubt.get_kind_display()
        if doubt.kind == doubt.Kind.DUPLICATE:
            doubles[doubt.bottle.filling_lot_id] = grouped(doubt.bottle.code)
    return own, doubles


def _of_bottle(bottle: Bottle, doubt: str | None) -> Iterator[Stop]:
    label = f"Bottle {grouped(bottle.code)}"
    if bottle.status != BottleStatus.FILLED:
        status = BottleStatus(bottle.status).label
        yield Stop(words=f"{label} is {status} and cannot leave.")
    if doubt:
        yield Stop(
            words=(
                f"{label} is in doubt: {doubt}. A reviewer settles that before it"
                " leaves."
            )
        )


def _of_text(text: str) -> str:
    return (
        f"is of a filling lot that carries the label text {text}, which may not be"
        " printed any more: it was withdrawn, or the hazard class is another one now."
        " Print its labels anew from an approved text."
    )


def _of_batch(batch: Batch, within: Collection[str]) -> Iterator[str]:
    if batch.status != BatchStatus.RELEASED:
        status = BatchStatus(batch.status).label
        yield f"comes from batch {batch.number}, which is {status}. It cannot leave."
    if within:
        # A batch is held with what is in it; this asks again at the door. What was
        # rejected and then released for rework lets go.
        yield (
            f"is of batch {batch.number}, and bottles of that cannot leave:"
            f" {', '.join(within)}. A reviewer decides about that first."
        )


def _of_lot(
    lot: FillingLot, unreleased: str, doubles: dict[int, str], on: datetime.date
) -> Iterator[str]:
    if lot.use_by < on:
        yield "is past its use-by date."
    if unreleased:
        yield f"cannot leave yet. {unreleased}"
    if lot.pk in doubles:
        yield (
            f"is of {lot.code}, of which two bottles bear the code {doubles[lot.pk]}:"
            " one of that filling lot has a code that is not its own. A reviewer"
            " settles that before any of them leaves."
        )


def _sprays(batches: Sequence[Batch], consignee: Consignee | None) -> dict[int, str]:
    """Return what stands in the way of supplying a spray against pests, by batch."""
    if consignee is None or consignee.kind == Consignee.Kind.OWN_USE:
        return {}
    words = ""
    found: dict[int, str] = {}
    for batch in batches:
        version = batch.formula_version
        if version.formula.purpose != Formula.Purpose.SPRAY:
            continue
        refused = number_refused(
            version.authority_reference,
            version.authority_checked_on,
            written_at=version.entered_at,
        )
        # Also one from before such a number was refused opens no gate.
        has_number = version.authority_reference and version.authority_checked_on
        if has_number and refused is None:
            continue
        words = words or (
            "is a spray, and no authority's number with its date is recorded for it:"
            " it is for own use on the premises only. Selling or giving away a spray"
            " against pests is regulated."
            f" {rules.hint(RulesCheck.Topic.SPRAY)} If your authority has given you a"
            " number, record it with the day in a new version of the formula."
        )
        found[batch.pk] = f"{words} {refused.message}" if refused else words
    return found
