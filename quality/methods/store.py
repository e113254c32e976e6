"""What is in the store, and what its scale says."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

ENTRIES: Final[list[Method]] = [
    Method(
        name="Days of cover",
        gives="days that a material lasts, and what of it will be too late",
        formula="usable before its last day / mean daily use; lots one after another,"
        " first expired first; mean daily use = drawn into batches in the last 90 days"
        " / 90, or since the first receipt if that is later",
        source="common practice, no source",
        valid="released lots in date; the last day itself counts, as does today; a lot"
        " ends with its expiry or its retest date, whichever comes first",
        refuses="masses below nothing, a window without a day; without use there is no"
        " forecast",
        function="batches.cover.cover",
    ),
    Method(
        name="Days of use that are counted",
        gives="days",
        formula="min(90, days since the first receipt, that day and today included)",
        source="common practice, no source",
        valid="a first receipt up to today",
        refuses="a first receipt in the future",
        function="batches.cover.days_counted",
    ),
]
