"""GTINs: the number that stands for a product in one size, outside these records."""

from __future__ import annotations

from django.db import models

from batches.models.formulas import Formula
from producer.models import Correctable
from producer.models.records import CorrectableQuerySet


class ItemNumber(Correctable):
    """The GTIN that the maker gave to a product in bottles of one size.

    14 digits, see :mod:`producer.gs1`. The program gives none: it keeps what the maker
    allotted under the company prefix. Bottles are named in
    events for others by the number that stood when they were filled.
    """

    formula = models.ForeignKey(
        Formula, on_delete=models.PROTECT, related_name="item_numbers"
    )
    nominal_ul = models.BigIntegerField("nominal quantity (µl)")
    gtin = models.CharField("GTIN", max_length=14)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(nominal_ul__gt=0),
                name="item_number_has_a_size",
                violation_error_message="Give the nominal quantity of a bottle.",
            ),
        ]

    def __str__(self) -> str:
        return self.gtin
