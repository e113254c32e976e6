"""Judgements and signatures: what was decided, by whom, over which record."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from batches.models import Batch
from producer.models import Certificate, Record
from quality.models.limits import VERDICT_CHOICES, Characteristic, Limit


class Signature(Record):
    """A person's name under a decision, bound to the record by its SHA-256.

    ``record`` is the canonical JSON that was signed, kept as the text it was.
    """

    class Meaning(models.TextChoices):
        """What the signature says."""

        RELEASE = "release", "reviewed and released"
        REJECT = "reject", "reviewed and rejected"
        HOLD = "hold", "put on hold"
        UNHOLD = "unhold", "reviewed again, hold lifted"
        REWORK = "rework", "rework decided"
        DISPOSE = "dispose", "disposal decided"

    batch = models.ForeignKey(
        Batch, on_delete=models.PROTECT, related_name="signatures"
    )
    meaning = models.CharField(max_length=20, choices=Meaning.choices)
    signer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="signatures"
    )
    printed_name = models.CharField(max_length=120)
    self_reviewed = models.BooleanField(default=False)
    reason = models.TextField(blank=True)
    record = models.TextField()
    record_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.meaning} by {self.printed_name}"

    @property
    def meaning_in_words(self) -> str:
        """The meaning as it must stand wherever the signature is shown."""
        words = self.get_meaning_display()
        if self.self_reviewed:
            return f"{words}; self-reviewed, no independent check"
        return words


class Judgement(models.Model):
    """One result held against one limit, as it stood when the batch was signed."""

    append_only = True

    signature = models.ForeignKey(
        Signature, on_delete=models.PROTECT, related_name="judgements"
    )
    characteristic = models.CharField(max_length=24, choices=Characteristic.choices)
    limit = models.ForeignKey(Limit, on_delete=models.PROTECT, related_name="+")
    value = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    standard_uncertainty = models.DecimalField(
        max_digits=12, decimal_places=6, null=True, blank=True
    )
    verdict = models.CharField(max_length=20, choices=VERDICT_CHOICES)
    sentence = models.TextField()
    rule = models.CharField(max_length=20, blank=True)
    effect = models.CharField(max_length=10, blank=True)
    origin = models.TextField("where value and uncertainty come from", blank=True)
    risk = models.DecimalField(
        "chance that the decision is wrong",
        max_digits=7,
        decimal_places=6,
        null=True,
        blank=True,
    )

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.characteristic}: {self.verdict}"


class SignatureMark(Record):
    """What happened to the basis of a signature after it was given.

    A void signature stays on record and counts no more; the batch must be reviewed
    again. ``certificate`` is the new version where one was revised. The sentence says
    what changed and was made on the day.
    """

    class Kind(models.TextChoices):
        """What it means for the signature."""

        VOID = "void", "void: its record was changed afterwards"
        BASIS_REVISED = "basis_revised", "basis later revised"

    signature = models.ForeignKey(
        Signature, on_delete=models.PROTECT, related_name="marks"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    certificate = models.ForeignKey(
        Certificate, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    sentence = models.TextField()
    reason = models.TextField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(
                fields=["signature"],
                condition=models.Q(kind="void"),
                name="signature_void_once",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="void", certificate__isnull=True)
                | models.Q(kind="basis_revised", certificate__isnull=False),
                name="revised_basis_names_certificate",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of signature {self.signature_id}"
