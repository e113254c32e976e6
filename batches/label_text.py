"""What stands on a label, as plain values: that of an issue, and each bottle's own.

Pure: no Django. The fixed phrases are not here; the label takes them from
:mod:`batches.label_words` in ``LabelText.language``.

>>> Serial("ABCDEFGHJKMN", 12).copy
1
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Final

# A figure of ml is a dose where it is said to be one, or what it is for; none of water.
_FOR: Final = r"(?:per|for|a|each|every|to|in|into|je|pro|für|auf|zu)\b"
_DOSES: Final = re.compile(
    r"(?P<called>\b(?:dos\w*|use|take|add|nehmen|nimm)\W+)?"
    r"\b(?P<figure>[0-9]+(?:[.,][0-9]+)?)\s*(?P<unit>ml|cl)\b"
    rf"(?P<water>\s+(?:(?!{_FOR})\w+\s+){{0,2}}?(?:water|wasser)\b)?"
    rf"(?P<purpose>\s+(?:\w+\s+){{0,2}}?{_FOR})?",
    re.IGNORECASE,
)
_UL: Final = {"ml": 1_000, "cl": 10_000}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Hazard:
    """A hazard block, word for word as the maker's classification records it.

    ``signal`` is the signal word in the language of the label, ``statements`` the
    recorded lines, ``identifier`` the formula identifier (UFI) or nothing.
    """

    signal: str
    statements: str
    identifier: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class LabelText:
    """All that is the same on every label of an issue.

    Every text is printed as it stands here: days as words, ``net`` as volume in words,
    ``contents`` as class of contents with the word for soap, ``doses`` as pairs of
    water and dose. ``net_ul`` is the nominal quantity in microlitres and decides how
    high the figures of ``net`` are. ``purpose`` is that of the formula; a ``spray``
    says that it is for own use, unless ``authority_reference`` is given.
    """

    language: str
    product_name: str
    net: str
    net_ul: int
    batch: str
    filled: str
    use_by: str
    contents: str = ""
    directions: str = ""
    cautions: str = ""
    doses: tuple[tuple[str, str], ...] = ()
    hazard: Hazard | None = None
    purpose: str = ""
    authority_reference: str = ""
    contact: tuple[str, ...] = ()
    poison_centre: str = ""

    @property
    def is_spray(self) -> bool:
        """Say whether the cautions for sprays belong on the label."""
        return self.purpose == "spray"


@dataclasses.dataclass(frozen=True)
class Serial:
    """What is only on one label: bare code and number of the bottle, and which copy."""

    code: str
    number: int
    copy: int = 1


def digits_mm(nominal_ul: int) -> int:
    """Return how high the figures of a nominal quantity are at least, in mm.

    ``nominal_ul`` in microlitres. Source: Directive 76/211/EEC, Annex I, 3.1 (from
    memory): 2 mm up to 50 ml, 3 mm up to 200 ml, 4 mm up to 1 l, 6 mm above.

    >>> [digits_mm(ml * 1000) for ml in (50, 200, 500, 1000, 1001)]
    [2, 3, 4, 4, 6]
    """
    for most_ml, height in ((50, 2), (200, 3), (1000, 4)):
        if nominal_ul <= most_ml * 1000:
            return height
    return 6


def doses_named(directions: str) -> list[tuple[str, Decimal]]:
    """Return the doses that directions name, as typed, each in microlitres.

    A net with meshes, as :mod:`batches.claims` is: it knows millilitres and
    centilitres, and words of English and German beside them.

    >>> doses_named("30 ml for a load, 2,5 cl je Eimer; dissolve in 500 ml of water")
    [('30 ml', Decimal('30000')), ('2,5 cl', Decimal('25000.0'))]
    >>> doses_named("Dose: 40 ml. A bottle of 500 ml, rinsed with 250 ml water to end")
    [('40 ml', Decimal('40000'))]
    >>> doses_named("20 ml in warm water; 30 ml Seife auf 5 l Wasser")
    [('20 ml', Decimal('20000')), ('30 ml', Decimal('30000'))]
    """
    found = []
    for match in _DOSES.finditer(directions):
        if match["water"] or not (match["called"] or match["purpose"]):
            continue
        unit = match["unit"].lower()
        figure = Decimal(match["figure"].replace(",", ".")) * _UL[unit]
        found.append((f"{match['figure']} {unit}", figure))
    return found


def doses_beyond(
    net_ul: int, *, doses: Iterable[tuple[str, int]], directions: str
) -> list[str]:
    """Return each printed dose that is more than a bottle holds, and where it stands.

    ``net_ul`` is the nominal quantity in microlitres; ``doses`` are the rows of the
    table, water and whole millilitres. A bottle that is one dose is no contradiction.

    >>> table = [("soft", 50), ("hard", 80)]
    >>> doses_beyond(50_000, doses=table, directions="6 cl a day")
    ['80 ml for hard water', '6 cl in the directions']
    """
    table = [f"{ml} ml for {water} water" for water, ml in doses if ml * 1_000 > net_ul]
    named = [
        f"{dose} in the directions"
        for dose, ul in dict(doses_named(directions)).items()
        if ul > net_ul
    ]
    return table + named
