"""What the frame around every page shows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

NAVIGATION = (
    ("Today", "quality:today"),
    ("Goods in", "producer:lots"),
    ("Store", "batches:store"),
    ("Batches", "batches:batches"),
    ("Bottles", "batches:bottles"),
    ("Deviations", "quality:deviations"),
    ("Complaints", "quality:complaints"),
    ("Recalls", "quality:recalls"),
    ("Registers", "producer:registers"),
    ("Journal", "producer:journal"),
)


def shell(request: HttpRequest) -> dict[str, Any]:
    """Return the premises and the navigation with the place we are in."""
    return {
        "premises": getattr(request, "premises", None),
        "navigation": NAVIGATION,
        "public_url": settings.PUBLIC_URL,
        "is_demo": settings.IS_DEMO,
    }
