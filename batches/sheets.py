"""Label stock: where on a page the labels lie, and where printing begins.

Pure: no Django. Lengths are whole hundredths of a millimetre, measured from the top
left corner of the page, so that nothing is rounded on the way to the printer. The
usual sheets have the sizes that label stock is commonly cut to (common practice, no
source); measure your own stock before you print on it.

>>> USUAL[0].name, USUAL[0].on_a_page
('A4, 24 labels of 70 × 37 mm', 24)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Self

from producer.errors import Refusal

LARGEST_PAGE = 120_000  # 1.2 m
SMALLEST_LABEL = 1_000  # 10 mm
MOST_ON_A_PAGE = 400
LARGEST_OFFSET = 1_000  # 10 mm: more is another format, not a printer that pulls askew


@dataclasses.dataclass(frozen=True)
class Sheet:
    """A page or a roll of label stock; all lengths in hundredths of a millimetre.

    ``left`` and ``top`` lead to the first label, the pitches from the edge of a label
    to the same edge of the next. A roll is a page of one label.

    Raises :class:`Refusal`, with the field it concerns, for labels that do not lie on
    the page or that overlap.
    """

    name: str
    page_width: int
    page_height: int
    across: int
    down: int
    width: int
    height: int
    left: int
    top: int
    pitch_across: int
    pitch_down: int

    def __post_init__(self) -> None:
        self._require_sizes()
        across = (self.across, self.width, self.left, self.pitch_across)
        self._require_room(*across, self.page_width, is_row=True)
        down = (self.down, self.height, self.top, self.pitch_down)
        self._require_room(*down, self.page_height, is_row=False)

    def _require_sizes(self) -> None:
        if min(self.across, self.down) < 1:
            raise Refusal(
                "A sheet has at least one label across and one down. Count them.",
                field="across" if self.across < 1 else "down",
            )
        if self.on_a_page > MOST_ON_A_PAGE:
            raise Refusal(
                f"A page of more than {MOST_ON_A_PAGE} labels has none that can be"
                " read. Count the labels again.",
                field="across",
            )
        for field in ("width", "height"):
            if getattr(self, field) < SMALLEST_LABEL:
                raise Refusal(
                    f"A label is at least {SMALLEST_LABEL // 100} mm in {field}."
                    " Measure it again.",
                    field=field,
                )
        for field in ("page_width", "page_height"):
            if getattr(self, field) > LARGEST_PAGE:
                raise Refusal("A page is at most 1200 mm long.", field=field)

    def _require_room(
        self, count: int, size: int, first: int, pitch: int, page: int, *, is_row: bool
    ) -> None:
        side, edge, pitch_field = (
            ("right", "left", "pitch_across")
            if is_row
            else ("lower", "top", "pitch_down")
        )
        if first < 0:
            raise Refusal(
                f"The first label begins on the page: the {edge} edge is 0 mm or more.",
                field=edge,
            )
        if count > 1 and pitch < size:
            raise Refusal(
                f"The labels overlap: from the {edge} edge of one to that of the next"
                f" there are {in_mm(pitch)} mm, and a label has {in_mm(size)} mm."
                " Measure the pitch again.",
                field=pitch_field,
            )
        over = first + (count - 1) * pitch + size - page
        if over > 0:
            raise Refusal(
                f"The last label ends {in_mm(over)} mm beyond the {side} edge of the"
                " page. Measure the page, the label and the pitch again.",
                field="page_width" if is_row else "page_height",
            )

    @property
    def on_a_page(self) -> int:
        """Return how many labels a page has."""
        return self.across * self.down

    @property
    def is_roll(self) -> bool:
        """Say whether each page is one label."""
        return self.on_a_page == 1

    def place(self, index: int) -> tuple[int, int]:
        """Return the left and top edge of a label, counted along the rows from 0.

        >>> USUAL[0].place(0), USUAL[0].place(4)
        ((0, 50), (7000, 3750))
        """
        row, column = divmod(index, self.across)
        return (
            self.left + column * self.pitch_across,
            self.top + row * self.pitch_down,
        )

    @classmethod
    def like(cls, stored: object) -> Self:
        """Return the sheet that an object with the same attributes describes.

        >>> Sheet.like(USUAL[1]) == USUAL[1]
        True
        """
        names = [field.name for field in dataclasses.fields(cls)]
        return cls(**{name: getattr(stored, name) for name in names})


@dataclasses.dataclass(frozen=True)
class Placement:
    """A sheet as it goes into the printer.

    ``offset_x`` and ``offset_y`` move all that is printed to the right and down, in
    hundredths of a millimetre, for a printer that pulls its paper askew. ``start`` is
    the first label that is free on a part-used sheet, counted from 1 along the rows.

    Raises :class:`Refusal` for an offset of more than 10 mm, and for a start that the
    sheet does not have.
    """

    sheet: Sheet
    offset_x: int = 0
    offset_y: int = 0
    start: int = 1

    def __post_init__(self) -> None:
        for field in ("offset_x", "offset_y"):
            if abs(getattr(self, field)) > LARGEST_OFFSET:
                raise Refusal(
                    "Printing can be moved by 10 mm at most. If it is further off, the"
                    " sheet is another one: choose or describe that.",
                    field=field,
                )
        if not 1 <= self.start <= self.sheet.on_a_page:
            raise Refusal(
                f"This sheet has the labels 1 to {self.sheet.on_a_page}. Count along"
                " the rows to the first free one.",
                field="start",
            )

    def places(self, count: int) -> Iterator[tuple[int, int, int]]:
        """Yield page (from 0), left and top edge of each of ``count`` labels.

        >>> list(Placement(USUAL[3], offset_x=20).places(2))
        [(0, 20, 0), (1, 20, 0)]
        >>> [page for page, *_ in Placement(USUAL[1], start=9).places(3)]
        [0, 0, 1]
        """
        for number in range(self.start - 1, self.start - 1 + count):
            page, index = divmod(number, self.sheet.on_a_page)
            x, y = self.sheet.place(index)
            yield page, x + self.offset_x, y + self.offset_y

    def sheets_needed(self, count: int) -> int:
        """Return how many sheets ``count`` labels take.

        >>> Placement(USUAL[0], start=24).sheets_needed(2)
        2
        >>> Placement(USUAL[0]).sheets_needed(0)
        0
        """
        if not count:
            return 0
        return -(-(self.start - 1 + count) // self.sheet.on_a_page)

    def as_json(self) -> dict[str, Any]:
        """Return the placement as JSON takes it; the sheet is kept as it was.

        >>> Placement.from_json(Placement(USUAL[2], start=3).as_json()).start
        3
        """
        return dataclasses.asdict(self)

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Self:
        """Return the placement that :meth:`as_json` wrote down.

        >>> Placement.from_json(Placement(USUAL[0]).as_json()) == Placement(USUAL[0])
        True
        """
        return cls(**{**kept, "sheet": Sheet(**kept["sheet"])})


def in_mm(hundredths: int) -> str:
    """Return a length in mm, with no more digits than it has.

    >>> in_mm(7000), in_mm(5080), in_mm(397)
    ('70', '50.8', '3.97')
    """
    return f"{hundredths / 100:.2f}".rstrip("0").rstrip(".")


def named(name: str, sheets: Iterable[Sheet]) -> Sheet:
    """Return the sheet with this name.

    Raises :class:`Refusal` when there is none.

    >>> named("Roll of labels 100 × 60 mm", USUAL).is_roll
    True
    """
    for sheet in sheets:
        if sheet.name == name:
            return sheet
    raise Refusal("There is no such label sheet. Choose one from the list.")


USUAL: tuple[Sheet, ...] = (
    Sheet(
        "A4, 24 labels of 70 × 37 mm",
        page_width=21000,
        page_height=29700,
        across=3,
        down=8,
        width=7000,
        height=3700,
        left=0,
        top=50,
        pitch_across=7000,
        pitch_down=3700,
    ),
    Sheet(
        "A4, 10 labels of 99 × 57 mm",
        page_width=21000,
        page_height=29700,
        across=2,
        down=5,
        width=9900,
        height=5700,
        left=600,
        top=600,
        pitch_across=9900,
        pitch_down=5700,
    ),
    Sheet(
        "US letter, 10 labels of 4 × 2 in",
        page_width=21590,
        page_height=27940,
        across=2,
        down=5,
        width=10160,
        height=5080,
        left=397,
        top=1270,
        pitch_across=10636,
        pitch_down=5080,
    ),
    Sheet(
        "Roll of labels 100 × 60 mm",
        page_width=10000,
        page_height=6000,
        across=1,
        down=1,
        width=10000,
        height=6000,
        left=0,
        top=0,
        pitch_across=10000,
        pitch_down=6000,
    ),
)
