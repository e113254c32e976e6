"""The audit on paper: both walks, what lacks, and the short lists."""

from __future__ import annotations

import datetime

from producer import prints
from quality.services import audit as service
from quality.services.complaints import trend


def audit_pdf(
    drawn: service.Drawn, *, day: datetime.date, mark: str, printed_by: str
) -> bytes:
    """Return an audit as its page shows it on that day."""
    return prints.pdf(
        "quality/audit_print.html",
        {
            "drawn": drawn,
            "audit": service.audit_of(drawn, mark=mark),
            "held": service.held_of(drawn.number),
            "draws": service.draws_until_now(drawn.number),
            "listed": service.listed(day, mark=mark),
            "trend": trend(),
        },
        printed_by=printed_by,
    )
