"""Every bottle one by one: as CSV, JSON and PDF, and none that only looks whole."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import doctest
import io
import json
import re
import time
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from types import ModuleType
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches import label_fonts
from batches.documents import pdf_fonts
from batches.label_fonts import BOX
from batches.shares import Share
from batches.trace import TracedBottle
from producer.codes import grouped
from producer.csv_lines import FORMULA
from quality.documents import bottle_lists, bottle_pages
from quality.documents.bottle_lists import (
    AT_A_TIME,
    COLUMNS,
    Head,
    NotWholeError,
    as_csv,
    as_json,
)
from quality.documents.bottle_pages import as_pdf
from quality.views import recall_lists

pytestmark = pytest.mark.any_engine

AT = datetime.datetime(2026, 7, 3, 14, 5, tzinfo=ZoneInfo("Europe/Berlin"))
WRITERS = {"csv": as_csv, "json": as_json, "pdf": as_pdf}
Writer = Callable[..., Iterator[bytes]]


def bottle(
    number: int,
    *,
    lot: int = 1,
    holder: str | None = "Corner shop",
    phone: str = "0123",
    email: str = "shop@example.org",
    status: str = "dispatched",
) -> TracedBottle:
    """Return a bottle with a code that nobody else has."""
    code = f"{lot:06d}{number:06d}"
    there = (holder, phone, email) if holder else (None, None, None)
    return TracedBottle(
        code, f"F26-{lot:04d}-1", number, lot, f"B26-{lot:04d}-2", status, *there
    )


def head(count: int, *, is_mock: bool = False, recall: str = "") -> Head:
    return Head(
        root="L26-0003-1",
        at=AT,
        count=count,
        recall=recall,
        is_mock=is_mock,
        printed_by="Mirja Aalto",
        premises="Höllow Beck",
    )


def share_of(batch_id: int) -> Share:
    return Share(least=Fraction(1, 8 * batch_id), is_least=batch_id > 1)


def written(
    form: str, bottles: Iterable[TracedBottle], of: Head | None = None
) -> bytes:
    listed = list(bottles)
    return b"".join(WRITERS[form](of or head(len(listed)), listed, share_of))


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def pages_of(content: bytes) -> list[str]:
    """Return the words of each page, as a viewer finds them."""
    document = pypdfium2.PdfDocument(content)
    return [page.get_textpage().get_text_range() for page in document]


SOME = [
    bottle(1),
    bottle(2),
    bottle(3, holder=None, status="on_hold"),
    bottle(1, lot=2, holder='=cmd("x")'),
    bottle(2, lot=2, holder='Ünï "& Söhne",\r\nOld Road'),
]


def test_the_csv_is_a_bottle_a_line_and_says_at_its_end_how_many() -> None:
    *rows, end = rows_of(written("csv", SOME))
    assert [row["bottle"] for row in rows] == [grouped(one.code) for one in SOME]
    assert rows[0] == {
        "bottle": "0000-0100-0001",
        "address": "http://127.0.0.1:8000/b/0000-0100-0001",
        "filling lot": "F26-0001-1",
        "number": "1",
        "batch": "B26-0001-2",
        "status": "dispatched",
        "holder": "Corner shop",
        "telephone": "0123",
        "e-mail": "shop@example.org",
        "share of what went in (%)": "12.5000",
        "share is at least that": "no",
    }
    assert list(end.values())[:4] == [
        "end",
        "5 bottles",
        "L26-0003-1",
        "2026-07-03T14:05:00+02:00",
    ]
    assert rows[3]["holder"] == '\'=cmd("x")'  # no spreadsheet computes it
    assert written("csv", SOME).count(b"\n") == len(SOME) + 2


@pytest.mark.parametrize("sign", "=+-@")
def test_a_spreadsheet_computes_no_cell_of_the_last_line(sign: str) -> None:
    of = dataclasses.replace(head(5), root=f'{sign}cmd("x")')
    *_, end = csv.reader(io.StringIO(written("csv", SOME, of).decode(), newline=""))
    assert end[2] == f'\'{sign}cmd("x")'
    assert not [cell for cell in end if cell.startswith(FORMULA)]


def test_of_a_mock_recall_each_line_of_the_csv_begins_with_that_word() -> None:
    real = head(5, recall="R26-0001-5")
    mock = head(5, recall="R26-0001-5", is_mock=True)
    *lines, nothing = written("csv", SOME, mock).decode().split("\r\n")
    assert nothing == ""
    assert len(lines) == len(SOME) + 2
    assert {line.split(",")[0] for line in lines} == {bottle_lists.MOCK}
    # and is but for that what the list of a real one is
    plain = [line.removeprefix("MOCK,") for line in lines[:-1]]
    assert plain == written("csv", SOME, real).decode().split("\r\n")[:-2]
    assert lines[-1].startswith("MOCK,end,5 bottles,MOCK recall R26-0001-5 of")
    assert b"MOCK" not in written("csv", SOME, real)
    assert looks_whole("csv", written("csv", SOME, mock))


def test_the_json_says_the_same_as_the_csv_and_of_what_it_is() -> None:
    found = json.loads(
        written("json", SOME, head(5, is_mock=True, recall="R26-0001-5"))
    )
    listed = found.pop("bottles")
    assert found == {
        "of": "L26-0003-1",
        "recall": "R26-0001-5",
        "mock": True,
        "at": "2026-07-03T14:05:00+02:00",
        "count": 5,
        "end": {"bottles": 5},
    }
    for row, one in zip(rows_of(written("csv", SOME)), listed, strict=False):
        assert list(one) == list(COLUMNS.values())
        for name, key in COLUMNS.items():
            value = one[key]
            if key == "share_percent":
                value = f"{value:.4f}"
            elif key == "share_is_least":
                value = "yes" if value else "no"
            assert row[name].removeprefix("'") == str(value), name
    assert len(listed) == len(SOME)
    assert listed[4]["holder"] == 'Ünï "& Söhne", Old Road'


def test_who_is_not_out_has_no_telephone_in_it_and_two_of_one_name_have_their_own() -> (
    None
):
    bottles = [
        bottle(1, phone="01"),
        bottle(2, phone="02"),
        bottle(3, phone="03", status="returned"),
    ]
    found = json.loads(written("json", bottles))["bottles"]
    assert [one["telephone"] for one in found] == ["01", "02", ""]
    assert found[2]["holder"] == "on the premises"
    *rows, _ = rows_of(written("csv", bottles))
    assert [row["telephone"] for row in rows] == ["01", "02", ""]


@pytest.mark.parametrize("form", WRITERS)
def test_a_list_of_no_bottles_is_whole(form: str) -> None:
    content = written(form, [])
    if form == "csv":
        (end,) = rows_of(content)
        assert (end["bottle"], end["address"]) == ("end", "0 bottles")
    elif form == "json":
        found = json.loads(content)
        assert (found["bottles"], found["end"]) == ([], {"bottles": 0})
    else:
        (page,) = pages_of(content)
        assert "End of the list: 0 bottles." in page


def looks_whole(form: str, content: bytes) -> bool:
    """Say whether a reader would take this for a finished file."""
    if form == "csv":
        return re.search(rb"\r\n(?:MOCK,)?end,\d+ bottles?,", content) is not None
    try:
        if form == "json":
            json.loads(content)
        else:
            assert content.endswith(b"%%EOF\n")
            pypdfium2.PdfDocument(content)
    except (ValueError, AssertionError):
        return False
    return True


@pytest.mark.parametrize("form", WRITERS)
def test_what_breaks_off_does_not_look_whole(form: str) -> None:
    many = [bottle(number) for number in range(1, 3 * AT_A_TIME)]
    assert looks_whole(form, written(form, many))

    def breaks() -> Iterator[TracedBottle]:
        yield from many[:-20]
        raise ConnectionError("the database went away")

    for bottles, error in ((breaks(), ConnectionError), (many[:-20], NotWholeError)):
        pieces: list[bytes] = []
        with pytest.raises(error):
            pieces.extend(WRITERS[form](head(len(many)), bottles, share_of))
        assert len(pieces) > 1
        assert not looks_whole(form, b"".join(pieces))


@pytest.mark.parametrize("form", WRITERS)
def test_a_piece_is_sent_before_the_first_bottle_is_asked_for_and_few_are_held(
    form: str,
) -> None:
    asked = 0

    def bottles() -> Iterator[TracedBottle]:
        nonlocal asked
        for number in range(1, 10_001):
            asked += 1
            yield bottle(number)

    pieces = WRITERS[form](head(10_000), bottles(), share_of)
    assert next(pieces)
    assert asked == 0
    assert next(pieces)
    assert 0 < asked <= AT_A_TIME + 1
    pieces.close()  # type: ignore[attr-defined]


def test_the_share_of_a_batch_is_asked_for_once_in_a_place() -> None:
    asked = []

    def counted(batch_id: int) -> Share:
        asked.append(batch_id)
        return share_of(batch_id)

    many = [bottle(number) for number in range(1, 400)]
    b"".join(as_csv(head(len(many)), many, counted))
    assert asked == [1]


# ------------------------------------------------------------------ on paper


def test_paper_has_each_bottle_once_and_says_on_every_page_of_what_it_is() -> None:
    many = [
        bottle(number, lot=lot, holder=f"Shop {lot}")
        if number < 60
        else bottle(number, lot=lot, holder=None, status="filled")
        for lot in (1, 2, 3, 4, 5, 6, 7, 8, 9)
        for number in range(1, 101)
    ]
    of = head(len(many), is_mock=True, recall="R26-0001-5")
    pages = pages_of(written("pdf", many, of))
    assert len(pages) > 2
    codes = re.findall(r"\d{4}-\d{4}-\d{4}", " ".join(pages))
    assert sorted(codes) == sorted(grouped(one.code) for one in many)
    for number, page in enumerate(pages, start=1):
        assert f"Page {number}" in page
        assert "MOCK RECALL – nobody is to be alarmed" in page
        assert "Bottles of L26-0003-1" in page
        assert "Written at 3 Jul 2026, 14:05 +02:00 by Mirja Aalto" in page
        assert "Höllow Beck" in page
        assert re.search(r"F26-000\d-1\s+of batch B26-000\d-2", page)
        assert re.search(r"Shop \d: dispatched|on the premises: filled", page)
    first = " ".join(pages[0].split())
    assert "MOCK recall R26-0001-5 of L26-0003-1: every bottle" in first
    assert "of batch B26-0001-2, 12.5 %" in first
    assert "of batch B26-0002-2, at least 6.2 %" in first
    assert "End of the list: 900 bottles." in pages[-1]
    assert "(continued)" in " ".join(pages)


def test_paper_of_what_is_no_mock_recall_never_says_so() -> None:
    assert "MOCK" not in " ".join(pages_of(written("pdf", SOME)))


def test_any_letters_of_a_name_are_found_and_what_has_no_sign_is_a_box() -> None:
    name = "Ωμέγα Łódź (upper) \\ ТОВ 皂"
    (page,) = pages_of(written("pdf", [bottle(1, holder=name)]))
    found = " ".join(page.split())
    assert f"Ωμέγα Łódź (upper) \\ ТОВ {BOX}: dispatched" in found


def test_a_very_long_name_is_cut_and_the_bottles_stay() -> None:
    (page,) = pages_of(written("pdf", [bottle(1, holder="W" * 2000), bottle(2)]))
    assert "…" in page
    assert "0000-0100-0001" in page
    assert "0000-0100-0002" in page


def test_the_remarks_in_the_pdf_say_how_far_it_is() -> None:
    many = [bottle(number) for number in range(1, 1001)]
    content = written("pdf", many)
    far = [int(one) for one in re.findall(rb"\n% (\d+) of 1000 bottles\n", content)]
    assert far == sorted(far)
    assert far[-1] == 1000
    assert len(far) == len(pages_of(content))
    assert content.count(b"\n% end: 1000 bottles\n") == 1


@given(
    runs=st.lists(
        st.tuples(st.integers(1, 3), st.integers(0, 4), st.integers(1, 90)),
        max_size=30,
    )
)
def test_columns_hold_every_bottle_in_order_and_never_run_over(
    runs: list[tuple[int, int, int]],
) -> None:
    bottles = [
        bottle(number, lot=lot, holder=f"Shop {holder} " * (holder + 1))
        for place, (lot, holder, many) in enumerate(sorted(runs))
        for number in range(place * 100 + 1, place * 100 + many + 1)
    ]
    fonts = bottle_pages.Fonts()
    columns = list(bottle_pages._columns(head(0), fonts, bottles, share_of))
    assert all(column.room >= 0 for column in columns)
    assert sum(column.bottles for column in columns) == len(bottles)
    drawn = "\n".join(column.drawn() for column in columns)
    codes = re.findall(r"\(\s*\d+ (\d{4}-\d{4}-\d{4})\) '", drawn)
    assert codes == [grouped(one.code) for one in bottles]
    for column in columns[:-1]:
        assert column.bottles  # no heading stands alone
        assert "/Bold" in column.drawn()  # and the filling lot is named in each


def test_a_column_is_as_high_as_its_lines_and_no_higher_than_the_page() -> None:
    many = [bottle(number) for number in range(1, 400)]
    *columns, _ = bottle_pages._columns(head(0), bottle_pages.Fonts(), many, share_of)
    for column in columns:
        lowest = column.top - column.lines * bottle_pages.STEP
        assert lowest >= bottle_pages.BOTTOM - 0.5
        assert lowest < bottle_pages.BOTTOM + bottle_pages.STEP


def test_the_same_list_is_the_same_file(monkeypatch: pytest.MonkeyPatch) -> None:
    found = written("pdf", SOME)
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 3600)  # the fonts have no time
    pdf_fonts._plain.cache_clear()
    assert written("pdf", SOME) == found


@pytest.mark.parametrize("form", WRITERS)
def test_the_size_that_is_announced_is_about_what_comes(form: str) -> None:
    lots = range(1, 101)
    many = [bottle(number, lot=lot) for lot in lots for number in range(1, 21)]
    size = len(written(form, many))
    assert 0.7 < recall_lists.estimated(form, len(many)) / size < 1.4


@pytest.mark.parametrize("module", [bottle_lists, bottle_pages])
def test_the_worked_examples_are_true(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert (found.failed, found.attempted > 0) == (0, True)


def test_a_machine_without_the_fonts_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere(name: str) -> str:
        raise OSError(name)

    monkeypatch.setattr(label_fonts, "path_of", nowhere)
    pdf_fonts.measured.cache_clear()
    with pytest.raises(OSError, match="DejaVu"):
        written("pdf", SOME)
    pdf_fonts.measured.cache_clear()
