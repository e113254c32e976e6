"""The short lists of an audit: how many of each, and where they are."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Sequence
from typing import Final

from django.urls import reverse

from batches.models import FillingLot
from batches.services import label_counts
from producer.models import User
from quality.models import SignatureMark
from quality.services import today
from quality.services.audit.plain import counted

MOST_SHOWN: Final = 10
# What the first page knows already, by its slug, in the words of an audit.
OF_TODAY: Final = (
    ("recall", "Open recalls"),
    ("complaint", "Open complaints"),
    ("deviation", "Open deviations"),
    ("discrepancy", "Entries that do not fit the book"),
    ("failed", "Failed instruments nobody has looked into"),
    ("bottle-doubts", "Bottles in doubt"),
    ("changed", "Samples that changed"),
    ("date", "Raw lots past or near their date"),
    ("check", "Instruments due for their check"),
    ("tool", "Strips and instruments past or near their date"),
    ("samples", "Samples to look at"),
    ("safety", "Training and equipment due"),
    ("yearly", "Due once a year"),
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Listed:
    """One list: its name, how many are on it, the first ones in words, and its page."""

    heading: str
    count: int
    lines: Sequence[str]
    at: str

    @property
    def more(self) -> int:
        """How many are not shown."""
        return max(0, self.count - len(self.lines))


def listed(day: datetime.date, *, mark: str = ".") -> list[Listed]:
    """Return the lists, those of the first page before those of a year's end."""
    kinds = {one.slug: one for one in today.due(day, mark=mark)}
    start = reverse("quality:today")
    found = []
    for slug, heading in OF_TODAY:
        kind = kinds.get(slug)
        found.append(
            Listed(
                heading=heading,
                count=kind.count if kind else 0,
                lines=[f"{row.name}: {row.when}" for row in kind.rows] if kind else (),
                at=kind.all_at or f"{start}#{slug}" if kind else "",
            )
        )
    return [*found, *_of_the_year()]


def _of_the_year() -> Iterator[Listed]:
    yield _changed()
    yield _labels()
    yield _access()


def _changed() -> Listed:
    """Return what was changed after it was signed, or rests on what was."""
    marks = SignatureMark.objects.select_related("signature__batch__stock")
    rows = list(marks.order_by("-pk")[:MOST_SHOWN])
    return Listed(
        heading="Signed records that were changed, or whose basis was",
        count=marks.count(),
        lines=[
            f"{one.signature.batch.number}: {one.get_kind_display()}." for one in rows
        ],
        at=reverse("batches:batches"),
    )


def _labels() -> Listed:
    lots = list(FillingLot.objects.order_by("-pk"))
    lines = [
        *label_counts.open_counts(lots).values(),
        *label_counts.too_few(lots).values(),
    ]
    return Listed(
        heading="Labels issued and used that do not add up",
        count=len(lines),
        lines=lines[:MOST_SHOWN],
        at=reverse("batches:bottles"),
    )


def _access() -> Listed:
    """Return who may sign in, and with which rights."""
    users = list(User.objects.filter(is_active=True).select_related("person"))
    lines = []
    for one in sorted(users, key=lambda user: user.username):
        rights = ", ".join(right.label for right in one.rights) or "may read"
        lines.append(f"{one.username}, {one.person.name}: {rights}")
    return Listed(
        heading=f"People with access: {counted(len(lines), 'account')}",
        count=len(lines),
        lines=lines,
        at=reverse("producer:people"),
    )
