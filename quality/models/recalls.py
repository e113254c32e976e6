"""Recalls: what is affected, why, and what was done."""

from __future__ import annotations

from django.db import models

from producer.models import Record, Stock


class Recall(models.Model):
    """A recall, or a mock recall with the same steps, from one root."""

    class Status(models.TextChoices):
        """How far it has come."""

        OPEN = "open", "open"
        NOTIFIED = "notified", "holders notified"
        CLOSED = "closed", "closed"

    class HazardClass(models.TextChoices):
        """How bad it could be, after 21 CFR 7.41 as a pattern."""

        ONE = "1", "class I: serious harm is likely"
        TWO = "2", "class II: passing harm, or serious harm is remote"
        THREE = "3", "class III: harm is unlikely"

    code = models.CharField(max_length=30, unique=True)
    root = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="recalls")
    is_mock = models.BooleanField("mock recall", default=False)
    hazard_class = models.CharField(max_length=1, choices=HazardClass.choices)
    reason = models.TextField("what is wrong")
    public_notice = models.TextField(
        "what a person with a bottle should do",
        blank=True,
        help_text="Shown on the bottle page at once, in your words.",
    )
    status = models.CharField(
        max_length=20, choices=Status.choices, default=Status.OPEN
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(is_mock=True) | ~models.Q(public_notice=""),
                name="recall_has_public_notice",
                violation_error_message=(
                    "Write what a person with a bottle should do; it is shown at once."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(status__in=["open", "notified", "closed"]),
                name="recall_status_known",
            ),
            models.CheckConstraint(
                condition=models.Q(status="closed", closed_at__isnull=False)
                | ~models.Q(status="closed") & models.Q(closed_at__isnull=True),
                name="recall_closed_has_time",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class RecallItem(models.Model):
    """A stock that was affected when the recall was opened or looked at again."""

    append_only = True

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="items")
    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["recall", "stock"], name="recall_item_once")
        ]

    def __str__(self) -> str:
        return f"item {self.pk}"


class RecallEvent(Record):
    """Something done in a recall: opened, holders told, closed."""

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="events")
    new = models.CharField(max_length=20, choices=Recall.Status.choices)
    note = models.TextField()

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"→ {self.new}"
