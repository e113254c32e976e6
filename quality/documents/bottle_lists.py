"""Every bottle of a recall, one by one, as open data that is written while it is sent.

A list is a :class:`Head`, the bottles in order of filling, and who knows the share of a
batch. Memory stays the same however many bottles there are, and each form says at its
end how many it has: what was cut off on the way does not look whole. The PDF is written
in :mod:`.bottle_pages`.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import itertools
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from json.encoder import encode_basestring as _quoted
from typing import Any, TypeVar

from batches.documents.labels import bottle_address
from batches.lifecycle import BottleStatus
from batches.shares import Share
from batches.trace import TracedBottle
from producer.codes import grouped
from producer.csv_lines import safe_cell
from quality.services.recall_affected import place_of

AT_A_TIME = 500  # bottles to a piece of a file: some 60 kB
# What a bottle has in the CSV and what the same is called in the JSON.
COLUMNS = {
    "bottle": "bottle",
    "address": "address",
    "filling lot": "filling_lot",
    "number": "number",
    "batch": "batch",
    "status": "status",
    "holder": "holder",
    "telephone": "telephone",
    "e-mail": "email",
    "share of what went in (%)": "share_percent",
    "share is at least that": "share_is_least",
}
END = "end"
MOCK = "MOCK"  # the first column of the CSV of a mock recall, and what stands in it

T = TypeVar("T")
ShareOf = Callable[[int], Share]


class NotWholeError(RuntimeError):
    """There are not as many bottles as were announced: the file is left unfinished."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Head:
    """What is said of a list as a whole.

    ``root`` is what it begins from, in codes; ``at`` the moment of which it is, in the
    time of the premises; ``count`` how many bottles there are to come. ``about`` are
    further sentences for paper, ``mark`` is the decimal mark there.
    """

    root: str
    at: datetime.datetime
    count: int
    recall: str = ""
    is_mock: bool = False
    printed_by: str = ""
    premises: str = ""
    about: Sequence[str] = ()
    mark: str = "."

    @property
    def called(self) -> str:
        """Return what the list is of: “MOCK recall R26-0001-5 of L26-0003-1”."""
        if not self.recall:
            return self.root
        mock = "MOCK recall" if self.is_mock else "recall"
        return f"{mock} {self.recall} of {self.root}"

    def whole(self, written: int) -> None:
        """Raise :class:`NotWholeError` unless all bottles were written."""
        if written != self.count:
            raise NotWholeError(f"{written} bottles, and {self.count} were announced.")


def as_csv(
    head: Head, bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[bytes]:
    """Yield a CSV, a bottle a line; its last line says how many there were.

    Of a mock recall each line begins with that word, the first and the last one too:
    lines are copied out of such a list, and its name is not copied with them. Raises
    :class:`NotWholeError` instead of the last line, where it would not be true.
    """
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    first = (MOCK,) if head.is_mock else ()
    writer.writerow((*first, *COLUMNS))
    yield _taken(file)
    written = 0
    rows = _rows(bottles, share_of)
    if first:
        rows = ((*first, *row) for row in rows)
    while some := list(itertools.islice(rows, AT_A_TIME)):
        writer.writerows(some)
        written += len(some)
        yield _taken(file)
    head.whole(written)
    # What the list is of begins with what somebody typed: the name of an instrument.
    called = safe_cell(head.called)
    writer.writerow([*first, END, in_words(written), called, _moment(head)])
    yield _taken(file)


def as_json(
    head: Head, bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[bytes]:
    """Yield one JSON document, a bottle a line; cut off anywhere it is none.

    Raises :class:`NotWholeError` instead of its end, where that would not be true.
    """
    facts = {
        "of": head.root,
        "recall": head.recall or None,
        "mock": head.is_mock,
        "at": _moment(head),
        "count": head.count,
    }
    yield f'{_text(facts)[:-1]}, "bottles": [\n'.encode()
    written = 0
    objects = _objects(bottles, share_of)
    while some := list(itertools.islice(objects, AT_A_TIME)):
        before = ",\n" if written else ""
        written += len(some)
        yield (before + ",\n".join(some)).encode()
    head.whole(written)
    last = "\n" if written else ""
    yield f'{last}], "{END}": {_text({"bottles": written})}}}\n'.encode()


def in_words(count: int) -> str:
    """Return how many bottles.

    >>> in_words(1), in_words(20)
    ('1 bottle', '20 bottles')
    """
    return f"{count} bottle{'' if count == 1 else 's'}"


def in_groups(
    bottles: Iterable[TracedBottle], tell: Callable[[TracedBottle], T]
) -> Iterator[tuple[TracedBottle, T]]:
    """Yield each bottle with what those of its filling lot in one place share.

    ``tell`` is asked once for each of these: by holder and how to reach them, for two
    may have one name.
    """
    lot, known = "", dict[Any, T]()
    for bottle in bottles:
        if bottle[1] != lot:
            lot, known = bottle[1], {}
        place = bottle[5:]
        told = known.get(place)
        if told is None:
            told = known[place] = tell(bottle)
        yield bottle, told


def _rows(
    bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[tuple[Any, ...]]:
    def tell(bottle: TracedBottle) -> tuple[str, tuple[str, ...]]:
        lot, *rest = map(safe_cell, _common(bottle))
        percent, is_least = _share(share_of(bottle.batch_id))
        return lot, (*rest, percent, "yes" if is_least else "no")

    start = bottle_address("")
    for bottle, (lot, rest) in in_groups(bottles, tell):
        shown = grouped(bottle[0])
        yield (shown, start + shown, lot, bottle[2], *rest)


def _objects(bottles: Iterable[TracedBottle], share_of: ShareOf) -> Iterator[str]:
    def tell(bottle: TracedBottle) -> tuple[str, str]:
        """Return what stands between address and number, and what after that."""
        lot, *rest = _common(bottle)
        percent, is_least = _share(share_of(bottle.batch_id))
        texts = dict(zip(names[4:], rest, strict=False))
        # A number, with the digits that the CSV has too.
        share = f', "{names[-2]}": {percent}, "{names[-1]}": {_text(is_least)}}}'
        return (
            f', "{names[2]}": {_text(lot)}, "{names[3]}": ',
            f", {_text(texts)[1:-1]}{share}",
        )

    names = list(COLUMNS.values())
    start = bottle_address("")
    first, second = f'{{"{names[0]}": ', f', "{names[1]}": '
    for bottle, (lot, rest) in in_groups(bottles, tell):
        shown = grouped(bottle[0])
        yield (
            f"{first}{_quoted(shown)}{second}{_quoted(start + shown)}"
            f"{lot}{bottle[2]}{rest}"
        )


def _common(bottle: TracedBottle) -> tuple[str, ...]:
    """Return filling lot, batch, status, holder and how to reach them, if it is out.

    Each on one line, so that a file has as many lines as bottles.
    """
    is_out = bottle.status == BottleStatus.DISPATCHED
    cells = (
        bottle.filling_lot,
        bottle.batch,
        BottleStatus(bottle.status).label,
        place_of(bottle.status, bottle.holder or ""),
        bottle.phone or "" if is_out else "",
        bottle.email or "" if is_out else "",
    )
    return tuple(" ".join(cell.split()) for cell in cells)


def _share(share: Share) -> tuple[str, bool]:
    return f"{share.percent:.4f}", share.is_least


def _moment(head: Head) -> str:
    return head.at.isoformat(timespec="seconds")


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _taken(file: io.StringIO) -> bytes:
    """Return what was written since this was last asked."""
    taken = file.getvalue().encode()
    file.seek(0)
    file.truncate()
    return taken
