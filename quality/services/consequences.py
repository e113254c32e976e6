"""What each decision about a batch means, said before it is signed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Final

from batches.models import Batch
from producer.quantities import format_mass
from quality.models import Signature
from quality.services import marks
from quality.services.reviewing import Review
from quality.services.signing import POSSIBLE

Meaning = Signature.Meaning
SELF_REVIEWED: Final = "self-reviewed, no independent check"
FREES: Final = frozenset({Meaning.RELEASE, Meaning.UNHOLD})


@dataclasses.dataclass(frozen=True, kw_only=True)
class Choice:
    """A decision: its words, what it does, and why it cannot be signed now, if so.

    ``stands_beside`` is what will stand beside the signature for ever, or nothing.
    """

    meaning: Signature.Meaning
    consequence: str
    refused: str
    stands_beside: str

    @property
    def words(self) -> str:
        """The meaning as it will be printed."""
        return self.meaning.label


def choices_of(batch: Batch, review: Review, *, mark: str = ".") -> list[Choice]:
    """Return the decisions that fit where a batch stands, for who reads ``review``."""
    return [
        Choice(
            meaning=meaning,
            consequence=_SAYS[meaning](batch, mark),
            refused=_refused(review, meaning),
            stands_beside=(
                SELF_REVIEWED if review.is_own_work and meaning in FREES else ""
            ),
        )
        for meaning in POSSIBLE.get(batch.status, ())
    ]


def _refused(review: Review, meaning: Signature.Meaning) -> str:
    if meaning not in FREES:
        return ""
    if review.obstacles:
        return "Not possible: something stands in the way, see above."
    return review.why_not_alone


def _release(batch: Batch, mark: str) -> str:
    made = format_mass(batch.stock.on_hand_mg, mark=mark)
    return (
        f"Its {made} may be drawn from, filled and sent. Its record is closed: a later"
        " correction makes this signature void and holds everything again."
    )


def _unhold(batch: Batch, mark: str) -> str:
    return (
        "It is released again by what stands here today, and the bottles that were held"
        " together with it may leave."
    )


def _reject(batch: Batch, mark: str) -> str:
    left = format_mass(batch.stock.on_hand_mg, mark=mark)
    return (
        f"Its {left} on hand can only be reworked or disposed of, never released."
        + _below(batch, "They can be rejected then, but not released again.")
        + _out(batch)
    )


def _hold(batch: Batch, mark: str) -> str:
    here = marks.bottles_here([batch.pk])
    return (
        "Nothing more is drawn, filled or sent until it is decided again. Bottles held"
        f" here with it: {here}."
        + _below(batch, "Each is freed on its own, when this one is free again.")
        + _out(batch)
    )


def _rework(batch: Batch, mark: str) -> str:
    return (
        "It may be weighed into another batch as a rework, and into nothing else. That"
        " batch is made and judged anew."
    )


def _dispose(batch: Batch, mark: str) -> str:
    left = format_mass(batch.stock.on_hand_mg, mark=mark)
    return f"Its {left} on hand are written off. This cannot be undone."


def _below(batch: Batch, then: str) -> str:
    """Return which batches made from it are held with it, or nothing."""
    made = [one for one in marks.made_from(batch) if one.status == "released"]
    if not made:
        return ""
    here = marks.bottles_here([one.pk for one in made])
    numbers = ", ".join(one.number for one in made)
    return (
        f" Made from it and put on hold too: {numbers}; bottles of that here: {here}."
        f" {then}"
    )


def _out(batch: Batch) -> str:
    ids = [batch.pk, *(one.pk for one in marks.made_from(batch))]
    out = sum(one.count for one in marks.bottles_out(ids))
    if not out:
        return ""
    return f" Bottles that are out: {out}; they cannot be held. See if a recall is due."


_SAYS: Final[dict[Signature.Meaning, Callable[[Batch, str], str]]] = {
    Meaning.RELEASE: _release,
    Meaning.REJECT: _reject,
    Meaning.HOLD: _hold,
    Meaning.UNHOLD: _unhold,
    Meaning.REWORK: _rework,
    Meaning.DISPOSE: _dispose,
}
