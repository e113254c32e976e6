"""Every bottle of a recall on paper, in columns, to be ticked off one by one.

In order of filling: the filling lot, then who has the bottles and their status, then
number and code of each. A page is written as soon as it is full, so no more than one
is held in memory; the fonts come last. Every page and column says of what it is.
"""

from __future__ import annotations

import dataclasses
import functools
import itertools
import zlib
from collections.abc import Iterable, Iterator, Sequence
from operator import itemgetter

from batches.documents.pdf_file import PdfFile
from batches.documents.pdf_fonts import ENCODING, Plain, Wide
from batches.lifecycle import BottleStatus
from batches.shares import Share
from batches.trace import TracedBottle
from producer.wall_clock import offset_of
from quality.documents.bottle_lists import Head, ShareOf, in_words
from quality.services.recall_affected import place_of

MM = 72 / 25.4
SIZE = WIDTH, HEIGHT = 210 * MM, 297 * MM
# The margins of our other prints, see print.css.
LEFT, RIGHT, TOP, BOTTOM = 22 * MM, WIDTH - 16 * MM, HEIGHT - 24 * MM, 20 * MM
COLUMNS, GAP = 4, 10.0
COLUMN = (RIGHT - LEFT - (COLUMNS - 1) * GAP) / COLUMNS
STEP = 9.6  # from line to line
LINES = int((TOP - BOTTOM) / STEP)  # in a column of a page that has no title
CODE, WORDS, TITLE, BAND, EDGE = 7.5, 6.8, 17.0, 11.0, 8.5  # sizes of type
LINE_OF_TITLE = 12.0
INDENT = 9.0  # room for a box to tick
BOX = 5.2
MOST_OF_A_NAME, MOST_OF_ABOUT = 8, 12  # lines
DEFLATE = 5
MOCK = "MOCK RECALL – nobody is to be alarmed"
_PLACE = itemgetter(1, 5, 6)


class Fonts:
    """The three fonts: codes, words of ours, and what people typed."""

    def __init__(self) -> None:
        self.code = Plain("/Code", "DejaVuSansMono")
        self.bold = Plain("/Bold", "DejaVuSans-Bold")
        self.wide = Wide("/Wide", "DejaVuSans")

    def write(self, file: PdfFile) -> None:
        """Write them, and what all pages share."""
        named = b" ".join(
            b"%b %d 0 R" % (font.name.encode(), font.write(file))
            for font in (self.code, self.bold, self.wide)
        )
        file.object(file.resources, b"<< /Font << %b >> >>" % named)


Font = Plain | Wide


