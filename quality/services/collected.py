"""Codes collected one a line: what each bottle is, and what stands in its way.

Only read: nothing is recorded by looking.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle
from batches.services import bottle_moves, leaving
from producer.codes import is_bottle_code, normalise
from producer.models import Consignee
from producer.services.checks import local_day
from quality.services.supplying import barred_for
from quality.services.under_recall import recalled

SOON: Final = datetime.timedelta(days=30)  # ours: so near its use-by date, mind it
MOST: Final = 2000  # lines on one page, as many as a large filling


@dataclasses.dataclass(frozen=True, kw_only=True)
class Line:
    """A line that was scanned or typed.

    ``bottle`` is None where no bottle has this code. ``stops`` are the sentences that
    stand in its way; ``is_twice`` says that the same code stands there before.
    ``use_by`` is its use-by date where that is near.
    """

    text: str
    code: str
    bottle: Bottle | None = None
    is_twice: bool = False
    stops: Sequence[str] = ()
    use_by: datetime.date | None = None

    @property
    def may(self) -> bool:
        """Say whether nothing stands in its way."""
        return self.bottle is not None and not self.stops and not self.is_twice


def to_leave(
    text: str, consignee: Consignee | None, again: Iterable[str] = ()
) -> list[Line]:
    """Return the lines of a text, each with why its bottle may not leave.

    Without a consignee what holds for anybody. ``again`` are codes that the page has
    already.
    """
    today = local_day(timezone.now())
    lines = _read(text, again)
    bottles = [one.bottle for one in lines if one.bottle is not None]
    stops = leaving.stops(bottles, consignee, today)
    batches = {one.filling_lot.batch_id: one.filling_lot.batch for one in bottles}
    barred = barred_for(consignee)(list(batches.values()))
    return [_leaving(line, stops, barred, today) for line in lines]


def to_move(text: str, new: str, again: Iterable[str] = ()) -> list[Line]:
    """Return the lines of a text, each with why its bottle cannot become ``new``."""
    lines = _read(text, again)
    bottles = [one.bottle for one in lines if one.bottle is not None]
    covered = recalled(bottles) if new == BottleStatus.RECOVERED else set()
    return [
        dataclasses.replace(line, stops=_moving(line, new, covered)) for line in lines
    ]


def soon_past(bottles: Iterable[Bottle], on: datetime.date) -> dict[str, datetime.date]:
    """Return the use-by dates that are near, by the code of the filling lot."""
    lots = {one.filling_lot for one in bottles}
    return {
        lot.code: lot.use_by
        for lot in sorted(lots, key=lambda lot: lot.pk)
        if lot.use_by <= on + SOON
    }


def _read(text: str, again: Iterable[str]) -> list[Line]:
    texts = text.split()[:MOST]
    codes = [normalise(one) for one in texts]
    whole = [code for code in codes if is_bottle_code(code)]
    found: dict[str, Bottle] = {}
    for start in range(0, len(whole), leaving.AT_A_TIME):
        piece = whole[start : start + leaving.AT_A_TIME]
        rows = Bottle.objects.listed().filter(code__in=piece)
        found |= {bottle.code: bottle for bottle in rows}
    seen = Counter(normalise(code) for code in again)
    lines = []
    for one, code in zip(texts, codes, strict=True):
        seen[code] += 1
        bottle = found.get(code)
        stops = [] if bottle else [_unknown(code)]
        is_twice = bottle is not None and seen[code] > 1
        lines.append(
            Line(text=one, code=code, bottle=bottle, is_twice=is_twice, stops=stops)
        )
    return lines


def _unknown(code: str) -> str:
    if is_bottle_code(code):
        return "No bottle of this premises has this code."
    return (
        "This is not a bottle code: a character is wrong or missing. Scan or type it"
        " again."
    )


def _leaving(
    line: Line,
    stops: dict[int, list[leaving.Stop]],
    barred: Mapping[int, str],
    today: datetime.date,
) -> Line:
    bottle = line.bottle
    if bottle is None:
        return line
    lot = bottle.filling_lot
    words = [stop.words for stop in stops.get(bottle.pk, ())]
    # What left or is on hold is told by that alone.
    if lot.batch_id in barred and bottle.status == BottleStatus.FILLED:
        words.append(barred[lot.batch_id])
    use_by = lot.use_by if today <= lot.use_by <= today + SOON else None
    return dataclasses.replace(line, stops=words, use_by=use_by)


def _moving(line: Line, new: str, covered: Collection[int]) -> Sequence[str]:
    if line.bottle is None or new not in bottle_moves.CHOICES:
        return line.stops
    words = bottle_moves.why_not_moved(
        line.bottle, new
    ) or bottle_moves.why_not_recovered(line.bottle, new, covered)
    return [words] if words else []
