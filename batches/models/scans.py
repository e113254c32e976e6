"""Codes that were scanned: how often, and those that should not have been there.

Counters hold no person, address or time of day. They are no records: the journal does
not keep them, and ``verify`` does not look at them.
"""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models

from batches.models.bottles import Bottle
from producer.models import Record


class BottleScan(models.Model):
    """How often the public page of a bottle was opened on a day."""

    noted: ClassVar[bool] = False

    bottle = models.ForeignKey(Bottle, on_delete=models.PROTECT, related_name="scans")
    day = models.DateField()
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["bottle", "day"], name="scan_once_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.count} on {self.day}"


class ScanAlert(models.Model):
    """A code that was asked for and should not be in anybody's hand."""

    class Kind(models.TextChoices):
        """What is wrong with it."""

        UNKNOWN = "unknown", "well formed, but never issued"
        DESTROYED = "destroyed", "recorded as destroyed"
        DUPLICATE = "duplicate", "two bottles carry it"
        NOT_OUT = "not_out", "never left the premises"

    noted: ClassVar[bool] = False

    code = models.CharField(max_length=12)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    day = models.DateField()
    count = models.PositiveIntegerField(default=0)
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )

    class Meta:
        ordering = ("-day", "code")
        constraints = [
            models.UniqueConstraint(
                fields=["code", "kind", "day"], name="scan_alert_once_a_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.kind}"


class BottleDiscrepancy(Record):
    """A bottle found where the records say it cannot be."""

    class Kind(models.TextChoices):
        """What does not fit."""

        DUPLICATE = "duplicate", "two bottles with one code"
        SHOULD_NOT_EXIST = "should_not_exist", "recorded as destroyed, and found"
        ELSEWHERE = "elsewhere", "not where the records say"

    bottle = models.ForeignKey(
        Bottle, on_delete=models.PROTECT, related_name="discrepancies"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    found = models.TextField("where and how it was found")

    class Meta:
        ordering = ("pk",)
        verbose_name_plural = "bottle discrepancies"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=["duplicate", "should_not_exist", "elsewhere"]
                )
                & ~models.Q(found=""),
                name="bottle_discrepancy_says_where",
                violation_error_message="Say where the bottle was found.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.bottle_id}"


class BottleDiscrepancyEnd(Record):
    """How a discrepancy of a bottle was settled, by a reviewer."""

    discrepancy = models.OneToOneField(
        BottleDiscrepancy, on_delete=models.PROTECT, related_name="end"
    )
    reason = models.TextField("what it was, and what was done")

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"end {self.pk}"
