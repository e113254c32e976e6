"""All entries, in the order of the chain."""

from __future__ import annotations

from typing import Final

from quality.methods import (
    alkali,
    control,
    costs,
    liquids,
    lye,
    outcome,
    potash,
    recalls,
    store,
    uncertainty,
)
from quality.methods.entries import Method

Section = tuple[str, list[Method]]

SECTIONS: Final[list[Section]] = [
    ("Potash, oils and titration", potash.ENTRIES),
    ("Alkali charge and excess alkali", alkali.ENTRIES),
    ("Lye, heat and pH", lye.ENTRIES),
    ("What comes out, and correction", outcome.ENTRIES),
    ("Dilution, doses and net content", liquids.ENTRIES),
    ("Uncertainty and conformity", uncertainty.ENTRIES),
    ("Charts, capability and instruments", control.ENTRIES),
    ("Store", store.ENTRIES),
    ("Recalls", recalls.ENTRIES),
    ("What it costs", costs.ENTRIES),
]


def found(query: str) -> list[Section]:
    """Return the sections with the entries in which all words of ``query`` occur.

    Sections without such an entry are left out; without words everything is found.
    """
    words = query.casefold().split()
    kept = [
        (heading, [entry for entry in entries if _has(entry, words)])
        for heading, entries in SECTIONS
    ]
    return [(heading, entries) for heading, entries in kept if entries]


def _has(entry: Method, words: list[str]) -> bool:
    text = " ".join((entry.name, entry.gives, entry.formula, entry.source)).casefold()
    return all(word in text for word in words)
