"""A batch in the order in which an auditor reads it: what is unusual comes first."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from decimal import Decimal

from batches.models import Batch
from batches.services.planning import plan_of
from quality.models import Signature
from quality.services.judgement import zone_here
from quality.services.reading_order import judgements
from quality.services.reading_order.bottles import Filled, filled_from
from quality.services.reading_order.exceptions import (
    Exceptions,
    exceptions_of,
)
from quality.services.reading_order.inputs import Input, inputs_of
from quality.services.reading_order.instruments import Used, instruments_of
from quality.services.reading_order.judgements import Shown
from quality.services.reading_order.timeline import (
    Event,
    timeline,
)
from quality.services.reviewing import Review


@dataclasses.dataclass(frozen=True, kw_only=True)
class InOrder:
    """Everything about a batch that the review page shows besides its computations.

    ``shown`` are the judgements of today.
    """

    exceptions: Exceptions
    shown: list[Shown]
    inputs: list[Input]
    events: list[Event]
    used: list[Used]
    filled: list[Filled]
    need_g: Decimal | None


def in_order(
    batch: Batch,
    review: Review,
    signatures: Sequence[Signature],
    *,
    as_signed: Sequence[Shown] | None = None,
    differences: Sequence[str] = (),
    mark: str = ".",
) -> InOrder:
    """Return a batch in reading order; ``mark`` is the decimal mark of what is said.

    ``signatures`` are those of the batch with their marks, the oldest first. Where it
    is signed, ``as_signed`` are the judgements that count, instead of those of today,
    and ``differences`` what is not the same today.
    """
    entries = review.entries
    plan = plan_of(batch)
    events = timeline(entries, mark=mark)
    used = instruments_of(review.tools.tools, zone_here())
    shown = shown_of(review, mark=mark)
    return InOrder(
        exceptions=exceptions_of(
            batch,
            review,
            signatures,
            shown=shown if as_signed is None else as_signed,
            is_signed=as_signed is not None,
            events=events,
            used=used,
            differences=differences,
        ),
        shown=shown,
        inputs=inputs_of(entries, plan),
        events=events,
        used=used,
        filled=filled_from(batch),
        need_g=plan.alkali_need_g,
    )


def shown_of(review: Review, *, mark: str = ".") -> list[Shown]:
    """Return the judgements of a review as they are shown, titration last."""
    shown = [
        judgements.of_finding(one, review.entries, mark=mark) for one in review.findings
    ]
    if review.free_alkali is not None:
        shown.append(judgements.of_free_alkali(review.free_alkali, review.entries))
    return shown
