"""What people told us: complaints that are open."""

from __future__ import annotations

import datetime

from quality.models import ComplaintAccount
from quality.services import complaints as reading
from quality.services.today.plain import (
    MAKER_OR_REVIEWER,
    Kind,
    Row,
    local,
    of_query,
    page,
    since,
)

SHORT = 120  # characters of a text that is told elsewhere in full


def complaints(today: datetime.date) -> Kind:
    """Open complaints: where somebody was hurt first, then the oldest."""

    def row(one: ComplaintAccount) -> Row:
        at = page("quality:complaint", one.complaint.code)
        hurt = "Somebody was hurt. " if one.was_hurt else ""
        return Row(
            name=one.complaint.code,
            at=at,
            words=f"{hurt}{reading.about(one)}: {one.words[:SHORT]}",
            when=f"open {since(local(one.observed_at), today)}",
            status="open",
            label=one.get_nature_display(),
            do="Look into it",
            do_at=at,
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "complaint",
        "Open complaints",
        reading.still_open(),
        row,
        all_at=page("quality:complaints", query={"status": "open"}),
    )
