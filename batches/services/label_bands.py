"""Which class of contents the labels of a filling lot may carry.

The class follows from the soap content that was reckoned. Where its ± crosses an edge
the maker chooses, and says why; the program does not know better.
"""

from __future__ import annotations

import dataclasses

from batches.chemistry.dilution import CONTENTS_BANDS, contents_band
from batches.models import FillingLot, Formula
from batches.services.outcome import soap_content_of
from producer.errors import Refusal

WORDINGS = tuple(band.wording for band in CONTENTS_BANDS)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Bands:
    """The class reckoned, empty where there is none; and all that may be printed.

    ``choices`` is empty for a product that has no class. ``why_not`` says why none
    could be reckoned.
    """

    reckoned: str
    choices: tuple[str, ...]
    why_not: str = ""


def bands_of(filling_lot: FillingLot) -> Bands:
    """Return the class reckoned for a filling lot, and its neighbours.

    Where the content is not known every class may be chosen. Classes are for
    detergents (Regulation (EC) 648/2004, Annex VII A): a spray has none.
    """
    batch = filling_lot.batch
    if batch.formula_version.formula.purpose == Formula.Purpose.SPRAY:
        return Bands(
            reckoned="",
            choices=(),
            why_not="Classes of contents are for detergents; a spray has none.",
        )
    content = soap_content_of(batch)
    if content.percent is None:
        return Bands(reckoned="", choices=WORDINGS, why_not=content.sentence)
    place = WORDINGS.index(contents_band(content.percent).wording)
    return Bands(
        reckoned=WORDINGS[place],
        choices=WORDINGS[max(place - 1, 0) : place + 2],
    )


def require_band(filling_lot: FillingLot, band: str, reason: str) -> Bands:
    """Return what was reckoned, unless ``band`` must not be printed.

    A class other than the one reckoned lies next to it and has a reason: ± reaches
    across one edge, hardly ever across two.
    """
    found = bands_of(filling_lot)
    if band == found.reckoned:
        if found.choices and not band:
            raise Refusal(
                f"Choose a class of contents; none could be reckoned: {found.why_not}",
                field="band",
            )
        return found
    if not found.choices:
        raise Refusal(found.why_not, field="band")
    if band not in found.choices:
        choices = " or ".join(f"“{one}”" for one in found.choices)
        raise Refusal(
            f"By what was weighed the label says {choices}. If it is another class, an"
            " entry of the batch is wrong: correct that first.",
            field="band",
        )
    if not reason.strip():
        raise Refusal(
            "Say why the label carries a class that was not reckoned.",
            field="band_reason",
        )
    return found
