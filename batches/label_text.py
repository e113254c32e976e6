"""What stands on a label, as plain values: that of an issue, and each bottle's own.

Pure: no Django. The fixed phrases are not here; the label takes them from
:mod:`batches.label_words` in ``LabelText.language``.

>>> Serial("ABCDEFGHJKMN", 12).copy
1
"""

from __future__ import annotations

import dataclasses


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
