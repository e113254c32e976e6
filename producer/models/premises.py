"""The one premises this installation belongs to."""

from __future__ import annotations

import zoneinfo
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import models

from producer import gs1


def validate_time_zone(name: str) -> None:
    """Refuse a time zone the computer does not know."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(
            f"“{name}” is not a known time zone. Write one like Europe/Berlin."
        )


class Premises(models.Model):
    """Who makes the soap, as it stands on labels, prints and the bottle page."""

    name = models.CharField("name of the premises", max_length=120)
    address = models.TextField(blank=True)
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField("e-mail", blank=True)
    poison_centre = models.CharField(
        "poison centre telephone",
        max_length=60,
        blank=True,
        help_text="Printed in the cautions. Needed before the first batch is opened.",
    )
    time_zone = models.CharField(
        max_length=60, default="Europe/London", validators=[validate_time_zone]
    )
    decimal_mark = models.CharField(
        max_length=1,
        default=".",
        choices=[(".", "point: 1.5 kg"), (",", "comma: 1,5 kg")],
        help_text="How numbers are shown. Both are understood when you type.",
    )
    one_person = models.BooleanField(
        "one-person premises",
        default=False,
        help_text=(
            "Nobody else can review. Batches may then be signed by their own maker,"
            " and every record says “self-reviewed, no independent check”."
        ),
    )
    self_review_pause_hours = models.PositiveSmallIntegerField(
        "pause before self-review (hours)",
        default=12,
        help_text="Counted from the last entry in the batch.",
    )

    free_alkali_limit_percent = models.DecimalField(
        "free alkali that is too much (% KOH in the paste)",
        max_digits=4,
        decimal_places=2,
        default=Decimal("0.25"),
        help_text="The risk of a batch above it is shown before cooking.",
    )
    unsaponified_limit_percent = models.DecimalField(
        "unsaponified oil that is too much (% of the paste)",
        max_digits=4,
        decimal_places=2,
        default=Decimal("1.00"),
    )
    risk_to_warn_percent = models.DecimalField(
        "risk that gets a warning (%)",
        max_digits=4,
        decimal_places=1,
        default=Decimal(5),
    )
    risk_to_stop_percent = models.DecimalField(
        "risk at which not to cook (%)",
        max_digits=4,
        decimal_places=1,
        default=Decimal(20),
    )
    water_hardness = models.DecimalField(
        "hardness of your water (mmol/l)",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="Ask the waterworks; 1 °dH is 0.178 mmol/l.",
    )

    currency = models.CharField(
        max_length=8,
        blank=True,
        help_text="As it is written before or behind a price, such as EUR or £.",
    )

    gs1_company_prefix = models.CharField(
        "GS1 company prefix, if you have one",
        max_length=20,
        blank=True,
        help_text=(
            "The digits your GS1 organisation gave you. Used in events for others only."
        ),
    )
    location_number = models.CharField(
        "GLN of the premises, if you gave it one",
        max_length=20,
        blank=True,
        help_text="13 digits that begin with the company prefix.",
    )

    class Meta:
        verbose_name_plural = "premises"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="one_premises_only"),
            models.CheckConstraint(
                condition=models.Q(
                    free_alkali_limit_percent__gt=0,
                    free_alkali_limit_percent__lte=2,
                    unsaponified_limit_percent__gt=0,
                    unsaponified_limit_percent__lte=20,
                ),
                name="premises_alkali_limits_plausible",
                violation_error_message=(
                    "Free alkali that is too much lies above 0 and at most at 2 %%,"
                    " unsaponified oil at most at 20 %%."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    risk_to_warn_percent__gt=0,
                    risk_to_warn_percent__lte=models.F("risk_to_stop_percent"),
                    risk_to_stop_percent__lte=50,
                ),
                name="premises_risks_in_order",
                violation_error_message=(
                    "The risk that gets a warning is above 0 %% and not above the one"
                    " at which not to cook, which is at most 50 %%."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(water_hardness__isnull=True)
                | models.Q(water_hardness__gte=0, water_hardness__lte=20),
                name="premises_hardness_plausible",
                violation_error_message=(
                    "A hardness lies between 0 and 20 mmol/l. Check the unit: 1 °dH is"
                    " 0.178 mmol/l."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(decimal_mark__in=[".", ","]),
                name="premises_decimal_mark_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        """Keep GS1 keys as digits; refuse what is none."""
        try:
            self.gs1_company_prefix = gs1.prefix_of(self.gs1_company_prefix)
        except gs1.NotAKey as error:
            raise ValidationError({"gs1_company_prefix": str(error)}) from error
        try:
            self.location_number = gs1.location_number(
                self.location_number, self.gs1_company_prefix
            )
        except gs1.NotAKey as error:
            raise ValidationError({"location_number": str(error)}) from error

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The time zone in which this premises lives."""
        return zoneinfo.ZoneInfo(self.time_zone)
