"""The first page, and the search."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from producer.models import Material
from producer.services.checks import local_day
from producer.views.acts import read_only
from quality.services import finding
from quality.services.today import due


@read_only
def today(request: HttpRequest) -> HttpResponse:
    """Show what is due, and for a new premises the first steps."""
    day = local_day(timezone.now())
    return render(
        request,
        "quality/today.html",
        {"due": due(day), "today": day, "is_new": not Material.objects.exists()},
    )


@read_only
def find(request: HttpRequest) -> HttpResponse:
    """Go to the page of a code, or list what contains the words."""
    query = request.GET.get("q", "").strip()
    hit = finding.by_code(query)
    if hit:
        return redirect(hit.page, hit.key)
    hits = [(_address(hit), hit.words) for hit in finding.by_words(query[:120])]
    return render(
        request,
        "quality/find.html",
        {
            "query": query,
            "hits": hits,
            "not_issued": finding.looks_like_code(query),
        },
    )


def _address(hit: finding.Hit) -> str:
    page, *arguments = hit.page.split()
    return reverse(page, args=[*arguments, *([hit.key] if hit.key != "" else [])])
