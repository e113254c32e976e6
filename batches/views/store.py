"""The store: what there is of each material, and how long it lasts."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from batches.services.cover import cover_all
from batches.tables.store import StoreTable
from producer.tables.base import show
from producer.views.acts import read_only


@read_only
def store(request: HttpRequest) -> HttpResponse:
    """List the materials with their lots, the one that goes first in front."""
    found = cover_all()
    return render(
        request,
        "batches/store.html",
        {"table": show(request, StoreTable(found)), "is_empty": not found},
    )
