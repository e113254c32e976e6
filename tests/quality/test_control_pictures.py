"""Charts as SVG: what they show to eyes, to ears and on paper."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quality.charts.control import (
    CROSS,
    DIAMOND,
    DOT,
    DOWN,
    HEIGHT,
    MOST_POINTS,
    RING,
    SQUARE,
    UP,
    errors_picture,
    ewma_picture,
    individuals_picture,
    ranges_picture,
)
from quality.statistics.control import ewma_chart, individuals_chart

pytestmark = pytest.mark.any_engine

STEADY = [9.0, 9.2, 9.1, 9.3, 9.0] * 4


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


def shapes(svg: str) -> list[str]:
    return [path.get("d", "") for path in parsed(svg).iter("path")]


def words(svg: str) -> list[str]:
    return [text.text or "" for text in parsed(svg).iter("text")]


def test_each_point_has_a_marker_and_each_line_its_words() -> None:
    svg = individuals_picture(individuals_chart(STEADY), "pH")
    assert shapes(svg) == [DOT] * 20
    assert {"upper limit", "centre", "lower limit", "9.12", "1", "20"} <= set(
        words(svg)
    )


def test_a_point_beyond_a_limit_has_another_shape_and_is_named_in_words() -> None:
    chart = individuals_chart([*STEADY, 9.9], baseline=20)
    svg = individuals_picture(chart, "pH")
    assert shapes(svg)[-1] == DIAMOND
    assert shapes(svg)[:-1] == [DOT] * 20
    assert "Beyond a limit: 21." in parsed(svg).get("aria-label", "")


def test_rings_and_crosses_stand_at_their_points_and_are_said_in_words() -> None:
    chart = individuals_chart(STEADY)
    svg = individuals_picture(chart, "pH", first=3, ringed={4}, crossed={4, 6})
    expected = [DOT] * 20
    expected[5:5] = [RING, CROSS]  # of the fifth point
    expected.insert(9, CROSS)
    assert shapes(svg) == expected
    label = parsed(svg).get("aria-label", "")
    assert "With other results too: 7. Setting no limit: 7, 9." in label
    plain = parsed(individuals_picture(chart, "pH")).get("aria-label", "")
    assert "other results" not in plain
    assert "no limit" not in plain


def test_a_point_far_off_is_drawn_at_the_edge_with_a_triangle() -> None:
    for odd, shape in ((99, UP), (-99, DOWN)):
        chart = individuals_chart([*STEADY, odd], baseline=20)
        svg = individuals_picture(chart, "pH")
        assert shapes(svg)[-1] == shape
        assert "Beyond a limit: 21." in parsed(svg).get("aria-label", "")


def test_a_point_beyond_a_limit_has_its_number_beside_it() -> None:
    chart = individuals_chart([*STEADY, 9.9, 9.1, 8.2, 9.1], baseline=20)
    svg = individuals_picture(chart, "pH", first=3)
    assert [word for word in words(svg) if word in {"23", "25"}] == ["23", "25"]
    heights = {
        text.text: float(text.get("y", ""))
        for text in parsed(svg).iter("text")
        if text.text in {"23", "25"}
    }
    assert heights["23"] < HEIGHT / 2 < heights["25"]


def test_points_of_a_pattern_are_squares() -> None:
    svg = individuals_picture(individuals_chart(STEADY), "pH", patterned={3, 4})
    assert [place for place, shape in enumerate(shapes(svg)) if shape == SQUARE] == [
        3,
        4,
    ]


def test_the_numbers_follow_the_first_point_and_the_decimal_mark() -> None:
    svg = individuals_picture(individuals_chart(STEADY), "pH", first=11, mark=",")
    assert {"11", "30", "9,12"} <= set(words(svg))


def test_ranges_have_one_limit_and_one_point_less() -> None:
    svg = ranges_picture(individuals_chart([*STEADY, 9.9], baseline=20), "pH")
    assert len(shapes(svg)) == 20
    assert shapes(svg)[-1] == DIAMOND
    assert {"upper limit", "mean step", "no step", "2", "21"} <= set(words(svg))


def test_weighted_means_show_a_drift() -> None:
    chart = ewma_chart([9.3] * 12, start=9.1, sigma=0.15)
    svg = ewma_picture(chart, "pH")
    assert shapes(svg)[0] == DOT
    assert shapes(svg)[-1] == DIAMOND
    assert parsed(svg).get("aria-label", "").startswith("Weighted means of pH")


def test_errors_stand_between_the_largest_that_pass() -> None:
    svg = errors_picture([0.5, -0.2, 2.5], 2, "bench scale")
    assert shapes(svg) == [DOT, DOT, DIAMOND]
    assert {"most", "no error", "least"} <= set(words(svg))


def test_only_the_newest_points_are_drawn_but_all_are_told() -> None:
    chart = individuals_chart([9.9, *STEADY * 4], baseline=81)
    svg = individuals_picture(chart, "pH")
    assert len(shapes(svg)) == MOST_POINTS
    assert "points 1 to 81" in parsed(svg).get("aria-label", "")
    assert {"22", "81"} <= set(words(svg))


SERIES = st.lists(
    st.floats(-1000, 1000).map(lambda v: round(v, 2)), min_size=2, max_size=70
).filter(lambda s: len(set(s)) > 1)


@given(SERIES)
def test_everything_stays_inside_the_picture(series: list[float]) -> None:
    chart = individuals_chart(series)
    smoothed = ewma_chart(series, start=chart.centre, sigma=chart.sigma)
    for svg in (
        individuals_picture(chart, "x"),
        ranges_picture(chart, "x"),
        ewma_picture(smoothed, "x"),
    ):
        for name in ("x", "x1", "x2"):
            for element in parsed(svg).iter():
                value = element.get(name)
                if value:
                    assert 0 <= float(value.removesuffix("%")) <= 100
        for element in parsed(svg).iter():
            for name in ("y", "y1", "y2"):
                value = element.get(name)
                if value:
                    assert 0 <= float(value) <= HEIGHT


@given(SERIES)
def test_a_picture_obeys_the_content_security_policy_and_has_no_colour_of_its_own(
    series: list[float],
) -> None:
    svg = individuals_picture(individuals_chart(series), "<x & y>")
    assert "style=" not in svg
    assert "<script" not in svg
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) <= {
        "currentColor",
        "none",
    }
    assert parsed(svg).get("role") == "img"
    assert "<x & y>" in parsed(svg).get("aria-label", "")
