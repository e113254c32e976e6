"""Raw lots, their certificates and their lives."""

from __future__ import annotations

import datetime
from typing import Self

from django.db import models
from django.db.models.functions import Coalesce, Least

from producer.models.contacts import Supplier
from producer.models.materials import Material
from producer.models.records import Record
from producer.models.stock import Stock


def last_day_of(lot: str = "") -> Coalesce:
    """Return the expression for :attr:`RawLot.last_day`; ``lot`` is the way to it.

    Whole on both engines: where a date is missing, SQLite has no least of the two.
    """
    dates = (f"{lot}expires_on", f"{lot}retest_on")
    return Coalesce(Least(*dates), *dates)


class RawLotQuerySet(models.QuerySet["RawLot"]):
    """Reads over raw lots."""

    def listed(self) -> Self:
        """Join what a row of a list shows."""
        return self.select_related("stock", "material", "supplier")

    def usable(self, on: datetime.date) -> Self:
        """Released, in date on day ``on``, with something left; in turn."""
        return (
            self.listed()
            .filter(status=RawLot.Status.RELEASED, stock__on_hand_mg__gt=0)
            .exclude(expires_on__lt=on)
            .exclude(retest_on__lt=on)
            .order_by(last_day_of().asc(nulls_last=True), "received_on", "stock_id")
        )


