"""Vessels with their tares, and the empty vessel on the scale."""

from __future__ import annotations

from django.db import models

from producer.models.instruments import Instrument
from producer.models.records import Record


class Vessel(models.Model):
    """A pot, jug or bucket that is weighed with something in it.

    ``tare_mg`` is what it weighs empty, as it is written on the vessel itself.
    """

    name = models.CharField(max_length=80, unique=True)
    made_of = models.CharField(
        "made of",
        max_length=80,
        blank=True,
        help_text="Steel, enamel or a plastic that stands heat and lye; no aluminium.",
    )
    tare_mg = models.BigIntegerField("tare, as written on it (mg)")
    note = models.CharField(max_length=200, blank=True)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("name",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tare_mg__gt=0),
                name="vessel_has_a_tare",
                violation_error_message="Weigh it empty; a tare is above zero.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TareWeighing(Record):
    """A vessel on the scale, empty, beside what the register says of it.

    ``sentence`` was made on the day and says whether they agree within the scale's U.
    """

    vessel = models.ForeignKey(
        Vessel, on_delete=models.PROTECT, related_name="tare_weighings"
    )
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    mass_mg = models.BigIntegerField("empty (mg)")
    register_mg = models.BigIntegerField("tare in the register (mg)")
    agrees = models.BooleanField()
    sentence = models.TextField("what it says")

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(mass_mg__gt=0),
                name="empty_vessel_has_a_mass",
                violation_error_message="An empty vessel weighs something.",
            ),
        ]

    def __str__(self) -> str:
        return f"tare weighing {self.pk}"
