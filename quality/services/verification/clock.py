"""The clock of the journal: an act that is earlier than the act before it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from producer.models import JournalEntry
from quality.services.verification.checks import Remark

ALLOWED = datetime.timedelta(minutes=1)  # a clock that is set by the network steps back


def steps_back() -> Iterator[Remark]:
    """Yield a remark for each step back; an act is never refused for it."""
    rows = JournalEntry.objects.order_by("sequence").values_list("sequence", "at")
    before: datetime.datetime | None = None
    for sequence, at in rows.iterator(2000):
        if before is not None and at < before - ALLOWED:
            yield Remark(
                f"Journal row {sequence} is dated {at:%Y-%m-%d %H:%M} UTC, earlier than"
                f" the row before it ({before:%Y-%m-%d %H:%M}). The clock of the"
                " computer was set back, or somebody wrote the row by hand."
            )
        before = at
