"""Containers: the tins and cans that a raw lot sits in."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Coalesce

from producer.models.lots import RawLot


class ContainerQuerySet(models.QuerySet["Container"]):
    """Reads over containers."""

    def with_book(self) -> ContainerQuerySet:
        """Add ``book_mg``: what it was registered with and what moved since."""
        moved = Coalesce(models.Sum("movements__amount_mg"), 0)
        return self.annotate(book_mg=models.F("filled_mg") + moved)


class Container(models.Model):
    """One tin or can of a raw lot; several together hold what the lot has.

    What is in it by the book is ``filled_mg`` and the movements that name it. A lot
    without containers is known as a whole only.
    """

    lot = models.ForeignKey(RawLot, on_delete=models.PROTECT, related_name="containers")
    number = models.PositiveSmallIntegerField()
    tare_mg = models.BigIntegerField(
        "tare (mg)",
        null=True,
        blank=True,
        help_text="Empty, with its lid. Unknown is allowed: then only differences.",
    )
    filled_mg = models.BigIntegerField("in it when it was registered (mg)")
    place = models.CharField("where it is kept", max_length=80, blank=True)
    opened_at = models.DateTimeField("first opened", null=True, blank=True)
    registered_at = models.DateTimeField("registered", auto_now_add=True)

    objects = ContainerQuerySet.as_manager()

    class Meta:
        ordering = ("lot_id", "number")
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "number"], name="container_number_once"
            ),
            models.CheckConstraint(
                condition=models.Q(filled_mg__gt=0), name="container_holds_something"
            ),
            models.CheckConstraint(
                condition=models.Q(tare_mg__isnull=True) | models.Q(tare_mg__gt=0),
                name="container_tare_positive",
                violation_error_message="A tare is above zero, or left empty.",
            ),
        ]

    def __str__(self) -> str:
        return f"container {self.number}"

    @property
    def code(self) -> str:
        """The lot's receiving code and the number: L26-0007/2."""
        return f"{self.lot.stock.code}/{self.number}"
