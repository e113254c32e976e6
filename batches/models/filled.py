"""What closes a filling: its mass, the release of its bottles, and the samples kept."""

from __future__ import annotations

import datetime
from typing import Any, Self

from django.db import models

from batches.models.bottles import Bottle, FillingLot
from producer.models import Correctable, Place, Record
from producer.models.records import CorrectableQuerySet


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


class RetainedSampleQuerySet(models.QuerySet["RetainedSample"]):
    """Reads over samples that are kept."""

    def due(self, day: datetime.date) -> models.QuerySet[Any]:
        """Return those with a ``next_look`` on that day or before, the oldest first."""
        rows = self.annotate(next_look=_next_look()).filter(next_look__lte=day)
        return rows.order_by("next_look", "pk")

    def listed(self) -> Self:
        """Join what a list shows, with the looks that stand and the ``next_look``."""
        looks = SampleLook.objects.current().order_by("observed_at", "pk")
        looks = looks.select_related("entered_by__person", "supersedes")
        return (
            self.annotate(next_look=_next_look())
            .select_related("bottle", "place")
            .prefetch_related(models.Prefetch("looks", queryset=looks))
        )


def _next_look() -> models.Case:
    """Return the day to look at a sample again, or none, for a query.

    The one that the newest look set, which may be none; before the first look the one
    that was set when it was put away. A look that was corrected keeps its place among
    the others, since it keeps its time.
    """
    looks = SampleLook.objects.current().filter(sample=models.OuterRef("pk"))
    newest = looks.order_by("-observed_at", "-pk").values("look_on")[:1]
    return models.Case(
        models.When(models.Exists(looks), then=models.Subquery(newest)),
        default=models.F("look_on"),
    )


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

    objects = RetainedSampleQuerySet.as_manager()

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


class SampleLook(Correctable):
    """A sample that was looked at: how it is beside the day it was filled, in words.

    ``look_on`` is the next day to look at it, if there is to be one. What changed in
    the sample may have changed in every bottle of its filling lot.
    """

    class State(models.TextChoices):
        """How it is, beside what was filled."""

        AS_FILLED = "as_filled", "as filled"
        CHANGED = "changed", "changed"
        GONE = "gone", "not there any more"

    sample = models.ForeignKey(
        RetainedSample, on_delete=models.PROTECT, related_name="looks"
    )
    state = models.CharField(max_length=20, choices=State.choices)
    found = models.TextField("what was found", blank=True)
    look_on = models.DateField("look at it again on", null=True, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("observed_at", "pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(state__in=["as_filled", "changed", "gone"]),
                name="sample_look_state_known",
            ),
            models.CheckConstraint(
                condition=models.Q(is_void=True, found="", look_on__isnull=True)
                | models.Q(is_void=False) & ~models.Q(found=""),
                name="sample_look_says_what_was_found",
                violation_error_message="Write what you found, in a few words.",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="gone") | models.Q(look_on__isnull=True),
                name="sample_that_is_gone_has_no_next_look",
                violation_error_message="What is not there is not looked at again.",
            ),
        ]

    def __str__(self) -> str:
        return f"look {self.pk}"
