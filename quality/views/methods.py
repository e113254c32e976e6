"""How it is computed: each computation with formula, source and range."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from producer.views.acts import read_only
from quality.methods.sections import found


@read_only
def methods(request: HttpRequest) -> HttpResponse:
    """List every computation, or those that contain the words looked for."""
    query = request.GET.get("q", "").strip()[:80]
    return render(
        request, "quality/methods.html", {"sections": found(query), "query": query}
    )
