"""The table of doses of a wash, for pages and prints about one batch."""

from __future__ import annotations

from typing import Any

from django import template

from batches.chemistry.doses import USUAL_SOAP_PER_LOAD_G, USUAL_SUDS_L
from batches.models import Batch
from quality.services import dose_table as service

register = template.Library()


@register.inclusion_tag("quality/_dose_table.html")
def wash_doses(batch: Batch) -> dict[str, Any]:
    """Show the doses for soft, medium and hard water, or why there are none."""
    page: dict[str, Any] = {
        "soap_g": USUAL_SOAP_PER_LOAD_G,
        "suds_l": USUAL_SUDS_L,
        "step_ml": service.STEP_ML,
    }
    try:
        page["rows"] = service.dose_table(batch)
    except service.NotKnownError as reason:
        page["not_known"] = str(reason)
    return page
