"""What every record row has: two times, a hand, and no eraser."""

from __future__ import annotations

import datetime
from typing import ClassVar, Self, TypeVar

from django.conf import settings
from django.db import models


class Record(models.Model):
    """A row that is added and never changed; a database trigger stands behind it."""

    append_only: ClassVar[bool] = True

    observed_at = models.DateTimeField(
        "observed", help_text="When it happened, by the clock on the wall."
    )
    entered_at = models.DateTimeField("entered", auto_now_add=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        abstract = True

    @property
    def observed_later_than_entered(self) -> bool:
        """Say whether the device that told us the time ran ahead of the server."""
        return self.observed_at > self.entered_at


Row = TypeVar("Row", bound="Correctable")


class CorrectableQuerySet(models.QuerySet[Row]):
    """Reads over rows that may have been superseded."""

    def current(self, *, at: datetime.datetime | None = None) -> Self:
        """Rows that nothing supersedes and that do not void what they supersede.

        With ``at`` those that stood then, by when each was entered.
        """
        if at is None:
            return self.filter(superseded_by__isnull=True, is_void=False)
        later = self.model._default_manager.filter(
            supersedes=models.OuterRef("pk"), entered_at__lte=at
        )
        return self.filter(~models.Exists(later), entered_at__lte=at, is_void=False)


class Correctable(Record):
    """A record that is corrected by a new row naming the old one and the reason.

    A row can be superseded once: the one-to-one link is unique. A void row takes
    the old one back without putting anything in its place.
    """

    supersedes = models.OneToOneField(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="superseded_by",
    )
    is_void = models.BooleanField(default=False)
    reason = models.TextField("reason for the correction", blank=True)

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=models.Q(supersedes__isnull=True, is_void=False)
                | (models.Q(supersedes__isnull=False) & ~models.Q(reason="")),
                name="%(class)s_correction_has_reason",
                violation_error_message="A correction needs a reason.",
            )
        ]
