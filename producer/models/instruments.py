"""Instruments and test materials: what a measured value was read from."""

from __future__ import annotations

import datetime
from decimal import Decimal

from django.db import models


class Instrument(models.Model):
    """A scale, thermometer or pH meter; or what these and tests are held against.

    A check weight, a buffer, a lot of strips or of indicator. ``nominal`` is what a
    check weight weighs (g) or the pH of a buffer at 25 °C.
    """

    class Kind(models.TextChoices):
        """What it measures with."""

        SCALE = "scale", "scale"
        THERMOMETER = "thermometer", "thermometer"
        PH_METER = "ph_meter", "pH meter"
        PH_STRIPS = "ph_strips", "lot of pH strips"
        CHECK_WEIGHT = "check_weight", "check weight"
        BUFFER = "buffer", "lot of pH buffer"
        INDICATOR = "indicator", "lot of indicator"

    kind = models.CharField(max_length=20, choices=Kind.choices)
    name = models.CharField(max_length=80, unique=True)
    serial_or_lot = models.CharField("serial or lot number", max_length=80, blank=True)
    resolution = models.DecimalField(
        "smallest step",
        max_digits=9,
        decimal_places=4,
        default=0,
        help_text=(
            "Grams for a scale, °C for a thermometer, pH units for meter and strips; 0"
            " for what is not read from."
        ),
    )
    bias_half_width = models.DecimalField(
        "may be wrong by up to ±",
        max_digits=9,
        decimal_places=4,
        default=0,
        help_text=(
            "From the maker's sheet or your last check, same unit. Cheap strips can"
            " be off by more than one step."
        ),
    )
    capacity = models.DecimalField(
        "largest load (g)",
        max_digits=9,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Only for a scale, as printed on it: vessel and load together.",
    )
    nominal = models.DecimalField(
        "what it stands for",
        max_digits=12,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="Grams of a check weight; the pH of a buffer at 25 °C.",
    )
    check_every_days = models.PositiveSmallIntegerField(
        "checked at least every (days)", null=True, blank=True
    )
    opened_on = models.DateField("opened on", null=True, blank=True)
    days_after_opening = models.PositiveSmallIntegerField(
        "good for so many days once opened", null=True, blank=True
    )
    expires_on = models.DateField("expiry date", null=True, blank=True)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("kind", "name")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(resolution__gt=0)
                | models.Q(
                    kind__in=["check_weight", "buffer", "indicator"], resolution=0
                ),
                name="instrument_resolution_positive",
                violation_error_message="The smallest step must be above zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(capacity__isnull=True)
                | models.Q(kind="scale", capacity__gt=0),
                name="capacity_is_of_a_scale",
                violation_error_message="Only a scale has a largest load, above 0 g.",
            ),
            models.CheckConstraint(
                condition=models.Q(bias_half_width__gte=0),
                name="instrument_bias_not_negative",
                violation_error_message="Write the ± without a sign.",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind__in=["check_weight", "buffer"])
                | models.Q(nominal__isnull=False, nominal__gt=0),
                name="reference_has_a_nominal",
                violation_error_message=(
                    "Write what it stands for: the grams of a check weight, the pH of a"
                    " buffer."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "scale",
                        "thermometer",
                        "ph_meter",
                        "ph_strips",
                        "check_weight",
                        "buffer",
                        "indicator",
                    ]
                ),
                name="instrument_kind_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def good_until(self) -> datetime.date | None:
        """Its last good day: the expiry date, or sooner where it has been opened."""
        dates = [self.expires_on] if self.expires_on else []
        if self.opened_on and self.days_after_opening is not None:
            life = datetime.timedelta(days=self.days_after_opening)
            dates.append(self.opened_on + life)
        return min(dates, default=None)

    def is_expired(self, on: datetime.date) -> bool:
        """Say whether its last good day has passed; the day itself is still good."""
        return self.good_until is not None and self.good_until < on

    def standard_uncertainty(self) -> Decimal:
        """Return u of one reading, in the instrument's unit.

        Both parts are rectangular: half a step around what is shown (GUM 4.3.7,
        F.2.2.1), and the stated ± of the instrument; combined as independent.
        """
        step = self.resolution**2 / 12
        bias = self.bias_half_width**2 / 3
        return (step + bias).sqrt().quantize(Decimal("0.000001"))
