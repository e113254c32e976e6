"""A complaint on paper, with the trend of all."""

from __future__ import annotations

from producer import prints
from quality.models import Complaint
from quality.services import complaint_leads, complaint_todo
from quality.services import complaints as reading


def complaint_pdf(complaint: Complaint, *, printed_by: str) -> bytes:
    """Return a complaint with its steps, what it leads to, and the trend."""
    now = reading.standing(complaint)
    leads = complaint_leads.leads_of(now)
    return prints.pdf(
        "quality/complaint_print.html",
        {
            "complaint": complaint,
            "now": now,
            "leads": leads,
            "todo": complaint_todo.next_steps(now, leads),
            "trend": reading.trend(),
        },
        printed_by=printed_by,
    )
