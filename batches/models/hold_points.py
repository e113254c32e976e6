"""Hold points: what must be in order before the first charge is weighed."""

from __future__ import annotations

from django.db import models

from batches.models.batches import Batch
from batches.models.transcriptions import Transcription
from producer.models import Correctable, Instrument, TareWeighing
from producer.models.records import CorrectableQuerySet


class HoldPoint(Correctable):
    """One point looked at: in order, or not and why.

    The last row of a point counts. ``found`` is what was found, in words made on the
    day, where a service found it: the scale's check, the tare, the lots.
    """

    class Point(models.TextChoices):
        """The points, in the order in which they are gone through."""

        LINE_CLEARANCE = "line_clearance", "line clearance"
        PROTECTION = "protection", "protective equipment"
        SCALE = "scale", "scale check"
        LOTS = "lots", "lots and containers"
        TARE = "tare", "vessel and tare"

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="hold_points"
    )
    point = models.CharField(max_length=20, choices=Point.choices)
    in_order = models.BooleanField()
    found = models.TextField(blank=True)
    note = models.CharField(max_length=200, blank=True)
    scale = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    tare = models.ForeignKey(
        TareWeighing, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    transcription = models.ForeignKey(
        Transcription,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="hold_points",
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(
                    point__in=[
                        "line_clearance",
                        "protection",
                        "scale",
                        "lots",
                        "tare",
                    ]
                ),
                name="hold_point_known",
            ),
            models.CheckConstraint(
                condition=models.Q(in_order=True)
                | ~models.Q(note="")
                | ~models.Q(found=""),
                name="hold_point_not_in_order_says_why",
                violation_error_message="Say what is not in order.",
            ),
        ]

    def __str__(self) -> str:
        return f"hold point {self.point}"
