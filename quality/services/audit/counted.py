"""How many draws were made for an audit, counted from the journal.

A draw is an act and no record: it writes a row of the journal and nothing else. Who
draws until the draw is mild leaves each of them there, and the audit says how many.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from batches.services import entries
from producer.models import JournalEntry
from producer.services.checks import said_moment
from quality.models import SelfInspection

# What the journal calls the acts; what is counted is found by these words.
DREW: Final = "audit drawn"
HELD: Final = "self-inspection held"
LABEL: Final = "audit "


class Drew(NamedTuple):
    """A draw as the journal has it: its number, and when it was made."""

    number: str
    at: datetime.datetime


@dataclasses.dataclass(frozen=True, kw_only=True)
class Draws:
    """The draws from the audit held before until this one was held, or until now.

    ``number`` is that of this audit, ``all`` the draws in turn. An audit that was taken
    back ends nothing: the draws before it count on. ``follows`` says whether an audit
    was held before, ``begun`` whether any draw was on record until then: audits are
    older than the record of draws.
    """

    number: str
    all: tuple[Drew, ...]
    follows: bool
    begun: bool

    @property
    def count(self) -> int:
        """How many draws there were."""
        return len(self.all)

    @property
    def newest(self) -> str:
        """The number that was drawn last, or nothing."""
        return self.all[-1].number if self.all else ""

    @property
    def place(self) -> int | None:
        """Which of them this was, from 1 on, or None where it was none of them."""
        numbers = [one.number for one in self.all]
        return numbers.index(self.number) + 1 if self.number in numbers else None

    @property
    def at(self) -> datetime.datetime | None:
        """When it was drawn, or None where it was none of them."""
        return None if self.place is None else self.all[self.place - 1].at

    @property
    def words(self) -> str:
        """How many there were, which this was and when it was made, as a sentence."""
        if not self.begun:
            return "No draw was on record yet."
        since = " since the audit held before it" if self.follows else ""
        if self.at is None:
            return f"No draw of this number is on record{since}."
        first = "" if self.follows else "; no audit was held before it"
        return (
            f"This was draw {self.place} of {self.count}{since}{first}. Drawn on"
            f" {said_moment(self.at)}."
        )


def label_of(number: str) -> str:
    """Return what the journal calls the audit with this number."""
    return f"{LABEL}{number}"


def draws_until_now(number: str = "") -> Draws:
    """Return the draws since the last audit that was held and stands."""
    rows = _rows()
    held = _sequences(_standing(rows, entries.first_keys(rows)))
    return _between(number, held.values())


def draws_for(row: SelfInspection) -> Draws:
    """Return the draws that led to an audit that was held.

    Counted from the audit that was put on record before it, whenever either is said to
    have been held.
    """
    rows = _rows()
    first = entries.first_keys(rows)
    own = first[row.pk]
    held = _sequences({*_standing(rows, first), own})
    until = held[own]
    before = [sequence for sequence in held.values() if sequence < until]
    return _between(row.number, before, until=until)


def why_not_drawn(number: str) -> str:
    """Return why no audit of this number can be held, or nothing.

    Only a draw that is on record is held, and each of them once: else somebody could
    look at many numbers and hold the one that is mild.
    """
    if draws_until_now(number).place is not None:
        return ""
    return (
        f"Audit {number} was not drawn since the last audit was held. Draw first: each"
        " draw is put on record, and an audit is held of what was drawn."
    )


def _rows() -> list[SelfInspection]:
    """Return every row, corrected ones too: a few each year."""
    return list(SelfInspection.objects.only("supersedes", "is_void"))


def _standing(rows: list[SelfInspection], first: Mapping[int, int]) -> set[int]:
    return {first[row.pk] for row in entries.standing(rows)}


def _sequences(keys: set[int]) -> dict[int, int]:
    """Return by the key of a first row in which row of the journal it was held."""
    found = JournalEntry.objects.filter(
        subject_kind="selfinspection", subject_id__in=map(str, keys), act=HELD
    )
    return {int(pk): at for pk, at in found.values_list("subject_id", "sequence")}


def _between(number: str, before: Iterable[int], until: int | None = None) -> Draws:
    """Return the draws after the last of these rows of the journal."""
    since = max(before, default=0)
    drawn = JournalEntry.objects.filter(subject_kind="premises", act=DREW)
    if until is not None:
        drawn = drawn.filter(sequence__lt=until)
    rows = drawn.filter(sequence__gt=since).order_by("sequence")
    found = tuple(
        Drew(label.removeprefix(LABEL), at)
        for label, at in rows.values_list("subject_label", "at")
    )
    return Draws(
        number=number,
        all=found,
        follows=bool(since),
        begun=bool(found) or drawn.exists(),
    )
