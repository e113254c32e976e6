"""Scans: as a stranger makes them, and those that amount to something."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponseBase
from django.test import Client

from batches.models import ScanAlert
from batches.services import scans
from tests.doors.pages import Page, page_of

UNKNOWN = "222222222224"  # well formed, and drawn by nobody
MISTYPED = "222222222225"


def unknown(code: str = UNKNOWN) -> ScanAlert:
    """Return the alert that somebody asked for a code that was never issued."""
    scans.forget()  # of tests before, whose bottles are gone
    scans.count_unknown(code)
    scans.flush()
    return ScanAlert.objects.get(code=code)


def visit(code: str, *, status: int = 200, **options: Any) -> HttpResponseBase:
    """Open the address of a bottle as a stranger does."""
    response = Client().get(f"/b/{code}/", **options)
    assert response.status_code == status
    return response


def seen(code: str, *, status: int = 200, **options: Any) -> Page:
    """Return the page that a stranger sees."""
    return page_of(visit(code, status=status, **options))
