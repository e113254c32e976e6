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
    Method(
        name="Part of a batch that comes from a source",
        gives="part of a batch that is of a lot, or of a batch before it; an exact"
        " fraction, as %",
        formula="p(source) = Σ p(batch)·m / Σ m over every batch that it went into, m /"
        " Σ m being its part of what went into that batch; p of the batch itself is 1",
        source="mass balance; even mixing as for the share of a lot in a batch: common"
        " practice, no source",
        valid="any depth; the parts of all its lots add up to 1. By what went in",
        refuses="nothing",
        function="batches.flow.parts_of",
    ),
    Method(
        name="Where the mass of a batch went in the pot",
        gives="mg; what cannot be explained is an end of its own",
        formula="went in = losses recorded + yield weighed + unexplained; where the"
        " yield is more, so much more came out than went in",
        source="mass balance",
        valid="up to the weighing of the yield; before it the rest is in the pot",
        refuses="masses below nothing",
        function="batches.flow.in_the_pot",
    ),
    Method(
        name="Where the mass of a batch went since",
        gives="mg; what cannot be explained is an end of its own",
        formula="yield + found at fillings = drawn + filled, lost and sampled at"
        " fillings + used + disposed of + on hand + unexplained",
        source="mass balance",
        valid="from the weighing of the yield on; of a raw lot from its receipt on",
        refuses="masses below nothing",
        function="batches.flow.in_store",
    ),
]
