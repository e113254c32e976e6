"""The journal on screen, on paper and as a table for a computer."""

from __future__ import annotations

import datetime
import json

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.request import QueryDict
from django.shortcuts import get_object_or_404, render

from producer import subjects
from producer.changes import changes_of
from producer.documents import journal as documents
from producer.models import JournalEntry, JournalHead, User
from producer.models.journal import GONE, WRITTEN
from producer.quantities import whole_number
from producer.services import journal_reading
from producer.services.journal_reading import Asked
from producer.tables.base import show
from producer.tables.records import Acts, JournalTable
from producer.views.acts import read_only, user_of


@read_only
def journal(request: HttpRequest) -> HttpResponse:
    """Read the journal: by record, by person, by day, by word."""
    asked = asked_of(request.GET)
    table = show(request, JournalTable(Acts(journal_reading.acts(asked))))
    question = request.GET.copy()
    question.pop("page", None)
    return render(
        request,
        "producer/journal.html",
        {
            "table": table,
            "asked": asked,
            "question": question.urlencode(),
            "head": JournalHead.objects.get(pk=1),
            "most_printed": documents.MOST_PRINTED,
            "accounts": User.objects.select_related("person"),
        },
    )


@read_only
def act(request: HttpRequest, sequence: int) -> HttpResponse:
    """Show one act in full, with its place in the chain."""
    entry = get_object_or_404(JournalEntry, sequence=sequence)
    written = json.loads(entry.after)
    return render(
        request,
        "producer/act_record.html",
        {
            "entry": entry,
            "changes": changes_of(entry, in_full=True),
            "address": subjects.addresses([entry]).get(entry.sequence, ""),
            "holds": entry.hash == entry.expected_hash(),
            "written": _tables(written.get(WRITTEN, {})),
            "gone": written.get(GONE, {}),
            "last": JournalHead.objects.get(pk=1).sequence,
        },
    )


@read_only
def journal_pdf(request: HttpRequest) -> HttpResponse:
    """Print the acts asked for."""
    printed_by = user_of(request).person.name
    return HttpResponse(
        documents.journal_pdf(asked_of(request.GET), printed_by=printed_by),
        content_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="journal.pdf"'},
    )


@read_only
def journal_csv(request: HttpRequest) -> StreamingHttpResponse:
    """Stream the acts asked for as CSV."""
    return StreamingHttpResponse(
        documents.journal_csv(asked_of(request.GET)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="journal.csv"'},
    )


def asked_of(query: QueryDict) -> Asked:
    """Return what an address asks for; nonsense narrows nothing."""
    one_day = _day(query.get("day", ""))
    return Asked(
        on=query.get("on", "").strip(),
        who=whole_number(query.get("who"), default=0),
        text=query.get("text", "").strip(),
        since=one_day or _day(query.get("since", "")),
        until=one_day or _day(query.get("until", "")),
    )


def _day(text: str) -> datetime.date | None:
    try:
        found = datetime.date.fromisoformat(text)
    except ValueError:
        return None
    # The first and the last year have days that do not exist in every time zone.
    return found if datetime.MINYEAR < found.year < datetime.MAXYEAR else None


def _tables(written: dict[str, dict[str, list[object]]]) -> list[tuple[str, object]]:
    """Return the rows that an act wrote, by table, as the journal keeps them."""
    return [(table, kept) for table, kept in sorted(written.items())]
