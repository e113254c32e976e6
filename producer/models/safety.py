"""Small notes of care: training, protective equipment, first aid, rules read."""

from __future__ import annotations

from django.db import models

from producer.models.people import Person
from producer.models.records import Correctable, CorrectableQuerySet


class SafetyNote(Correctable):
    """What was trained, looked at, replaced or read, by whom and until when."""

    class Kind(models.TextChoices):
        """What the note is about."""

        TRAINING = "training", "training"
        PROTECTION = "protection", "protective equipment"
        FIRST_AID = "first_aid", "first aid and eyewash"
        RULES = "rules", "an authority's rules read"

    kind = models.CharField(max_length=20, choices=Kind.choices)
    person = models.ForeignKey(
        Person,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="safety_notes",
    )
    topic = models.CharField("what it was", max_length=200)
    done_on = models.DateField("done on")
    due_on = models.DateField("due again on", null=True, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("-done_on", "-pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=["training", "protection", "first_aid", "rules"]
                ),
                name="safety_note_kind_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind="training") | models.Q(person__isnull=False),
                name="training_is_of_somebody",
                violation_error_message="Say who was trained.",
            ),
            models.CheckConstraint(
                condition=models.Q(due_on__isnull=True)
                | models.Q(due_on__gt=models.F("done_on")),
                name="safety_note_due_after_done",
                violation_error_message="It is due again after the day it was done.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.topic}"
