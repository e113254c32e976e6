"""Recalls: what is affected, why, and what was done."""

from __future__ import annotations

from django.db import models

from producer.models import Consignee, Correctable, Record, Stock
from producer.models.records import CorrectableQuerySet


class Recall(models.Model):
    """A recall, or a mock recall with the same steps, from one root."""

    class Status(models.TextChoices):
        """How far it has come."""

        OPEN = "open", "open"
        NOTIFIED = "notified", "holders notified"
        CLOSED = "closed", "closed"

    class HazardClass(models.TextChoices):
        """How bad it could be, after 21 CFR 7.41 as a pattern."""

        ONE = "1", "class I: serious harm is likely"
        TWO = "2", "class II: passing harm, or serious harm is remote"
        THREE = "3", "class III: harm is unlikely"

    code = models.CharField(max_length=30, unique=True)
    root = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="recalls")
    is_mock = models.BooleanField("mock recall", default=False)
    hazard_class = models.CharField(max_length=1, choices=HazardClass.choices)
    reason = models.TextField("what is wrong")
    public_notice = models.TextField(
        "what a person with a bottle should do",
        blank=True,
        help_text="Shown on the bottle page at once, in your words.",
    )
    status = models.CharField(
        max_length=20, choices=Status.choices, default=Status.OPEN
    )
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-pk",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(is_mock=True) | ~models.Q(public_notice=""),
                name="recall_has_public_notice",
                violation_error_message=(
                    "Write what a person with a bottle should do; it is shown at once."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(status__in=["open", "notified", "closed"]),
                name="recall_status_known",
            ),
            models.CheckConstraint(
                condition=models.Q(status="closed", closed_at__isnull=False)
                | ~models.Q(status="closed") & models.Q(closed_at__isnull=True),
                name="recall_closed_has_time",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class RecallItem(models.Model):
    """A stock that was affected when the recall was opened or looked at again."""

    append_only = True

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="items")
    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["recall", "stock"], name="recall_item_once")
        ]

    def __str__(self) -> str:
        return f"item {self.pk}"


class RecallEvent(Record):
    """Something done in a recall: opened, holders told, closed.

    ``facts`` is what was decided or how it stood then: the level of effectiveness
    checks when holders are told; counts, masses and who signed at the closing.
    """

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="events")
    new = models.CharField(max_length=20, choices=Recall.Status.choices)
    note = models.TextField()
    facts = models.JSONField("how it stood", null=True, blank=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"→ {self.new}"


class RecallContact(Correctable):
    """One attempt to reach a holder in a recall, and what came of it.

    Of a consignee in the register only the reference is kept, so that the contact
    data can be erased; ``who`` is a word for somebody who is not in it. ``held`` and
    ``used_up`` are bottles as the holder said. In a mock recall nobody is called: the
    outcome is whether there was a way to reach them.
    """

    class Means(models.TextChoices):
        """How it was tried."""

        TELEPHONE = "telephone", "telephone"
        EMAIL = "email", "e-mail"
        LETTER = "letter", "letter"
        IN_PERSON = "in_person", "in person"
        NOTICE = "notice", "notice posted"

    class Outcome(models.TextChoices):
        """What came of it."""

        REACHED = "reached", "reached; will keep them shut or give them back"
        NONE_LEFT = "none_left", "reached; holds none any more"
        NOT_REACHED = "not_reached", "not reached"

    recall = models.ForeignKey(
        Recall, on_delete=models.PROTECT, related_name="contacts"
    )
    consignee = models.ForeignKey(
        Consignee, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    who = models.CharField("who, if not in the register", max_length=120, blank=True)
    means = models.CharField("how", max_length=20, choices=Means.choices)
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    said = models.TextField("what they said", blank=True)
    held = models.PositiveIntegerField(
        "bottles they say they hold", null=True, blank=True
    )
    used_up = models.PositiveIntegerField(
        "bottles they say are used up", null=True, blank=True
    )

    objects = CorrectableQuerySet.as_manager()

    class Meta(Correctable.Meta):
        abstract = False
        ordering = ("observed_at", "pk")
        constraints = [
            *Correctable.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(consignee__isnull=False, who="")
                | models.Q(consignee__isnull=True) & ~models.Q(who=""),
                name="recall_contact_is_with_somebody",
                violation_error_message=(
                    "Choose who it was, or write a word for somebody who is not in"
                    " the register; not both."
                ),
            ),
            models.CheckConstraint(
                condition=models.Q(
                    means__in=["telephone", "email", "letter", "in_person", "notice"]
                ),
                name="recall_contact_means_known",
            ),
            models.CheckConstraint(
                condition=models.Q(outcome__in=["reached", "none_left", "not_reached"]),
                name="recall_contact_outcome_known",
            ),
            models.CheckConstraint(
                condition=~models.Q(outcome="not_reached")
                | models.Q(held__isnull=True, used_up__isnull=True),
                name="recall_contact_not_reached_says_nothing",
                violation_error_message=(
                    "Who was not reached said nothing of bottles. Leave both empty."
                ),
            ),
            models.CheckConstraint(
                condition=~models.Q(outcome="none_left")
                | models.Q(held__isnull=True)
                | models.Q(held=0),
                name="recall_contact_none_left_holds_none",
                violation_error_message="Who holds none any more holds 0 bottles.",
            ),
        ]

    def __str__(self) -> str:
        return f"attempt {self.pk}"

    @property
    def is_reached(self) -> bool:
        """Say whether they were reached; in a mock recall, would have been."""
        return self.outcome != self.Outcome.NOT_REACHED

    @property
    def outcome_in_words(self) -> str:
        """The outcome as it is shown: in a mock recall nobody was called."""
        outcome = self.Outcome(self.outcome)
        if self.recall.is_mock:
            return f"MOCK: {IN_A_MOCK.get(outcome, outcome.label)}"
        return str(outcome.label)


# In a mock recall nobody is called, and nobody says anything.
IN_A_MOCK = {
    RecallContact.Outcome.REACHED: "would call: there is a way to reach them",
    RecallContact.Outcome.NOT_REACHED: "would not reach them: no way at hand",
}
