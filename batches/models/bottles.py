"""Filling lots, bottles and where they went."""

from __future__ import annotations

from typing import Self

from django.db import models

from batches.lifecycle import BottleStatus
from batches.models.batches import Batch
from producer.models import Consignee, Place, Record

STATUS_CHOICES = [(status.value, status.label) for status in BottleStatus]


class FillingLot(Record):
    """One filling of a released batch into bottles of one size."""

    code = models.CharField(max_length=30, unique=True)
    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="filling_lots"
    )
    nominal_ul = models.BigIntegerField("nominal quantity (µl)")
    density = models.DecimalField(
        "density (g/ml at 20 °C)", max_digits=6, decimal_places=4
    )
    count = models.PositiveIntegerField("bottles filled")
    filled_mg = models.BigIntegerField("mass in the bottles (mg)")
    loss_mg = models.BigIntegerField("lost in filling (mg)", default=0)
    use_by = models.DateField("use-by date")

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    nominal_ul__gt=0, count__gt=0, filled_mg__gt=0, loss_mg__gte=0
                ),
                name="filling_lot_amounts_positive",
            ),
            models.CheckConstraint(
                condition=models.Q(density__gte="0.8", density__lte="1.3"),
                name="filling_density_plausible",
                violation_error_message=(
                    "Liquid soap has a density near 1.0 g/ml. Check the figure; it is"
                    " grams per millilitre."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class BottleQuerySet(models.QuerySet["Bottle"]):
    """Reads over bottles."""

    def listed(self) -> Self:
        """Join what a row of a list shows."""
        return self.select_related(
            "filling_lot__batch__stock",
            "filling_lot__batch__formula_version__formula",
            "consignee",
        )


class Bottle(models.Model):
    """One numbered bottle. Its code is opaque and cannot be guessed."""

    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, related_name="bottles"
    )
    number = models.PositiveIntegerField()
    code = models.CharField(max_length=12, unique=True)
    status = models.CharField(
        max_length=20, choices=STATUS_CHOICES, default=BottleStatus.FILLED
    )
    consignee = models.ForeignKey(
        Consignee,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="bottles",
    )
    place = models.ForeignKey(
        Place,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="bottles",
    )

    objects = BottleQuerySet.as_manager()

    class Meta:
        ordering = ("filling_lot_id", "number")
        constraints = [
            models.UniqueConstraint(
                fields=["filling_lot", "number"], name="bottle_number_once"
            ),
            models.CheckConstraint(
                condition=models.Q(status__in=[s.value for s in BottleStatus]),
                name="bottle_status_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(status="dispatched")
                | models.Q(consignee__isnull=False),
                name="dispatched_bottle_has_consignee",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Dispatch(Record):
    """Bottles that left together for one consignee."""

    code = models.CharField(max_length=30, unique=True)
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, related_name="dispatches"
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("-pk",)
        verbose_name_plural = "dispatches"

    def __str__(self) -> str:
        return self.code


class BottleEvent(Record):
    """A move in the life of a bottle: from, to, where, who has it now and why."""

    bottle = models.ForeignKey(Bottle, on_delete=models.PROTECT, related_name="events")
    old = models.CharField(max_length=20, choices=STATUS_CHOICES, blank=True)
    new = models.CharField(max_length=20, choices=STATUS_CHOICES)
    dispatch = models.ForeignKey(
        Dispatch, on_delete=models.PROTECT, null=True, blank=True, related_name="events"
    )
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.old or 'new'} → {self.new}"
