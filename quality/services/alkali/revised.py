"""The alkali balance as it would be with what a later certificate says of a lot.

Beside the one that was signed and never in its place: a charge keeps the figure of its
day. Only what was known by a former certificate is replaced; a titration or a published
range is not made better or worse by a paper.
"""

from __future__ import annotations

import dataclasses

from batches.services import sources
from batches.services.entries import Entries
from batches.services.figures import HEAVIER_WORDS
from producer.errors import Refusal
from producer.models import RawLot
from quality.services.alkali.formula import balance_of
from quality.services.alkali.inputs import (
    Knowledge,
    NotKnownError,
    Portion,
    known_of,
    pot_of,
)
from quality.statistics.budgets import Budget


def revised_balance(entries: Entries, lot: RawLot) -> Budget:
    """Return E in grams of KOH with the newest certificate of a lot, and its budget.

    Raises :class:`.NotKnownError` where no balance can be made, with the reason.
    """
    pot = pot_of(entries)
    replaced = [one for one in pot.portions if _by_former_certificate(one, lot)]
    if any(HEAVIER_WORDS in one.known.origin for one in replaced):
        raise NotKnownError(
            f"{lot.code} had become heavier when it was weighed in; titrate what is"
            " left of it to know more."
        )
    try:
        figure = sources.by_certificate(lot)
    except Refusal as refusal:
        raise NotKnownError(refusal.message) from refusal
    if figure is None:
        raise NotKnownError(f"The newest certificate of {lot.code} has no figure.")
    known = known_of(lot.stock, figure)
    portions = [
        dataclasses.replace(one, known=known) if one in replaced else one
        for one in pot.portions
    ]
    _, found = balance_of(dataclasses.replace(pot, portions=portions))
    return found


def _by_former_certificate(portion: Portion, lot: RawLot) -> bool:
    return portion.code == lot.code and (
        portion.known.knowledge is Knowledge.CERTIFICATE
    )
