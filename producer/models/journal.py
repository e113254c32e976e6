"""The journal: one row per act, each bound to the one before by a hash."""

from __future__ import annotations

import datetime
import hashlib
import json
from typing import Any, ClassVar

from django.conf import settings
from django.db import models

FIRST_HASH = "0" * 64
# With blanks, so that no fact of a service can have these names.
WRITTEN = "rows written"
GONE = "rows deleted"


def canonical(value: Any) -> str:
    """Return JSON that is the same text for the same content, on every machine."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


class JournalHead(models.Model):
    """The end of the chain; locking this one row puts writers in a line."""

    sequence = models.BigIntegerField(default=0)
    hash = models.CharField(max_length=64, default=FIRST_HASH)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="one_journal_head")
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.hash}"


class JournalEntry(models.Model):
    """Who did what to which record, when, why, and what it was before and after.

    ``before`` and ``after`` are canonical JSON kept as text, so that the hash is
    taken over exactly the characters that are stored, on both engines.
    """

    append_only: ClassVar[bool] = True

    sequence = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="journal_entries",
    )
    actor_name = models.CharField(max_length=120)
    act = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    subject_label = models.CharField(max_length=200)
    before = models.TextField(default="{}")
    after = models.TextField(default="{}")
    reason = models.TextField(blank=True)
    submission = models.UUIDField(null=True, blank=True, unique=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ("-sequence",)
        verbose_name_plural = "journal entries"
        indexes = [
            models.Index(fields=["subject_kind", "subject_id", "sequence"]),
            models.Index(fields=["subject_label", "sequence"]),
            models.Index(fields=["actor", "sequence"]),
            models.Index(fields=["at"]),
        ]

    def __str__(self) -> str:
        return f"{self.sequence} {self.act} {self.subject_label}"

    def content(self) -> dict[str, Any]:
        """Return what the hash covers: everything but the hash itself."""
        return {
            "act": self.act,
            "actor": self.actor_id,
            "actor_name": self.actor_name,
            "after": self.after,
            "at": self.at.astimezone(datetime.UTC).isoformat(timespec="microseconds"),
            "before": self.before,
            "previous_hash": self.previous_hash,
            "reason": self.reason,
            "sequence": self.sequence,
            "subject_id": self.subject_id,
            "subject_kind": self.subject_kind,
            "subject_label": self.subject_label,
            "submission": str(self.submission) if self.submission else None,
        }

    def expected_hash(self) -> str:
        """Return the SHA-256 this row must carry."""
        return hashlib.sha256(canonical(self.content()).encode("utf-8")).hexdigest()

    @property
    def before_values(self) -> dict[str, Any]:
        """The values before the act."""
        values: dict[str, Any] = json.loads(self.before)
        return values

    @property
    def after_values(self) -> dict[str, Any]:
        """The values after the act, without the rows that it wrote."""
        values: dict[str, Any] = json.loads(self.after)
        return {key: values[key] for key in values if key not in {WRITTEN, GONE}}
