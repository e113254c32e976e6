"""What was recorded of bottles by mistake, and taken back by a row with a reason."""

from __future__ import annotations

from django.db import models

from batches.models.bottles import BottleEvent, Dispatch
from producer.models import Record


class DispatchTakenBack(Record):
    """A dispatch that never was: its bottles did not leave for that consignee."""

    dispatch = models.OneToOneField(
        Dispatch, on_delete=models.PROTECT, related_name="taken_back"
    )
    reason = models.TextField("why it is taken back")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""), name="dispatch_taken_back_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"dispatch taken back {self.pk}"


class DestructionTakenBack(Record):
    """A bottle that was recorded as destroyed by ``event``, and never was."""

    event = models.OneToOneField(
        BottleEvent, on_delete=models.PROTECT, related_name="taken_back"
    )
    reason = models.TextField("why it is taken back")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="destruction_taken_back_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"destruction taken back {self.pk}"
