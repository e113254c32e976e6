"""The draw of an audit, out of the bottles and raw lots that the records have."""

from __future__ import annotations

import dataclasses
import secrets

from django.db.models import Sum

from batches.models import Bottle, FillingLot
from producer.errors import Refusal
from producer.models import RawLot
from quality import draws
from quality.draws import Draw


@dataclasses.dataclass(frozen=True, kw_only=True)
class Drawn:
    """What a draw hit. None where there was nothing to draw from, or it is not there.

    ``draw`` says of how many it was drawn.
    """

    draw: Draw
    bottle: Bottle | None
    lot: RawLot | None

    @property
    def number(self) -> str:
        """The number by which the same is drawn again."""
        return self.draw.number


def draw_anew() -> Draw:
    """Return a new draw, out of all bottles and raw lots that there are now.

    Nobody is shown one before it is on record, else a mild one could be chosen.
    """
    filled = FillingLot.objects.aggregate(n=Sum("count"))["n"]
    return Draw(
        seed=secrets.randbelow(draws.SEEDS),
        bottles=int(filled or 0),
        lots=RawLot.objects.count(),
    )


def drawn_by(number: str) -> Drawn:
    """Return what the draw with this number hits, the same however often.

    Bottles are counted in order of filling and lots in order of receipt, and none of
    either is ever taken away. Refused is a number that is none, or of more bottles or
    lots than there are.
    """
    try:
        draw = draws.read(number)
    except ValueError as error:
        raise Refusal(
            "This is no number of a draw. It has six digits, then how many bottles and"
            " how many lots it was drawn from: 004071-120-23."
        ) from error
    now = draw_anew()
    if draw.bottles > now.bottles or draw.lots > now.lots:
        raise Refusal("This number was not drawn here: there never were so many.")
    return Drawn(draw=draw, bottle=_bottle(draw.bottle), lot=_lot(draw.lot))


def why_not_held(drawn: Drawn) -> str:
    """Return why no audit can be held of what was drawn, or nothing.

    An audit walks from a bottle and from a raw lot. A number of no bottles or of no
    lots draws nothing to walk from, also where there are some by now.
    """
    lacking = [
        word
        for word, there in (("bottle", drawn.bottle), ("raw lot", drawn.lot))
        if there is None
    ]
    if not lacking:
        return ""
    return (
        f"This number draws no {' and no '.join(lacking)}: there is nothing to walk."
        " Draw again, from a bottle and a lot that are there."
    )


def _bottle(index: int | None) -> Bottle | None:
    if index is None:
        return None
    left = index
    for pk, count in FillingLot.objects.order_by("pk").values_list("pk", "count"):
        if left < count:
            rows = Bottle.objects.listed().select_related("place")
            return rows.filter(filling_lot_id=pk, number=left + 1).first()
        left -= count
    return None


def _lot(index: int | None) -> RawLot | None:
    if index is None:
        return None
    return RawLot.objects.listed().order_by("pk")[index]
