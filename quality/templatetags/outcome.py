"""What came out of a batch, and the dose of a correction, in the pages of making it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.utils import timezone

from batches.chemistry.constants import PERCENT
from batches.chemistry.correction import USUAL_SHARE
from batches.models import Batch, Reading
from batches.services.entries import Entries
from batches.services.results import yield_of
from producer.middleware import decimal_mark
from producer.models import RawLot, Right
from producer.quantities import whole_number
from producer.services.checks import local_day
from quality.services.correction import correction_of
from quality.services.outcome import CameOut, came_out

register = template.Library()

WHOLE = int(PERCENT)


@register.inclusion_tag("quality/_came_out.html", takes_context=True)
def came_out_block(
    context: dict[str, Any],
    batch: Batch,
    *,
    hottest: Reading | None = None,
    on_the_batch_page: bool = False,
    found: CameOut | None = None,
    entries: Entries | None = None,
) -> dict[str, Any]:
    """Show yield, losses, soap, glycerol, water and the soap content with its budget.

    On the batch page also what is on hand, and where a loss is corrected. ``found`` and
    ``entries`` where the page has them already.
    """
    found = found or came_out(batch, mark=decimal_mark())
    entries = entries or Entries(batch)
    user = context["user"]
    return {
        "batch": batch,
        "user": user,
        "result": yield_of(batch, entries),
        "found": found,
        "split": found.outcome.split,
        "hottest": hottest,
        "show_stock": on_the_batch_page,
        "losses": entries.losses,
        "can_amend": on_the_batch_page and batch.is_open and user.may(Right.MAKER),
    }


@register.inclusion_tag("quality/_dose.html", takes_context=True)
def dose_of(context: dict[str, Any], batch: Batch, lot: RawLot) -> dict[str, Any]:
    """Show how much of a lot to weigh in, at the share named in the address."""
    asked = whole_number(
        context["request"].GET.get("share"), default=int(USUAL_SHARE * PERCENT)
    )
    share = min(max(asked, 1), WHOLE)
    found = correction_of(
        batch, on=local_day(timezone.now()), share=Decimal(share) / PERCENT
    )
    proposal = next((one for one in found.proposals if one.lot.pk == lot.pk), None)
    why_not = proposal.why_not if proposal else found.closed or found.why_not
    return {
        "proposal": proposal,
        "share": share,
        "why_not": why_not or "This lot would not bring it back.",
    }
