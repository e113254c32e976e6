"""Recalls: what is affected, why, and what was done."""

from __future__ import annotations

import datetime

from django.db import models
from django.utils import timezone

from batches.models import FillingLot
from producer.models import (
    Certificate,
    Consignee,
    Container,
    Correctable,
    Instrument,
    Record,
    Stock,
)
from producer.models.records import CorrectableQuerySet
from quality.models.checks import InstrumentCheck

# What a recall can begin with; exactly one of these is given.
BEGINNINGS = (
    *("root", "filling_lot", "container", "certificate", "instrument", "since"),
)


def _begins_with_one() -> models.Q:
    ways = models.Q()
    for given in BEGINNINGS:
        ways |= models.Q(**{f"{name}__isnull": name != given for name in BEGINNINGS})
    return ways


class RecallQuerySet(models.QuerySet["Recall"]):
    """Reads over recalls."""

    def with_beginning(self) -> RecallQuerySet:
        """Join what a recall began with, to say it in words."""
        return self.select_related(
            *("root", "filling_lot", "container__lot__stock", "instrument"),
            *("certificate__lot__stock", "failed_check"),
        )


class Recall(models.Model):
    """A recall, or a mock recall with the same steps, from what it begins with.

    That is one of: a raw lot or batch (``root``), a filling lot, a container, a
    certificate, an instrument or lot of strips, buffer or indicator (``instrument``,
    with the ``failed_check`` that put it in doubt), or a time from ``since`` to
    ``until`` in which something was made or filled (``during``). Which batches and
    filling lots that means is kept as :class:`RecallRoot`, unless it is plain.
    """

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

    class Depth(models.TextChoices):
        """How far down it is carried, after 21 CFR 7.42(b)(1) as a pattern."""

        CONSUMER = "consumer", "to everybody who uses it"
        RETAIL = "retail", "to shops that sell it on, not beyond"
        WHOLESALE = "wholesale", "to resellers that supply shops, not beyond"

    class During(models.TextChoices):
        """What is meant of a time: what was made in it, or what was filled."""

        MADE = "made", "in the making: from its first charge to its last entry"
        FILLED = "filled", "filled into bottles"
        BOTH = "both", "in the making, or filled into bottles"

    code = models.CharField(max_length=30, unique=True)
    root = models.ForeignKey(
        Stock, on_delete=models.PROTECT, null=True, blank=True, related_name="recalls"
    )
    filling_lot = models.ForeignKey(
        FillingLot, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    failed_check = models.ForeignKey(
        InstrumentCheck,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    since = models.DateTimeField("from", null=True, blank=True)
    until = models.DateTimeField("until", null=True, blank=True)
    during = models.CharField(max_length=20, choices=During.choices, blank=True)
    is_mock = models.BooleanField("mock recall", default=False)
    hazard_class = models.CharField(max_length=1, choices=HazardClass.choices)
    depth = models.CharField(max_length=20, choices=Depth.choices, blank=True)
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

    objects = RecallQuerySet.as_manager()

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
            models.CheckConstraint(
                condition=_begins_with_one(), name="recall_begins_with_one"
            ),
            models.CheckConstraint(
                condition=models.Q(failed_check__isnull=True)
                | models.Q(instrument__isnull=False),
                name="recall_check_is_of_an_instrument",
            ),
            models.CheckConstraint(
                condition=models.Q(since__isnull=True, until__isnull=True, during="")
                | models.Q(
                    since__isnull=False,
                    until__gt=models.F("since"),
                    during__in=["made", "filled", "both"],
                ),
                name="recall_time_has_an_end",
                violation_error_message="A time ends after it begins.",
            ),
            models.CheckConstraint(
                condition=models.Q(depth__in=["", "consumer", "retail", "wholesale"]),
                name="recall_depth_known",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def subject(self) -> str:
        """What it is of, in words: “L26-0007”, “certificate 12 of L26-0007”.

        Read with :meth:`RecallQuerySet.with_beginning` where there are many.
        """
        if self.root is not None:
            return self.root.code
        if self.filling_lot is not None:
            return self.filling_lot.code
        if self.container is not None:
            return f"container {self.container.code}"
        if self.certificate is not None:
            lot = self.certificate.lot.stock.code
            return f"certificate {self.certificate.called} of {lot}"
        if self.instrument is not None:
            at = self.failed_check and _local(self.failed_check.observed_at)
            failed = f", failed check of {at}" if at else ""
            return f"{self.instrument.name}{failed}"
        what = "made or filled" if self.during == self.During.BOTH else self.during
        return f"what was {what} from {_local(self.since)} to {_local(self.until)}"


def _local(at: datetime.datetime | None) -> str:
    return "" if at is None else f"{timezone.localtime(at):%Y-%m-%d %H:%M}"


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
