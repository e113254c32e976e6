"""The excess alkali of a batch with its whole budget."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from batches.views.batches import batch_by_number
from producer.views.acts import read_only
from quality.services.alkali import alkali_of, discount_rows, drawn
from quality.statistics.simulation import FEWEST_DRAWS

DRAWS = 200_000
MOST_DRAWS = 1_000_000


@read_only
def alkali(request: HttpRequest, number: str) -> HttpResponse:
    """Show E ± U, both risks, what a discount would do, and the budget."""
    batch = batch_by_number(number)
    found = alkali_of(batch)
    draws, complaint = _draws(request.GET.get("draws", ""))
    checked = None
    if draws and found.weighed is not None:
        # The same batch gives the same draws, so that two people see one result.
        checked = drawn(found.weighed, found.limits, draws=draws, seed=batch.pk)
    return render(
        request,
        "quality/alkali.html",
        {
            "batch": batch,
            "alkali": found,
            "rows": discount_rows(found, current=batch.lye_discount),
            "current": float(batch.lye_discount),
            "drawn": checked,
            "draws": DRAWS,
            "complaint": complaint,
        },
    )


def _draws(typed: str) -> tuple[int, str]:
    """Return how many draws were asked for, within bounds, and what was wrong."""
    if not typed:
        return 0, ""
    try:
        asked = int(typed)
    except ValueError:
        return 0, f"Write the number of draws as a whole number, such as {DRAWS}."
    return min(max(asked, FEWEST_DRAWS), MOST_DRAWS), ""
