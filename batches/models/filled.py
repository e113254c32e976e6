"""What closes a filling: its mass, the sample kept, and the release of its bottles."""

from __future__ import annotations

from django.db import models

from batches.models.bottles import Bottle, FillingLot
from producer.models import Place, Record


class FillingBalance(Record):
    """Where the mass of a filling went, so that nothing is missing without a word.

    before = filled + lost + sample + rest + unexplained. ``rest_mg`` is what was
    weighed as left over; without it the book is believed. Filling lots from before
    this was asked have none.
    """

    filling_lot = models.OneToOneField(
        FillingLot, on_delete=models.PROTECT, related_name="balance"
    )
    planned = models.PositiveIntegerField("bottles planned")
    before_mg = models.BigIntegerField("on hand before (mg)")
    sample_mg = models.BigIntegerField("taken as samples (mg)", default=0)
    rest_mg = models.BigIntegerField("left over, weighed (mg)", null=True, blank=True)
    unexplained_mg = models.BigIntegerField("unexplained (mg)", default=0)
    reason = models.TextField("what the unexplained part is", blank=True)
    temperature = models.DecimalField(
        "temperature at filling (°C)",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(before_mg__gt=0, sample_mg__gte=0)
                & (models.Q(rest_mg__isnull=True) | models.Q(rest_mg__gte=0)),
                name="filling_balance_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(rest_mg__isnull=False) | models.Q(unexplained_mg=0),
                name="unexplained_needs_a_weighed_rest",
            ),
        ]

    def __str__(self) -> str:
        return f"balance {self.pk}"


class FillingRelease(Record):
    """The bottles of a filling lot may leave: counts closed, contents checked.

    ``facts`` is what was looked at: the label counts, the check of the contents, the
    sample kept, the mass.
    """

    filling_lot = models.OneToOneField(
        FillingLot, on_delete=models.PROTECT, related_name="release"
    )
    self_reviewed = models.BooleanField()
    facts = models.JSONField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"release {self.pk}"


class RetainedSample(Record):
    """A bottle of a filling lot, or a jar of so much, kept here to be looked at."""

    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, related_name="samples"
    )
    bottle = models.OneToOneField(
        Bottle,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="sample",
    )
    mass_mg = models.BigIntegerField("mass (mg)", null=True, blank=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    look_on = models.DateField("look at it again on", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(bottle__isnull=False, mass_mg__isnull=True)
                | models.Q(bottle__isnull=True, mass_mg__gt=0),
                name="sample_is_bottle_or_mass",
                violation_error_message="Name the bottle kept, or the mass in the jar.",
            ),
        ]

    def __str__(self) -> str:
        return f"sample {self.pk}"
