"""Checks: of instruments against something known, of bottles against their label."""

from __future__ import annotations

from django.db import models

from batches.models import FillingLot
from producer.models import Instrument, Record
from quality.models.limits import VERDICT_CHOICES, Limit


class InstrumentCheck(Record):
    """An instrument held against something known, and what that says.

    ``reference`` and ``shown`` are in the unit of the instrument: the check weight in
    grams, the pH of a buffer at the temperature it had. A pH meter has two of each.
    ``tolerance`` is the largest error that passes. The sentence was made on the day.
    """

    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, related_name="checks"
    )
    against = models.CharField(
        "held against", max_length=120, help_text="Check weight and class, or buffers."
    )
    reference_instrument = models.ForeignKey(
        Instrument,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="check weight or buffer",
    )
    second_reference_instrument = models.ForeignKey(
        Instrument,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name="second buffer",
    )
    reference = models.DecimalField(max_digits=12, decimal_places=4)
    shown = models.DecimalField(max_digits=12, decimal_places=4)
    second_reference = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True
    )
    second_shown = models.DecimalField(
        max_digits=12, decimal_places=4, null=True, blank=True
    )
    temperature = models.DecimalField(
        "temperature (°C)", max_digits=5, decimal_places=1, null=True, blank=True
    )
    reference_half_width = models.DecimalField(
        "the reference may be wrong by up to ±",
        max_digits=12,
        decimal_places=4,
        default=0,
    )
    tolerance = models.DecimalField(
        "largest error that passes", max_digits=12, decimal_places=4
    )
    passed = models.BooleanField()
    sentence = models.TextField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("instrument_id", "pk")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tolerance__gt=0, reference_half_width__gte=0),
                name="check_tolerance_positive",
                violation_error_message="The largest error that passes is above zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    second_reference__isnull=True, second_shown__isnull=True
                )
                | models.Q(second_reference__isnull=False, second_shown__isnull=False),
                name="second_check_is_whole",
                violation_error_message="A second reference needs what was shown.",
            ),
        ]

    def __str__(self) -> str:
        return f"check {self.pk}"


class FillCheck(Record):
    """Bottles of a filling lot weighed, to hold the net content against the label.

    ``net_mg`` are whole milligrams, one a bottle, the empty bottle taken off.
    """

    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, related_name="fill_checks"
    )
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    tare_mg = models.BigIntegerField("empty bottle with cap (mg)")
    net_mg = models.JSONField("net masses (mg)")
    accepted = models.BooleanField()
    sentence = models.TextField()
    limit = models.ForeignKey(
        Limit, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    verdict = models.CharField(
        "outcome against that limit",
        max_length=20,
        choices=VERDICT_CHOICES,
        blank=True,
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("filling_lot_id", "pk")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tare_mg__gt=0), name="fill_check_has_tare"
            ),
        ]

    def __str__(self) -> str:
        return f"fill check {self.pk}"