class RawLot(models.Model):
    """A delivery of one material from one supplier with one supplier's lot number.

    Its receiving code is ``stock.code``. Expired, retest due and used up are derived
    from dates and the ledger; they are not states.
    """

    class Status(models.TextChoices):
        """Where the lot stands; quarantine is shown as *held*."""

        QUARANTINE = "quarantine", "held"
        RELEASED = "released", "released"
        REJECTED = "rejected", "rejected"
        ON_HOLD = "on_hold", "on hold"

    stock = models.OneToOneField(
        Stock, on_delete=models.PROTECT, primary_key=True, related_name="lot"
    )
    material = models.ForeignKey(
        Material, on_delete=models.PROTECT, related_name="lots"
    )
    supplier = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, related_name="lots"
    )
    supplier_lot = models.CharField("supplier's lot", max_length=80)
    received_on = models.DateField("received")
    expires_on = models.DateField("expiry date", null=True, blank=True)
    retest_on = models.DateField("retest date", null=True, blank=True)
    place = models.CharField("where it is kept", max_length=80, blank=True)
    status = models.CharField(
        max_length=20, choices=Status.choices, default=Status.QUARANTINE
    )

    paid_hundredths = models.BigIntegerField(
        "paid for all of it (hundredths)",
        null=True,
        blank=True,
        help_text="Goods and carriage; hundredths of the currency of the premises.",
    )

    frozen_by = models.CharField(
        "open recall", max_length=30, blank=True, help_text="Set while one is open."
    )

    objects = RawLotQuerySet.as_manager()

    class Meta:
        ordering = ("-received_on", "-stock_id")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    status__in=["quarantine", "released", "rejected", "on_hold"]
                ),
                name="lot_status_known",
            ),
            models.CheckConstraint(
                condition=models.Q(paid_hundredths__isnull=True)
                | models.Q(paid_hundredths__gte=0),
                name="lot_price_not_negative",
                violation_error_message="A price is not below zero.",
            ),
            models.CheckConstraint(
                condition=models.Q(expires_on__isnull=True)
                | models.Q(expires_on__gte=models.F("received_on")),
                name="lot_expires_after_receipt",
                violation_error_message=(
                    "The expiry date lies before the day of receipt. Check both;"
                    " goods past their date are refused at the door."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"raw lot {self.pk}"

    @property
    def code(self) -> str:
        """The receiving code."""
        return self.stock.code

    @property
    def last_day(self) -> datetime.date | None:
        """The last day on which it may be used: expiry or retest, the earlier."""
        days = (self.expires_on, self.retest_on)
        return min((day for day in days if day is not None), default=None)

    def is_expired(self, on: datetime.date) -> bool:
        """Say whether the expiry date has passed; the day itself is still good."""
        return self.expires_on is not None and self.expires_on < on

    def is_retest_due(self, on: datetime.date) -> bool:
        """Say whether the retest date has passed; the day itself is still good."""
        return self.retest_on is not None and self.retest_on < on


class LotStatusChange(Record):
    """A decision about a raw lot: from, to, who and why."""

    lot = models.ForeignKey(
        RawLot, on_delete=models.PROTECT, related_name="status_changes"
    )
    old = models.CharField(max_length=20, choices=RawLot.Status.choices)
    new = models.CharField(max_length=20, choices=RawLot.Status.choices)
    reason = models.TextField()

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.old} → {self.new}"


class Attachment(Record):
    """An uploaded file, kept by its SHA-256 and served only as a download."""

    sha256 = models.CharField(max_length=64)
    original_name = models.CharField(max_length=120)
    content_type = models.CharField(max_length=40)
    size_bytes = models.PositiveIntegerField()

    def __str__(self) -> str:
        return self.original_name

    @property
    def path(self) -> str:
        """Where the bytes lie below the upload directory."""
        return f"{self.sha256[:2]}/{self.sha256}"


class Certificate(Record):
    """A version of a lot's certificate of analysis: the paper and its values."""

    class Basis(models.TextChoices):
        """What the assay counts."""

        TOTAL_ALKALI = "total_alkali", "total alkali, calculated as KOH"
        HYDROXIDE = "hydroxide", "hydroxide only"

    lot = models.ForeignKey(
        RawLot, on_delete=models.PROTECT, related_name="certificates"
    )
    version = models.PositiveSmallIntegerField()
    attachment = models.ForeignKey(
        Attachment,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="certificates",
    )
    reference = models.CharField("certificate number", max_length=80, blank=True)
    issued_on = models.DateField("date of the certificate", null=True, blank=True)
    assay_percent = models.DecimalField(
        "assay (%)", max_digits=6, decimal_places=3, null=True, blank=True
    )
    assay_basis = models.CharField(
        "basis of the assay", max_length=20, choices=Basis.choices, blank=True
    )
    assay_is_minimum = models.BooleanField(
        "the certificate says “minimum”", default=False
    )
    assay_half_width = models.DecimalField(
        "the assay may be wrong by up to ± (%)",
        max_digits=5,
        decimal_places=3,
        null=True,
        blank=True,
    )
    carbonate_percent = models.DecimalField(
        "carbonate, as K₂CO₃ (%)", max_digits=6, decimal_places=3, null=True, blank=True
    )
    saponification_value = models.DecimalField(
        "saponification value (mg KOH/g)",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
    )
    saponification_half_width = models.DecimalField(
        "the saponification value may be wrong by up to ± (mg KOH/g)",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
    )
    reason = models.TextField("reason for a new version", blank=True)

    class Meta:
        ordering = ("lot_id", "version")
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "version"], name="certificate_version_once"
            ),
            models.CheckConstraint(
                condition=models.Q(version=1) | ~models.Q(reason=""),
                name="new_certificate_version_has_reason",
                violation_error_message=(
                    "This lot has a certificate already. Say why there is a new"
                    " version; the old one stays on record."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(assay_percent__isnull=True)
                | models.Q(assay_percent__gt=0, assay_percent__lte=100)
                & ~models.Q(assay_basis=""),
                name="assay_has_range_and_basis",
                violation_error_message=(
                    "An assay lies above 0 and at most at 100 %%, and needs its basis:"
                    " does the certificate count total alkali or hydroxide only?"
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(assay_half_width__isnull=True)
                | models.Q(assay_half_width__gt=0, assay_half_width__lte=5),
                name="assay_half_width_plausible",
                violation_error_message="The ± of an assay lies between 0 and 5 %%.",
            ),
            models.CheckConstraint(
                condition=models.Q(saponification_half_width__isnull=True)
                | models.Q(
                    saponification_half_width__gt=0, saponification_half_width__lte=20
                ),
                name="saponification_half_width_plausible",
                violation_error_message=(
                    "The ± of a saponification value lies between 0 and 20 mg KOH per"
                    " gram."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(carbonate_percent__isnull=True)
                | models.Q(carbonate_percent__gte=0, carbonate_percent__lte=100),
                name="carbonate_in_range",
                violation_error_message="Carbonate lies between 0 and 100 %%.",
            ),
            models.CheckConstraint(
                condition=models.Q(saponification_value__isnull=True)
                | models.Q(
                    saponification_value__gte=160, saponification_value__lte=280
                ),
                name="saponification_value_in_range",
                violation_error_message=(
                    "A saponification value lies between 160 and 280 mg KOH per gram."
                    " Check the unit and that it is not on the sodium basis."
                ),
            ),
        ]

    @property
    def called(self) -> str:
        """Its number by the supplier, or which version of the lot’s it is."""
        return self.reference or f"version {self.version}"

    def __str__(self) -> str:
        return f"certificate version {self.version}"
