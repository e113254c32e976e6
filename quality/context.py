"""What every signed-in page says about recalls."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from quality.models import Recall


def recalls(request: HttpRequest) -> dict[str, object]:
    """Return how many real recalls are open, counted only where it is shown."""
    return {
        "open_recalls_count": SimpleLazyObject(
            lambda: (
                Recall.objects.filter(is_mock=False)
                .exclude(status=Recall.Status.CLOSED)
                .count()
            )
        )
    }
