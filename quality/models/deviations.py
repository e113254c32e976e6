"""Deviations: what was not as it should be, and everything that was done about it."""

from __future__ import annotations

from django.db import models

from producer.models import Instrument, Record, Stock
from quality.models.limits import Characteristic


class Deviation(Record):
    """Something out of specification, or done otherwise than written.

    It is about a stock (a raw lot or a batch) or an instrument. ``characteristic`` is
    empty where no result is concerned. Class, cause, tests, action and decision are
    steps; it is open until a step closes it.
    """

    class Class(models.TextChoices):
        """How much it matters for who uses the product."""

        MINOR = "minor", "minor: no effect on the product"
        MAJOR = "major", "major: can affect the product"
        CRITICAL = "critical", "critical: can harm somebody"

    code = models.CharField(max_length=30, unique=True)
    stock = models.ForeignKey(
        Stock,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="deviations",
    )
    instrument = models.ForeignKey(
        Instrument,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="deviations",
    )
    characteristic = models.CharField(
        max_length=24, choices=Characteristic.choices, blank=True
    )
    classification = models.CharField(
        "class, as first seen", max_length=10, choices=Class.choices
    )
    what = models.TextField("what happened")

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(stock__isnull=True)
                ^ models.Q(instrument__isnull=True),
                name="deviation_is_of_one_thing",
                violation_error_message=(
                    "A deviation is about a raw lot, a batch or an instrument."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(characteristic="") | models.Q(stock__isnull=False),
                name="deviation_of_result_has_stock",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class DeviationStep(Record):
    """One step of a deviation. The step that closes it is signed.

    A closing step has a decision, the printed name, and the canonical record of the
    whole deviation that was signed, with its SHA-256.
    """

    class Kind(models.TextChoices):
        """What the step is."""

        CAUSE = "cause", "cause"
        TEST = "test", "further test"
        ACTION = "action", "action"
        CLASS = "class", "class"
        CLOSED = "closed", "decision"

    class Decision(models.TextChoices):
        """How a deviation ends."""

        MENDED = "mended", "mended and tested again"
        NOT_CONFIRMED = "not_confirmed", "not confirmed: the first result was wrong"
        NO_EFFECT = "no_effect", "no effect on the product"
        CONCESSION = "concession", "concession: used although it does not conform"
        REJECTED = "rejected", "to be rejected"

    deviation = models.ForeignKey(
        Deviation, on_delete=models.PROTECT, related_name="steps"
    )
    kind = models.CharField(max_length=10, choices=Kind.choices)
    text = models.TextField()
    classification = models.CharField(
        "class", max_length=10, choices=Deviation.Class.choices, blank=True
    )
    decision = models.CharField(max_length=20, choices=Decision.choices, blank=True)
    printed_name = models.CharField(max_length=120, blank=True)
    self_reviewed = models.BooleanField(default=False)
    record = models.TextField(blank=True)
    record_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(
                fields=["deviation"],
                condition=models.Q(kind="closed"),
                name="deviation_closed_once",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="closed")
                & ~models.Q(decision="")
                & ~models.Q(printed_name="")
                & ~models.Q(record_sha256="")
                | ~models.Q(kind="closed")
                & models.Q(decision="", printed_name="", record_sha256=""),
                name="closing_step_is_signed",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="class") & ~models.Q(classification="")
                | ~models.Q(kind="class") & models.Q(classification=""),
                name="class_step_has_class",
                violation_error_message="Choose the class.",
            ),
            models.CheckConstraint(
                condition=~models.Q(text=""),
                name="deviation_step_has_text",
                violation_error_message="Write what was found, done or decided.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of deviation {self.deviation_id}"
