"""Codes that were scanned and that nobody should hold."""

from __future__ import annotations

import datetime

from batches.models import ScanAlert
from batches.services import scans
from quality.services import scan_words
from quality.services.today.plain import (
    MAKER_OR_REVIEWER,
    Kind,
    Row,
    of_query,
    page,
    since,
)


def alerts(today: datetime.date) -> Kind:
    """Return the scans that nobody has looked into, the latest day first."""

    def row(one: ScanAlert) -> Row:
        at = page("quality:scan_alert", one.pk)
        return Row(
            name=scan_words.name_of(one),
            at=page("quality:scan_alerts"),
            words=f"{scan_words.words_of(one)}; {one.count} on that day",
            when=f"scanned {since(one.day, today)}",
            status="open",
            do="Say what it was",
            do_at=at,
            rights=MAKER_OR_REVIEWER,
        )

    return of_query(
        "scanned",
        "Scanned and amiss",
        scans.unseen(),
        row,
        all_at=page("quality:scan_alerts"),
    )
