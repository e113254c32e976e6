"""Complaints: what was told, and every step that was taken about it."""

from __future__ import annotations

from django.db import models

from batches.models import Batch, Bottle, FillingLot
from producer.models import Consignee, Correctable
from producer.models.records import CorrectableQuerySet
from quality.complaint_life import Conclusion, Step

STEPS = [(one.value, one.label) for one in Step]
CONCLUSIONS = [(one.value, one.label) for one in Conclusion]


class Complaint(models.Model):
    """A complaint by its code; what was told stands in its account, see below."""

    append_only = True

    code = models.CharField(max_length=30, unique=True)
    entered_at = models.DateTimeField("entered", auto_now_add=True)

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return self.code


class ComplaintAccount(Correctable):
    """What was told, about what, when, how, and whether somebody was hurt.

    Each complaint has one that stands; it is corrected by a new row and never taken
    back. About a bottle, or a filling lot, or a batch; or what the person says of it,
    where the code is not known. Of a consignee in the register only the reference is
    kept, so that the contact data can be erased; ``who`` is a word for somebody who is
    not in it.
    """

    class Means(models.TextChoices):
        """How it came."""

        TELEPHONE = "telephone", "telephone"
        EMAIL = "email", "e-mail"
        LETTER = "letter", "letter"
        IN_PERSON = "in_person", "in person"
        OTHER = "other", "another way"

    class Nature(models.TextChoices):
        """What it is about, in the terms of the trade."""

        INJURY = "injury", "irritation or injury"
        LEAVES = "leaves", "leaves burnt"
        NO_EFFECT = "no_effect", "does not clean or does not work"
        SMELL = "smell", "smell"
        COLOUR = "colour", "colour"
        SEPARATION = "separation", "separation or cloudiness"
        LEAK = "leak", "leak or broken bottle"
        MOULD = "mould", "mould"
        SHORT_MEASURE = "short_measure", "short measure"
        LABEL = "label", "label"
        OTHER = "other", "something else"

    complaint = models.ForeignKey(
        Complaint, on_delete=models.PROTECT, related_name="accounts"
    )
    bottle = models.ForeignKey(
        Bottle,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="complaint_accounts",
    )
    filling_lot = models.ForeignKey(
        FillingLot,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="complaint_accounts",
    )
    batch = models.ForeignKey(
        Batch,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="complaint_accounts",
    )
    said_of_it = models.CharField(
        "what they say of the bottle, if no code is known", max_length=200, blank=True
    )
    means = models.CharField("how it came", max_length=20, choices=Means.choices)
    nature = models.CharField("what it is about", max_length=20, choices=Nature.choices)
    words = models.TextField("what was told")
    was_hurt = models.BooleanField("somebody was hurt")
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    who = models.CharField("who, if not in the register", max_length=120, blank=True)

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.UniqueConstraint(
                fields=["complaint"],
                condition=models.Q(supersedes__isnull=True),
                name="complaint_told_once",
            ),
            models.CheckConstraint(
                condition=models.Q(is_void=False), name="complaint_never_taken_back"
            ),
            models.CheckConstraint(
                condition=models.Q(
                    bottle__isnull=False,
                    filling_lot__isnull=True,
                    batch__isnull=True,
                    said_of_it="",
                )
                | models.Q(
                    bottle__isnull=True,
                    filling_lot__isnull=False,
                    batch__isnull=True,
                    said_of_it="",
                )
                | models.Q(
                    bottle__isnull=True,
                    filling_lot__isnull=True,
                    batch__isnull=False,
                    said_of_it="",
                )
                | models.Q(
                    bottle__isnull=True, filling_lot__isnull=True, batch__isnull=True
                )
                & ~models.Q(said_of_it=""),
                name="complaint_is_about_one_thing",
                violation_error_message=(
                    "Give the code of the bottle, its filling lot or its batch; or"
                    " write what they say of it, where no code is known."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(consignee__isnull=False, who="")
                | models.Q(consignee__isnull=True) & ~models.Q(who=""),
                name="complaint_is_from_somebody",
                violation_error_message=(
                    "Choose who it was, or write a word for somebody who is not in"
                    " the register; not both."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    means__in=["telephone", "email", "letter", "in_person", "other"]
                ),
                name="complaint_means_known",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    nature__in=[
                        *("injury", "leaves", "no_effect", "smell", "colour"),
                        *("separation", "leak", "mould", "short_measure", "label"),
                        "other",
                    ]
                ),
                name="complaint_nature_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(words=""),
                name="complaint_has_words",
                violation_error_message="Write what was told, in a few words.",
            ),
        ]

    def __str__(self) -> str:
        return f"account {self.pk}"


class ComplaintStep(Correctable):
    """One step: the reply, what was found, the cause, the conclusion, the closing.

    ``reference`` is the number of an authority, or of the letter to it, as the maker
    has it. A step is corrected or taken back while the complaint is open; closing and
    opening again are steps that stay.
    """

    complaint = models.ForeignKey(
        Complaint, on_delete=models.PROTECT, related_name="steps"
    )
    kind = models.CharField(max_length=12, choices=STEPS)
    text = models.TextField()
    conclusion = models.CharField(max_length=16, choices=CONCLUSIONS, blank=True)
    reference = models.CharField(
        "number or reference at the authority", max_length=120, blank=True
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("pk",)
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(kind__in=[one.value for one in Step]),
                name="complaint_step_known",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    kind="conclusion",
                    conclusion__in=[one.value for one in Conclusion],
                )
                | ~models.Q(kind="conclusion") & models.Q(conclusion=""),
                name="complaint_conclusion_says_which",
                violation_error_message="Choose the conclusion.",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="authority") | models.Q(reference=""),
                name="complaint_reference_is_of_an_authority",
                violation_error_message="Only an authority has a reference.",
            ),
            models.CheckConstraint(
                condition=~models.Q(text=""),
                name="complaint_step_has_text",
                violation_error_message="Write what was found, said or done.",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind__in=["closed", "reopened"])
                | models.Q(supersedes__isnull=True),
                name="complaint_end_is_not_corrected",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of complaint {self.complaint_id}"
