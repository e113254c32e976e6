"""What a batch was weighed and read with, and the checks around that."""

from __future__ import annotations

import dataclasses
import datetime
from collections import defaultdict

from batches.services.entries import Entries, Entry, standing
from producer.models import Instrument
from quality.models import InstrumentCheck
from quality.services.judgement import zone_here
from quality.services.reading_order.timeline import instrument_of


@dataclasses.dataclass(frozen=True, kw_only=True)
class Used:
    """An instrument in a batch: from when to when, how often, and its checks.

    ``before`` is the last check before it was first used, ``after`` the first one after
    it was last used; None where there is none. Strips are never checked.
    ``was_expired`` says that its date had passed on the day it was last used.
    """

    instrument: Instrument
    times: int
    first_at: datetime.datetime
    last_at: datetime.datetime
    before: InstrumentCheck | None
    after: InstrumentCheck | None
    was_expired: bool

    @property
    def is_never_checked(self) -> bool:
        """Say whether nothing is held against it: strips are used up by reading."""
        return self.instrument.kind == Instrument.Kind.PH_STRIPS

    @property
    def doubt(self) -> str:
        """What a reviewer must weigh about it, as a sentence; or nothing."""
        name = self.instrument.name
        if self.was_expired:
            return f"{name} was past its date when it was used."
        if self.before is not None and not self.before.passed:
            return f"{name} had failed its last check before it was used."
        if self.after is not None and not self.after.passed:
            return (
                f"{name} failed the first check after it was used: what was measured"
                " with it is in doubt."
            )
        return ""


def instruments_of(entries: Entries) -> list[Used]:
    """Return what the entries that count were weighed or read with, by first use."""
    uses: dict[int, list[Entry]] = defaultdict(list)
    known: dict[int, Instrument] = {}
    for row in _counting(entries):
        instrument = instrument_of(row)
        if instrument is not None:
            known[instrument.pk] = instrument
            uses[instrument.pk].append(row)
    checks, zone = _checks(list(known)), zone_here()
    found = [_used(known[pk], rows, checks[pk], zone) for pk, rows in uses.items()]
    return sorted(found, key=lambda one: one.first_at)


def _counting(entries: Entries) -> list[Entry]:
    return [
        *entries.standing_charges,
        *standing(entries.readings),
        *standing(entries.weighings),
        *standing(entries.titrations),
    ]


def _checks(ids: list[int]) -> dict[int, list[InstrumentCheck]]:
    found: dict[int, list[InstrumentCheck]] = defaultdict(list)
    rows = InstrumentCheck.objects.filter(instrument__in=ids)
    for check in rows.order_by("observed_at", "pk"):
        found[check.instrument_id].append(check)
    return found


def _used(
    instrument: Instrument,
    rows: list[Entry],
    checks: list[InstrumentCheck],
    zone: datetime.tzinfo,
) -> Used:
    times = [row.observed_at for row in rows]
    first_at, last_at = min(times), max(times)
    earlier = [one for one in checks if one.observed_at <= first_at]
    later = [one for one in checks if one.observed_at > last_at]
    return Used(
        instrument=instrument,
        times=len(rows),
        first_at=first_at,
        last_at=last_at,
        before=earlier[-1] if earlier else None,
        after=later[0] if later else None,
        was_expired=instrument.is_expired(last_at.astimezone(zone).date()),
    )
