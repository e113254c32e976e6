"""Does everything still add up? Each check walks its rows and yields its faults.

A fault is a sentence for people. The checks compare records that were written apart:
what one hand behind the program changes, another row still says otherwise. Nothing is
repaired here, and nothing is written.

What cannot be found from inside: a journal that was written anew as a whole, with rows
to match. Against that stands a hash noted elsewhere; see :mod:`.noted`.
"""

from __future__ import annotations

from itertools import chain

from batches.models import Batch, Bottle, Charge, FillingLot, Portion, SprayMix
from batches.services import item_numbers
from producer import journal
from producer.models import (
    Attachment,
    JournalEntry,
    NumberSeries,
    RawLot,
    StockMovement,
)
from quality.models import (
    Complaint,
    DeviationStep,
    Recall,
    SelfInspection,
    Signature,
)
from quality.services import (
    complaints,
    deviating,
    recall_closing,
    self_inspections,
    signing,
)
from quality.services.verification import (
    clock,
    database,
    files,
    masses,
    mixes,
    moved,
    portions,
    rows,
    series,
    states,
    store,
    taken_back,
)
from quality.services.verification.checks import Check, Remark, Tell, quiet, untold

__all__ = ["CHECKS", "Check", "Remark", "Tell", "quiet", "untold"]


def _count_states() -> int:
    return RawLot.objects.count() + Batch.objects.count() + Bottle.objects.count()


def _count_signed() -> int:
    return Signature.objects.count() + DeviationStep.objects.count()


CHECKS = (
    Check(
        name="Tables and triggers of the database",
        count=database.count,
        walk=untold(database.faults),
    ),
    Check(
        name="Journal, row by row",
        count=JournalEntry.objects.count,
        walk=lambda tell: chain(journal.faults(tell=tell), clock.steps_back()),
    ),
    Check(
        name="Rows of every table, as the journal has them",
        count=rows.count,
        walk=rows.faults,
    ),
    Check(
        name="Signatures and what they signed",
        count=_count_signed,
        walk=untold(lambda: chain(signing.faults(), deviating.faults())),
    ),
    Check(
        name="Numbers given out",
        count=NumberSeries.objects.count,
        walk=untold(series.faults),
    ),
    Check(
        name="Uploaded files",
        count=Attachment.objects.count,
        walk=files.faults,
    ),
    Check(
        name="Stock ledger",
        count=StockMovement.objects.count,
        walk=masses.ledger_faults,
    ),
    Check(
        name="Containers and stock-takes",
        count=store.count,
        walk=untold(lambda: chain(store.container_faults(), store.count_faults())),
    ),
    Check(
        name="Charges and genealogy",
        count=Charge.objects.count,
        walk=untold(lambda: chain(masses.genealogy_faults(), moved.faults())),
    ),
    Check(
        name="What batches made",
        count=Batch.objects.count,
        walk=untold(masses.bulk_faults),
    ),
    Check(
        name="Spray mixes and what they drew",
        count=SprayMix.objects.count,
        walk=untold(mixes.faults),
    ),
    Check(
        name="Portions and what was taken out of them",
        count=Portion.objects.count,
        walk=untold(portions.faults),
    ),
    Check(
        name="Filling lots and bottles",
        count=FillingLot.objects.count,
        walk=untold(lambda: chain(masses.filling_faults(), item_numbers.faults())),
    ),
    Check(
        name="States and the moves that led to them",
        count=_count_states,
        walk=untold(states.status_faults),
    ),
    Check(
        name="Moves of bottles, and what was taken back",
        count=taken_back.count,
        walk=untold(taken_back.faults),
    ),
    Check(
        name="Complaints and self-inspections",
        count=lambda: Complaint.objects.count() + SelfInspection.objects.count(),
        walk=untold(lambda: chain(complaints.faults(), self_inspections.faults())),
    ),
    Check(
        name="Recalls and what they hold",
        count=Recall.objects.count,
        walk=untold(lambda: chain(states.recall_faults(), recall_closing.faults())),
    ),
)
