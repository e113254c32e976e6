"""Limits that were set after a batch was opened, by somebody who made it.

Whoever made a batch could set the limit so that it fits. Where somebody else could set
it, such a limit stops the release; on a one-person premises there is nobody, and it is
told, needs a reason, and stands in the judgement for ever.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence

from batches.models import Batch
from producer.services.alone import nobody_else
from quality.models import Limit
from quality.services.judging import Finding

WORDS = "set after the batch was opened, by somebody who made it; nobody else is here"


@dataclasses.dataclass(frozen=True, kw_only=True)
class LateLimits:
    """The findings with what is said of their limits; what stops; what is told."""

    findings: list[Finding]
    obstacles: list[str]
    notes: list[str]


def late_limits(
    batch: Batch, judged: Sequence[Finding], hands: Collection[int]
) -> LateLimits:
    """Return what a limit set by one of ``hands``, people who made it, does to it."""
    findings, obstacles, notes = [], [], []
    for finding in judged:
        limit, words = finding.limit, ""
        if limit is not None and _is_late_and_own(limit, batch, hands):
            label = finding.characteristic.label
            if nobody_else(limit.entered_by.person_id):
                notes.append(f"The limit for {label} was {WORDS}.")
                words = f" The limit was {WORDS}."
            else:
                obstacles.append(
                    f"The limit for {label} was set after the batch was opened, by"
                    " somebody who made it. Another reviewer sets a limit."
                )
        findings.append(dataclasses.replace(finding, sentence=finding.sentence + words))
    return LateLimits(findings=findings, obstacles=obstacles, notes=notes)


def _is_late_and_own(limit: Limit, batch: Batch, hands: Collection[int]) -> bool:
    return limit.entered_at > batch.entered_at and limit.entered_by.person_id in hands
