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
        refuses="masses below nothing, a window without a day; without use, or with"
        " less than 14 days of history, there is no forecast",
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
    Method(
        name="Share of a lot in a batch",
        gives="part of all that was weighed into a batch; an exact fraction, as %",
        formula="s(batch) = Σ m·s(source) / Σ m over all that went in; s of the lot"
        " itself is 1, of any other lot 0; through every batch between",
        source="mass balance; that a draw takes along the share its source has, as from"
        " an even mixture: common practice, no source",
        valid="any depth. By what went in: water that boiled off makes what is left"
        " richer. With an entry that the book could not take it is the least it can be",
        refuses="masses below nothing",
        function="batches.shares.shares_of",
    ),
]
