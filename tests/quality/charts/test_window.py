"""A value between its limits as a picture: to eyes, to ears and on paper."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

import pytest
from django.template import Context, Template
from hypothesis import given
from hypothesis import strategies as st

from producer.quantities import MINUS
from quality.charts.control import DIAMOND, DOT, DOWN, UP
from quality.charts.window import BOTTOM, HEIGHT, TOP, window_picture
from quality.services.reading_order.judgements import Shown
from quality.statistics.conformity import RULE, RULES, Verdict, judge

pytestmark = pytest.mark.any_engine


def shown(value: str = "9.2", u: str = "0.3", **changes: Any) -> Shown:
    """Return a pH between 8 and 10 with U = 2·u, judged by the usual rule."""
    facts: dict[str, Any] = {
        "name": "pH",
        "sentence": "",
        "value": Decimal(value),
        "standard_uncertainty": Decimal(u),
        "lower": Decimal(8),
        "upper": Decimal(10),
        "decision_rule": RULE,
        **changes,
    }
    one = Shown(verdict=None, **facts)
    outcome = judge(
        facts["value"],
        lower=one.lower,
        upper=one.upper,
        guard_band=one.guard_band,
    )
    return Shown(verdict=outcome, **facts)


def drawn(one: Shown, mark: str = ".") -> ElementTree.Element:
    return ElementTree.fromstring(window_picture(one, mark))  # noqa: S314 - our own


def words(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


def shape(svg: ElementTree.Element) -> tuple[str, str]:
    """Return the shape on the value, and how it is filled."""
    (path,) = svg.iter("path")
    return path.attrib["d"], path.attrib.get("fill", "full")


def x_of(svg: ElementTree.Element) -> float:
    (marker,) = svg.findall("svg")
    return float(marker.attrib["x"].rstrip("%"))


def frames(svg: ElementTree.Element) -> list[ElementTree.Element]:
    """Return the frames of the guard bands."""
    return [rect for rect in svg.iter("rect") if "stroke-dasharray" in rect.attrib]


def limits(svg: ElementTree.Element) -> list[float]:
    lines = [one for one in svg.iter("line") if one.get("stroke-width") == "3"]
    return [float(one.attrib["x1"].rstrip("%")) for one in lines]


def test_limits_value_and_outcome_stand_in_words() -> None:
    assert words(drawn(shown("9.8"))) == [
        "at least 8",
        "at most 10",
        "9.8 ± 0.6: conditional pass",
    ]


def test_who_cannot_see_it_is_told_the_same() -> None:
    svg = drawn(shown("10.4"))
    assert svg.attrib["role"] == "img"
    assert svg.attrib["aria-label"] == (
        "pH 10.4 ± 0.6 against 8 to 10, with a guard band of 0.6: conditional fail."
    )


@pytest.mark.parametrize(
    ("value", "verdict", "looks"),
    [
        ("9.2", Verdict.PASS, (DOT, "full")),
        ("9.8", Verdict.CONDITIONAL_PASS, (DOT, "none")),
        ("10.4", Verdict.CONDITIONAL_FAIL, (DIAMOND, "none")),
        ("10.7", Verdict.FAIL, (DIAMOND, "full")),
    ],
)
def test_each_outcome_has_a_shape_of_its_own(
    value: str, verdict: Verdict, looks: tuple[str, str]
) -> None:
    one = shown(value)
    assert one.verdict is verdict
    assert shape(drawn(one)) == looks


def test_a_value_lies_on_the_side_of_the_limit_where_it_is() -> None:
    for value, inside in (
        ("9.9", True),
        ("10.1", False),
        ("8.1", True),
        ("7.9", False),
    ):
        svg = drawn(shown(value))
        low, high = limits(svg)
        assert (low < x_of(svg) < high) is inside, value


def test_the_guard_bands_lie_on_both_sides_of_each_limit_as_wide_as_the_rule_says() -> (
    None
):
    whole = drawn(shown())
    share = drawn(shown(decision_rule=RULES["guard_083u_1"]))
    assert len(frames(whole)) == len(frames(share)) == 2
    for frame, limit in zip(frames(whole), limits(whole), strict=True):
        start, width = (
            float(frame.attrib[name].rstrip("%")) for name in ("x", "width")
        )
        assert start + width / 2 == pytest.approx(limit, abs=0.02)
    low, high = limits(whole)
    width = float(frames(whole)[0].attrib["width"].rstrip("%"))
    assert width / (high - low) == pytest.approx(2 * 0.6 / 2, abs=0.01)
    assert frames(drawn(shown(decision_rule=RULES["simple_1"]))) == []


def test_one_limit_leaves_the_other_side_open() -> None:
    svg = drawn(shown("0.1", "0.02", lower=None, upper=Decimal("0.25"), unit=" %"))
    assert words(svg)[0] == "at most 0.25 %"
    assert len(limits(svg)) == 1
    ground = next(svg.iter("rect"))
    assert ground.attrib["x"] == "3.00%"
    end = float(ground.attrib["x"][:-1]) + float(ground.attrib["width"][:-1])
    assert end == pytest.approx(limits(svg)[0], abs=0.02)


@pytest.mark.parametrize(("value", "arrow"), [("-20", DOWN), ("999", UP)])
def test_a_value_far_away_is_an_arrow_at_the_edge(value: str, arrow: str) -> None:
    svg = drawn(shown(value))
    (path,) = svg.iter("path")
    assert path.attrib["d"] == arrow
    assert path.attrib["transform"] == "rotate(90)"
    low, high = limits(svg)
    assert high - low > 10  # the window is still to be seen


def test_without_uncertainty_there_is_no_whisker_and_no_band() -> None:
    svg = drawn(shown("9", "0"))
    assert frames(svg) == []
    thin = [one for one in svg.iter("line") if one.get("stroke-width") == "2"]
    assert thin == []
    with_u = drawn(shown())
    assert len([x for x in with_u.iter("line") if x.get("stroke-width") == "2"]) == 3


def test_nothing_is_drawn_without_a_value_or_without_a_limit() -> None:
    nothing: dict[str, Any] = {"sentence": "", "name": "clarity"}
    assert window_picture(Shown(verdict=Verdict.PASS, **nothing)) == ""
    no_limit = Shown(verdict=None, value=Decimal(9), **nothing)
    assert window_picture(no_limit) == ""


def test_it_has_no_width_of_its_own_no_style_and_no_colour() -> None:
    svg = window_picture(shown())
    assert 'width="100%"' in svg
    assert "style" not in svg
    assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', svg)) <= {
        "currentColor",
        "none",
    }


def test_numbers_take_the_decimal_mark_and_a_true_minus() -> None:
    one = shown("-3.22", "0.044", lower=Decimal(-6), upper=Decimal("0.3"), unit=" %")
    said = " ".join(words(drawn(one, ",")))
    assert f"{MINUS}3,22 ± 0,088 %" in said
    assert "at most 0,3 %" in said


def test_a_page_draws_it_by_its_tag() -> None:
    page = Template("{% load judgement %}{% window_picture one %}")
    one = shown()
    assert page.render(Context({"one": one})) == window_picture(one)


numbers = st.decimals(-10_000, 10_000, places=3)


@given(
    value=numbers,
    u=st.decimals(0, 50, places=4),
    lower=numbers,
    width=st.decimals("0.001", 500, places=3),
    sides=st.sampled_from(["both", "lower", "upper"]),
)
def test_everything_stays_inside_the_picture(
    value: Decimal, u: Decimal, lower: Decimal, width: Decimal, sides: str
) -> None:
    one = shown(
        str(value),
        str(u),
        lower=lower if sides != "upper" else None,
        upper=lower + width if sides != "lower" else None,
    )
    svg = drawn(one)
    for element in svg.iter():
        for name in ("x", "x1", "x2"):
            place = element.attrib.get(name, "0%")
            assert 0 <= float(place.rstrip("%")) <= 100
        for name in ("y", "y1", "y2"):
            assert 0 <= float(element.attrib.get(name, "0")) <= HEIGHT
    for rect in svg.iter("rect"):
        x, wide = (float(rect.attrib[name][:-1]) for name in ("x", "width"))
        assert wide >= 0
        assert x + wide <= 97.02
    assert TOP < BOTTOM < HEIGHT
    # To a pixel of a thousand, a value is never drawn on the wrong side of a limit.
    sides_of = [(one.lower, 1), (one.upper, -1)]
    known = [(side, sign) for side, sign in sides_of if side is not None]
    for limit, (side, sign) in zip(limits(svg), known, strict=True):
        if (value - side) * sign >= 0:
            assert (x_of(svg) - limit) * sign >= -0.02
        else:
            assert (x_of(svg) - limit) * sign <= 0.02
