"""The instruments of one batch, their checks, and when they were in doubt."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from functools import cached_property

from batches.models import BulkWeighing, Charge, Reading, Titration
from batches.services.entries import Entries, standing
from producer.models import Instrument
from quality.models import InstrumentCheck
from quality.services.impact.doubt import doubts_in
from quality.services.impact.plain import Doubt
from quality.services.tolerances import beyond_register

Row = Charge | Reading | BulkWeighing | Titration


@dataclasses.dataclass(frozen=True, kw_only=True)
class Tool:
    """An instrument, the entries that count which it showed, and all its checks.

    ``rows`` are in no order; ``checks`` by when they were made.
    """

    instrument: Instrument
    rows: Sequence[Row]
    checks: Sequence[InstrumentCheck]

    @cached_property
    def doubts(self) -> list[Doubt]:
        """The times of doubt in which at least one of the entries lies."""
        return [
            doubt
            for doubt in doubts_in(self.instrument, self.checks)
            if any(doubt.covers(row) for row in self.rows)
        ]

    @property
    def is_never_checked(self) -> bool:
        """Say whether a scale or a pH meter has no check at all on record."""
        kinds = {Instrument.Kind.SCALE, Instrument.Kind.PH_METER}
        return self.instrument.kind in kinds and not self.checks

    @property
    def beyond(self) -> tuple[InstrumentCheck, Decimal] | None:
        """The newest good check before its last use, if it shows the ± too small.

        With the error that it shows.
        """
        last_at = max(row.observed_at for row in self.rows)
        good = [one for one in self.checks if one.passed and one.observed_at <= last_at]
        if not good:
            return None
        error = beyond_register(self.instrument, good[-1])
        return None if error is None else (good[-1], error)


def tools_of(entries: Entries) -> list[Tool]:
    """Return what the entries that count were weighed or read with, by its key.

    One query, however many instruments there are.
    """
    rows: dict[int, list[Row]] = defaultdict(list)
    known: dict[int, Instrument] = {}
    for row in _counting(entries):
        instrument = row.instrument if isinstance(row, Reading) else row.scale
        if instrument is not None:
            known[instrument.pk] = instrument
            rows[instrument.pk].append(row)
    checks: dict[int, list[InstrumentCheck]] = defaultdict(list)
    found = InstrumentCheck.objects.filter(instrument__in=list(known))
    for check in found.order_by("observed_at", "pk"):
        checks[check.instrument_id].append(check)
    return [
        Tool(instrument=known[pk], rows=rows[pk], checks=checks[pk])
        for pk in sorted(known)
    ]


def _counting(entries: Entries) -> list[Row]:
    return [
        *entries.standing_charges,
        *standing(entries.readings),
        *standing(entries.weighings),
        *standing(entries.titrations),
    ]
