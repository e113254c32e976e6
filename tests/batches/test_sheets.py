"""Label stock: its labels lie on the page, and where printing begins on it."""

from __future__ import annotations

import dataclasses
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.sheets import USUAL, Placement, Sheet, named
from producer.errors import Refusal

pytestmark = pytest.mark.any_engine
SMALL, TEN, LETTER, ROLL = USUAL


def changed(**facts: Any) -> Sheet:
    return dataclasses.replace(SMALL, **facts)


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"across": 0}, "across", "at least one label"),
        ({"down": 0}, "down", "at least one label"),
        ({"width": 999}, "width", "at least 10 mm"),
        ({"height": 0}, "height", "at least 10 mm"),
        ({"left": -1}, "left", "begins on the page"),
        ({"top": -1}, "top", "begins on the page"),
        ({"left": 1}, "page_width", "0.01 mm beyond the right edge"),
        ({"top": 101}, "page_height", "0.01 mm beyond the lower edge"),
        ({"pitch_across": 6999}, "pitch_across", "overlap"),
        ({"pitch_down": 3699}, "pitch_down", "overlap"),
        ({"page_height": 120_001}, "page_height", "at most 1200 mm"),
        ({"page_width": 0}, "page_width", "beyond the right edge"),
        ({"across": 401, "down": 1}, "across", "Count the labels"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_beside_its_field(
    facts: dict[str, int], field: str, words: str
) -> None:
    with pytest.raises(Refusal, match=words) as refused:
        changed(**facts)
    assert refused.value.field == field


def test_a_single_row_needs_no_pitch() -> None:
    assert dataclasses.replace(ROLL, pitch_across=0, pitch_down=0).on_a_page == 1


@given(
    across=st.integers(1, 6),
    down=st.integers(1, 12),
    size=st.tuples(st.integers(1000, 9000), st.integers(1000, 9000)),
    gap=st.tuples(st.integers(0, 500), st.integers(0, 500)),
    first=st.tuples(st.integers(0, 900), st.integers(0, 900)),
    count=st.integers(1, 150),
    data=st.data(),
)
def test_labels_of_a_sheet_never_overlap_and_lie_on_its_page(
    across: int,
    down: int,
    size: tuple[int, int],
    gap: tuple[int, int],
    first: tuple[int, int],
    count: int,
    data: st.DataObject,
) -> None:
    pitch = (size[0] + gap[0], size[1] + gap[1])
    sheet = Sheet(
        name="own",
        page_width=first[0] + (across - 1) * pitch[0] + size[0],
        page_height=first[1] + (down - 1) * pitch[1] + size[1],
        across=across,
        down=down,
        width=size[0],
        height=size[1],
        left=first[0],
        top=first[1],
        pitch_across=pitch[0],
        pitch_down=pitch[1],
    )
    placement = Placement(sheet, start=data.draw(st.integers(1, sheet.on_a_page)))
    places = list(placement.places(count))
    assert len(places) == count
    assert max(page for page, *_ in places) + 1 == placement.sheets_needed(count)
    for page, x, y in places:
        assert page >= 0
        assert 0 <= x <= sheet.page_width - sheet.width
        assert 0 <= y <= sheet.page_height - sheet.height
    on_first = [(x, y) for page, x, y in places if page == 0]
    for at, (x, y) in enumerate(on_first):
        for u, v in on_first[:at]:
            assert abs(x - u) >= sheet.width or abs(y - v) >= sheet.height


def test_the_usual_sheets_have_the_sizes_their_names_say() -> None:
    assert (SMALL.width, SMALL.height, SMALL.on_a_page) == (7000, 3700, 24)
    assert (TEN.width, TEN.height, TEN.on_a_page) == (9900, 5700, 10)
    assert (LETTER.width, LETTER.height) == (4 * 2540, 2 * 2540)
    assert (LETTER.page_width, LETTER.page_height) == (21590, 27940)  # 8.5 × 11 in
    assert (ROLL.page_width, ROLL.page_height) == (ROLL.width, ROLL.height)
    assert [sheet.is_roll for sheet in USUAL] == [False, False, False, True]


def test_a_part_used_sheet_is_filled_from_its_first_free_label() -> None:
    placement = Placement(SMALL, start=23)
    assert list(placement.places(3)) == [
        (0, 7000, 50 + 7 * 3700),
        (0, 14000, 50 + 7 * 3700),
        (1, 0, 50),
    ]


@pytest.mark.parametrize("start", [0, 25])
def test_a_start_that_the_sheet_does_not_have_is_refused(start: int) -> None:
    with pytest.raises(Refusal, match="labels 1 to 24"):
        Placement(SMALL, start=start)


@pytest.mark.parametrize("field", ["offset_x", "offset_y"])
def test_an_offset_of_more_than_a_centimetre_is_another_sheet(field: str) -> None:
    far: dict[str, Any] = {field: -1001}
    with pytest.raises(Refusal, match="10 mm at most") as refused:
        Placement(SMALL, **far)
    assert refused.value.field == field
    far[field] = 1000
    assert list(Placement(SMALL, **far).places(1)) != list(Placement(SMALL).places(1))


def test_a_placement_comes_back_from_json_as_it_was() -> None:
    placement = Placement(LETTER, offset_x=-35, offset_y=12, start=4)
    kept = json.loads(json.dumps(placement.as_json()))
    assert Placement.from_json(kept) == placement


def test_an_unknown_name_is_refused() -> None:
    assert named(TEN.name, USUAL) is TEN
    with pytest.raises(Refusal, match="no such label sheet"):
        named("postcards", USUAL)
