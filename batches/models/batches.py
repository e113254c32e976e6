"""Batches and the genealogy between stocks."""

from __future__ import annotations

from decimal import Decimal
from typing import Self

from django.conf import settings
from django.db import models

from batches.lifecycle import BatchStatus
from batches.models.formulas import Formula, FormulaLine, FormulaVersion
from producer.models import Record, Stock

STATUS_CHOICES = [(status.value, status.label) for status in BatchStatus]


class BatchQuerySet(models.QuerySet["Batch"]):
    """Reads over batches."""

    def listed(self) -> Self:
        """Join what a row of a list shows."""
        return self.select_related("stock", "formula_version__formula", "maker__person")

    def drawable(self) -> Self:
        """Batches whose product may be drawn, with something left."""
        return self.listed().filter(
            status__in=[BatchStatus.RELEASED, BatchStatus.REWORKED],
            stock__on_hand_mg__gt=0,
        )


class Batch(models.Model):
    """One making: a cook, a dilution or a blend. Its number is ``stock.code``."""

    stock = models.OneToOneField(
        Stock, on_delete=models.PROTECT, primary_key=True, related_name="batch"
    )
    formula_version = models.ForeignKey(
        FormulaVersion, on_delete=models.PROTECT, related_name="batches"
    )
    kind = models.CharField(max_length=20, choices=Formula.Kind.choices)
    is_rework = models.BooleanField(
        "takes in a rejected batch for rework", default=False
    )
    basis_mg = models.BigIntegerField(
        "planned basis (mg)", help_text="All oils of a cook; the paste of a dilution."
    )
    lye_discount = models.DecimalField(
        "lye discount (share of the alkali need left out)",
        max_digits=5,
        decimal_places=4,
        default=Decimal(0),
    )
    status = models.CharField(
        max_length=20, choices=STATUS_CHOICES, default=BatchStatus.PLANNED
    )
    maker = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="batches"
    )
    opened_at = models.DateTimeField("opened")
    entered_at = models.DateTimeField("entered", auto_now_add=True)

    objects = BatchQuerySet.as_manager()

    class Meta:
        ordering = ("-stock_id",)
        verbose_name_plural = "batches"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(status__in=[s.value for s in BatchStatus]),
                name="batch_status_known",
            ),
            models.CheckConstraint(
                condition=models.Q(basis_mg__gt=0), name="batch_basis_positive"
            ),
            models.CheckConstraint(
                condition=models.Q(lye_discount__gte=0, lye_discount__lte="0.1"),
                name="batch_lye_discount_plausible",
                violation_error_message=(
                    "A lye discount is a share of the potash left out on purpose, from"
                    " 0 to 10 %%. More leaves fat in the jug."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"batch {self.pk}"

    @property
    def number(self) -> str:
        """The batch number."""
        return self.stock.code

    @property
    def is_open(self) -> bool:
        """Say whether the record still takes entries; a signed one never does."""
        return self.status in {
            BatchStatus.PLANNED,
            BatchStatus.IN_PROCESS,
            BatchStatus.AWAITING_REVIEW,
        }


class BatchStatusChange(Record):
    """A move in the life of a batch: from, to, who and why."""

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="status_changes"
    )
    old = models.CharField(max_length=20, choices=STATUS_CHOICES)
    new = models.CharField(max_length=20, choices=STATUS_CHOICES)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.old} → {self.new}"


class LotChoice(models.Model):
    """The stock a planned batch means to use for a line of its formula."""

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="lot_choices"
    )
    line = models.ForeignKey(FormulaLine, on_delete=models.PROTECT, related_name="+")
    source = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "line"], name="one_choice_for_a_line"
            )
        ]

    def __str__(self) -> str:
        return f"choice {self.pk}"


class Input(models.Model):
    """An edge of the genealogy: ``batch`` has ``mass_mg`` of ``source`` in it.

    The sum of the current charges, kept beside them so that the trace reads one
    narrow table. A loop cannot arise: a batch takes charges only before it is
    signed, can be drawn from only after, and never goes back.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="inputs")
    source = models.ForeignKey(
        Stock, on_delete=models.PROTECT, related_name="used_in", db_index=False
    )
    mass_mg = models.BigIntegerField("mass (mg)")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "source"], name="one_edge_between_two_stocks"
            ),
            models.CheckConstraint(
                condition=models.Q(mass_mg__gte=0), name="edge_mass_not_negative"
            ),
            models.CheckConstraint(
                condition=~models.Q(batch=models.F("source")),
                name="batch_never_in_itself",
            ),
        ]
        indexes = [
            models.Index(
                fields=["source", "batch", "mass_mg"], name="edge_by_source_covering"
            )
        ]

    def __str__(self) -> str:
        return f"{self.source_id} → {self.batch_id}"
