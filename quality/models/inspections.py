"""Self-inspections: an audit of one's own, held once a year, and what came of it."""

from __future__ import annotations

from django.db import models

from batches.models import Bottle
from producer.models import Correctable, RawLot
from producer.models.records import CorrectableQuerySet


class SelfInspection(Correctable):
    """An audit that was held: what was drawn, what was missing, what was found.

    ``number`` is that of the draw, by which the same bottle and lot are drawn again.
    ``missing`` is what the program found missing at that moment, in sentences without
    names of persons; ``findings`` what the auditor says, with who does what by when.
    """

    number = models.CharField("number of the draw", max_length=40)
    bottle = models.ForeignKey(
        Bottle, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lot = models.ForeignKey(
        RawLot, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    findings = models.TextField("what was found, and who does what about it by when")
    missing = models.JSONField("what was missing then", default=list, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("-observed_at", "-pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=~models.Q(number=""), name="self_inspection_has_number"
            ),
            models.CheckConstraint(
                condition=~models.Q(findings=""),
                name="self_inspection_has_findings",
                violation_error_message="Write what was found; “nothing” is a finding.",
            ),
        ]

    def __str__(self) -> str:
        return f"self-inspection {self.number}"
