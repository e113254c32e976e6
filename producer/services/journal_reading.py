"""Reading the journal: by record, by person, by day, by word. Changes nothing."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator

from django.db.models import Max, Min, Q, QuerySet
from django.utils import timezone

from producer import subjects
from producer.models import JournalEntry, Person, User

TEXTS = ("subject_label", "act", "reason", "actor_name", "before", "after")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Asked:
    """What somebody looks for; whatever is empty does not narrow it.

    ``on`` is the code or name of a record, ``who`` the id of a person, ``text`` a part
    of anything the journal wrote down; both days belong to it.
    """

    on: str = ""
    who: int = 0
    text: str = ""
    since: datetime.date | None = None
    until: datetime.date | None = None


def acts(asked: Asked) -> QuerySet[JournalEntry]:
    """Return the acts asked for, newest first."""
    rows = JournalEntry.objects.all()
    if asked.who:
        accounts = User.objects.filter(person_id=asked.who)
        rows = rows.filter(actor_id__in=list(accounts.values_list("pk", flat=True)))
    if asked.on:
        rows = rows.filter(subjects.acts_on(asked.on))
    if asked.text:
        condition = Q()
        for name in TEXTS:
            condition |= Q(**{f"{name}__icontains": asked.text})
        rows = rows.filter(condition)
    if asked.since or asked.until:
        rows = rows.filter(_within(asked))
    return rows


def _within(asked: Asked) -> Q:
    """Return the condition for the days, with the first and last row that fit it.

    The rows follow from the times and take nothing away. Without them a database that
    is asked for the newest acts of an old day may walk through all that came since.
    """
    span = Q()
    if asked.since:
        span &= Q(at__gte=_midnight(asked.since))
    if asked.until:
        span &= Q(at__lt=_midnight(asked.until + datetime.timedelta(days=1)))
    ends = JournalEntry.objects.filter(span).aggregate(
        first=Min("sequence"), last=Max("sequence")
    )
    if ends["first"] is None:
        return Q(pk__in=[])
    return span & Q(sequence__gte=ends["first"], sequence__lte=ends["last"])


def _midnight(day: datetime.date) -> datetime.datetime:
    return datetime.datetime.combine(
        day, datetime.time.min, timezone.get_current_timezone()
    )


def page(rows: QuerySet[JournalEntry], start: int, stop: int) -> list[JournalEntry]:
    """Return some of the rows, found by their numbers first.

    So what is skipped or sorted is a number, and not all that an act wrote down.
    """
    numbers = list(rows.values_list("sequence", flat=True)[start:stop])
    found = JournalEntry.objects.filter(sequence__in=numbers)
    return list(found.order_by("-sequence"))


def words(asked: Asked) -> str:
    """Say what was asked for, as a print must."""
    return ", ".join(_words(asked)) or "all acts"


def _words(asked: Asked) -> Iterator[str]:
    if asked.on:
        yield f"on {asked.on}"
    if asked.who:
        person = Person.objects.filter(pk=asked.who).first()
        yield f"by {person}" if person else "by nobody we know"
    if asked.text:
        yield f"with “{asked.text}”"
    if asked.since and asked.since == asked.until:
        yield f"on {asked.since.isoformat()}"
        return
    if asked.since:
        yield f"from {asked.since.isoformat()}"
    if asked.until:
        yield f"to {asked.until.isoformat()}"
