"""The first page, and the search."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from producer.middleware import decimal_mark
from producer.models import User
from producer.services.checks import local_day
from producer.views.acts import read_only, user_of
from quality.services import finding
from quality.services.today import Row, Step, due, first_of, first_steps


@read_only
def today(request: HttpRequest) -> HttpResponse:
    """Show what is due and what to do first; up to the first batch the first steps."""
    day, user = local_day(timezone.now()), user_of(request)
    kinds = due(day, mark=decimal_mark())
    first = first_of(kinds)
    return render(
        request,
        "quality/today.html",
        {
            "kinds": [
                (kind, [(row, _may(user, row)) for row in kind.rows]) for kind in kinds
            ],
            "first": first
            and {"kind": first[0], "row": first[1], "may": _may(user, first[1])},
            "today": day,
            "steps": [(step, _may(user, step)) for step in first_steps()],
            "pots": sum(kind.count for kind in kinds if kind.slug == "pot"),
        },
    )


def _may(user: User, row: Row | Step) -> bool:
    return not row.rights or any(user.may(right) for right in row.rights)


@read_only
def find(request: HttpRequest) -> HttpResponse:
    """Go to the page of a code, or list what contains the words."""
    query = request.GET.get("q", "").strip()[: finding.LONGEST]
    hit = finding.by_code(query)
    if hit:
        return redirect(_address(hit))
    groups = [
        (group, [(_address(hit), hit.words) for hit in group.hits])
        for group in finding.by_words(query)
    ]
    return render(
        request,
        "quality/find.html",
        {
            "query": query,
            "groups": groups,
            "most": finding.MOST_HITS,
            "not_issued": finding.looks_like_code(query),
            "is_mistyped": finding.looks_mistyped(query),
        },
    )


def _address(hit: finding.Hit) -> str:
    return reverse(hit.page, args=hit.keys)