def as_pdf(
    head: Head, bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[bytes]:
    """Yield a PDF page by page; a remark after each says how far it is.

    Raises :class:`.NotWholeError` before the end where there are not as many bottles as
    announced, and OSError where the fonts are not on this machine: a file without its
    end opens nowhere.
    """
    file, fonts = PdfFile(), Fonts()
    yield file.taken()
    written = 0
    for number, page in enumerate(_pages(head, fonts, bottles, share_of), start=1):
        frame = _frame(head, fonts, number)
        content = "\n".join([frame, *(column.drawn() for column in page)])
        file.page(SIZE, zlib.compress(content.encode(ENCODING), DEFLATE))
        written += sum(column.bottles for column in page)
        file.remark(f"{written} of {head.count} bottles")
        yield file.taken()
    head.whole(written)
    fonts.write(file)
    file.remark(f"end: {written} bottles")
    file.end(_title(head), "en")
    yield file.taken()


# ------------------------------------------------------------------ the columns


@dataclasses.dataclass
class Column:
    """Lines one below the other: headings, and bottles with a box to tick."""

    left: float
    top: float
    room: int
    fonts: Fonts
    bottles: int = 0
    _text: list[str] = dataclasses.field(default_factory=list)
    _boxes: list[str] = dataclasses.field(default_factory=list)
    lines: int = 0

    @property
    def is_empty(self) -> bool:
        """Say whether nothing stands in it yet."""
        return not self.lines

    def head(self, lines: Sequence[str]) -> None:
        """Write a heading, drawn already."""
        self._text += lines
        self._take(len(lines))

    def list(self, bottles: Sequence[TracedBottle]) -> None:
        """Write a line for each of these bottles."""
        self._text.append(f"{self.fonts.code.name} {CODE} Tf {INDENT} 0 Td")
        self._text += [
            f"({number:>5} {code[:4]}-{code[4:8]}-{code[8:]}) '"
            for code, _, number, *_ in bottles
        ]
        self._text.append(f"-{INDENT} 0 Td")
        first = self.top - STEP * (self.lines + 1) - 0.4
        self._boxes += [
            f"{self.left:.1f} {first - STEP * place:.1f} {BOX} {BOX} re"
            for place in range(len(bottles))
        ]
        self.bottles += len(bottles)
        self._take(len(bottles))

    def drawn(self) -> str:
        """Return the operators that draw it."""
        text = [f"BT {STEP} TL {self.left:.2f} {self.top:.2f} Td", *self._text, "ET"]
        boxes = ["0.5 w", *self._boxes, "S"] if self._boxes else []
        return "\n".join([*text, *boxes])

    def _take(self, lines: int) -> None:
        self.lines += lines
        self.room -= lines


def _pages(
    head: Head, fonts: Fonts, bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[list[Column]]:
    columns = _columns(head, fonts, bottles, share_of)
    while page := list(itertools.islice(columns, COLUMNS)):
        yield page


def _places(head: Head, fonts: Fonts) -> Iterator[Column]:
    """Yield empty columns, one page after the other; the first has the title."""
    used = _height_of_title(head, fonts)
    while True:
        top, room = TOP - used, int((TOP - used - BOTTOM) / STEP)
        for place in range(COLUMNS):
            yield Column(LEFT + place * (COLUMN + GAP), top, room, fonts)
        used = 0.0


def _columns(
    head: Head, fonts: Fonts, bottles: Iterable[TracedBottle], share_of: ShareOf
) -> Iterator[Column]:
    """Yield the columns when they are full, and the last one with the end."""
    empty = _places(head, fonts)
    column, last_lot, count = next(empty), "", 0
    heading = _Headings(head, fonts, share_of)
    for (lot, _, _), group in itertools.groupby(bottles, _PLACE):
        run = iter(group)
        waiting: TracedBottle | None = next(run)
        goes_on = False
        while waiting is not None:
            lines = heading.place(waiting, goes_on=goes_on)
            if lot != last_lot:
                lines = [*heading.lot(waiting), *lines]
            if not column.is_empty and column.room <= len(lines):
                yield column
                column = next(empty)
            if column.is_empty and lot == last_lot:
                lines = [*heading.lot(waiting), *lines]
            column.head(lines)
            listed = [waiting, *itertools.islice(run, column.room - 1)]
            column.list(listed)
            count += len(listed)
            last_lot, goes_on, waiting = lot, True, next(run, None)
    if not column.room:
        yield column
        column = next(empty)
    column.head([drawn(fonts.bold, WORDS, f"End of the list: {in_words(count)}.")])
    yield column


class _Headings:
    """What stands above bottles: their filling lot and batch, and who has them."""

    def __init__(self, head: Head, fonts: Fonts, share_of: ShareOf) -> None:
        self.fonts = fonts
        self._mark = head.mark
        self._share_of = share_of
        # Of the same holders over and over; as many as some pages may need.
        self._drawn = functools.lru_cache(maxsize=512)(self._broken)

    def lot(self, bottle: TracedBottle) -> list[str]:
        """Return the lines that name the filling lot and its batch."""
        share = share_in_words(self._share_of(bottle.batch_id), self._mark)
        named = drawn(self.fonts.bold, CODE, bottle.filling_lot)
        return [named, *self._drawn(f"of batch {bottle.batch}, {share}")]

    def place(self, bottle: TracedBottle, *, goes_on: bool) -> list[str]:
        """Return the lines that say who has them and their status."""
        place = place_of(bottle.status, bottle.holder or "")
        more = " (continued)" if goes_on else ""
        return self._drawn(f"{place}: {BottleStatus(bottle.status).label}{more}")

    def _broken(self, text: str) -> list[str]:
        wide = self.fonts.wide
        lines = broken(wide, text, WORDS, COLUMN, MOST_OF_A_NAME)
        return [drawn(wide, WORDS, line) for line in lines]


def drawn(font: Font, size: float, text: str) -> str:
    """Return the operators that write a line below the one before."""
    return f"{font.name} {size} Tf {font.shown(text)} '"


def share_in_words(share: Share, mark: str = ".") -> str:
    """Return a share as paper shows it.

    >>> from fractions import Fraction
    >>> share_in_words(Share(least=Fraction(1, 8), is_least=True), ",")
    'at least 12,5 %'
    >>> share_in_words(Share(least=Fraction(1, 8000)))
    'below 0.1 %'
    """
    least = "at least " if share.is_least else ""
    if 0 < share.least < 1 / 1000:
        return f"below 0{mark}1 %" if not least else f"{least}0 %"
    return f"{least}{share.percent:.1f} %".replace(".", mark)


def broken(font: Font, text: str, size: float, width: float, most: int) -> list[str]:
    """Return a text in lines of at most ``width``; what is left over is cut with “…”.

    A word that is longer than a line is broken anywhere.
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        tried = f"{line} {word}" if line else word
        if font.width(tried, size) <= width:
            line = tried
            continue
        lines += [line] if line else []
        line = word
        while font.width(line, size) > width:
            fits = _fitting(font, line, size, width)
            lines.append(line[:fits])
            line = line[fits:]
    lines += [line] if line else []
    if len(lines) > most:
        return [*lines[: most - 1], f"{lines[most - 1][:-1]}…"]
    return lines


def _fitting(font: Font, text: str, size: float, width: float) -> int:
    """Return how many signs from its beginning fit into ``width``; one at least."""
    ends = itertools.accumulate(font.width(one, size) for one in text)
    return max(1, sum(1 for _ in itertools.takewhile(lambda end: end <= width, ends)))


# ------------------------------------------------------------------ around them


def _title(head: Head) -> str:
    return f"{'MOCK ' if head.is_mock else ''}Bottles of {head.root}"


def _about(head: Head, fonts: Fonts) -> list[str]:
    how_many = (
        f"{in_words(head.count)} in order of filling, as they stood at {_moment(head)}."
    )
    what_share = (
        "Share: what part of all that was weighed into the batch is of"
        f" {head.root}, through every batch between."
    )
    sentences = [how_many, *head.about, what_share]
    return [
        line
        for sentence in sentences
        for line in broken(fonts.wide, sentence, EDGE, RIGHT - LEFT, MOST_OF_ABOUT)
    ]


def _titles(head: Head, fonts: Fonts) -> list[str]:
    words = head.called[:1].upper() + head.called[1:] if head.recall else head.root
    return broken(
        fonts.bold, f"{words}: every bottle", TITLE, RIGHT - LEFT, MOST_OF_A_NAME
    )


def _height_of_title(head: Head, fonts: Fonts) -> float:
    titles, about = _titles(head, fonts), _about(head, fonts)
    return len(titles) * TITLE * 1.2 + len(about) * LINE_OF_TITLE + 6


def _frame(head: Head, fonts: Fonts, number: int) -> str:
    """Return the head and foot of a page; the title on the first."""
    name = _title(head)
    foot = f"Written at {_moment(head)} by {head.printed_by}"
    page = f"Page {number}"
    rule = TOP + 4 * MM
    parts = [
        _at(fonts.wide, EDGE, LEFT, rule + 4, head.premises),
        _at(fonts.bold, EDGE, RIGHT - fonts.bold.width(name, EDGE), rule + 4, name),
        f"0.5 w {LEFT:.2f} {rule:.2f} m {RIGHT:.2f} {rule:.2f} l S",
        _at(fonts.wide, EDGE, LEFT, BOTTOM - 6 * MM, foot),
        _at(
            fonts.bold,
            EDGE,
            RIGHT - fonts.bold.width(page, EDGE),
            BOTTOM - 6 * MM,
            page,
        ),
    ]
    if head.is_mock:
        middle = (LEFT + RIGHT - fonts.bold.width(MOCK, BAND)) / 2
        parts.append(_at(fonts.bold, BAND, middle, rule + 18, MOCK))
    if number == 1:
        parts += _first(head, fonts)
    return "\n".join(parts)


def _first(head: Head, fonts: Fonts) -> Iterator[str]:
    y = TOP
    for line in _titles(head, fonts):
        y -= TITLE * 1.2
        yield _at(fonts.bold, TITLE, LEFT, y + TITLE * 0.3, line)
    for line in _about(head, fonts):
        y -= LINE_OF_TITLE
        yield _at(fonts.wide, EDGE, LEFT, y + 2, line)


def _at(font: Font, size: float, x: float, y: float, text: str) -> str:
    return f"BT {font.name} {size} Tf {x:.2f} {y:.2f} Td {font.shown(text)} Tj ET"


def _moment(head: Head) -> str:
    at = head.at
    return f"{at.day} {at:%b %Y, %H:%M} {offset_of(at)}"
