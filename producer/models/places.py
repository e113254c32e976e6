"""Places where bottles and portions stand, and rules that were looked up."""

from __future__ import annotations

from django.db import models

from producer.models.records import Correctable, CorrectableQuerySet


class Place(models.Model):
    """A shelf, cellar or stall; what it is like there."""

    name = models.CharField(max_length=80, unique=True)
    conditions = models.CharField(
        max_length=200,
        blank=True,
        help_text="Such as: frost-free, dark, locked from children.",
    )
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class RulesCheck(Correctable):
    """The day on which somebody read what an authority says, where, and what it said.

    No rule is asserted by the program: each legal hint shows the newest row of its
    topic, or that there is none.
    """

    class Topic(models.TextChoices):
        """What the rules are about."""

        SPRAY = "spray", "sprays against pests: use and supply"
        DETERGENT = "detergent", "detergents: label and papers"
        HAZARD = "hazard", "hazard class and label"
        QUANTITY = "quantity", "net quantity and scales"
        OTHER = "other", "something else"

    topic = models.CharField(max_length=20, choices=Topic.choices)
    country = models.CharField("where the rules hold", max_length=80)
    page = models.CharField(
        "what was read", max_length=300, help_text="Office, page or leaflet."
    )
    says = models.TextField("what it says, in your words", blank=True)
    again_on = models.DateField("look again on", null=True, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("-observed_at", "-pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(
                    topic__in=["spray", "detergent", "hazard", "quantity", "other"]
                ),
                name="rules_topic_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.topic} {self.observed_at:%Y-%m-%d}"
