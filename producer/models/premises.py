"""The one premises this installation belongs to."""

from __future__ import annotations

import zoneinfo

from django.core.exceptions import ValidationError
from django.db import models


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

    class Meta:
        verbose_name_plural = "premises"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="one_premises_only"),
            models.CheckConstraint(
                condition=models.Q(decimal_mark__in=[".", ","]),
                name="premises_decimal_mark_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The time zone in which this premises lives."""
        return zoneinfo.ZoneInfo(self.time_zone)
