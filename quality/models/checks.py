"""Checks: of instruments against something known, of bottles against their label."""

from __future__ import annotations

from typing import Self

from django.db import models
from django.db.models.functions import Least

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


class FillCheckQuerySet(models.QuerySet["FillCheck"]):
    """Reads over weighings of filled bottles."""

    def standing(self) -> Self:
        """Leave those that were not taken back."""
        return self.filter(taken_back=None)

    def in_turn(self) -> Self:
        """Put them in the order of what they saw; the last one is the newest.

        By the time told, and by the time of entry where a clock ran ahead: what is
        entered today and was weighed a month ago is no newer than last week's.
        """
        seen = Least("observed_at", "entered_at")
        return self.annotate(seen_at=seen).order_by("seen_at", "pk")


class FillCheck(Record):
    """Bottles of a filling lot weighed, to hold the net content against the label.

    ``net_mg`` are whole milligrams, one a bottle, the empty bottle taken off.
    ``facts`` is what else was so: ``here`` how many bottles of the lot there were to
    weigh, ``opened`` the numbers of those opened and emptied for it, ``since`` what was
    done since a weighing that was not accepted. Those from before it was asked have
    none.
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
    facts = models.JSONField("what else was so", null=True, blank=True)

    objects = FillCheckQuerySet.as_manager()

    class Meta:
        ordering = ("filling_lot_id", "pk")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tare_mg__gt=0), name="fill_check_has_tare"
            ),
        ]

    def __str__(self) -> str:
        return f"fill check {self.pk}"


class FillCheckTakenBack(Record):
    """A weighing of bottles that was entered wrongly, and counts for nothing."""

    fill_check = models.OneToOneField(
        FillCheck, on_delete=models.PROTECT, related_name="taken_back"
    )
    reason = models.TextField("why it is taken back")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""), name="fill_check_taken_back_has_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"fill check taken back {self.pk}"
