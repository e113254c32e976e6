"""The budget as a picture and as a table."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from django.template import Context, Template
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from producer import middleware
from producer.quantities import MINUS
from quality.charts.bars import MOST_BARS, budget_bars, percent_of
from quality.statistics.budgets import Budget, budget, normal, readings, rectangular
from quality.statistics.simulation import simulate
from quality.templatetags import uncertainty

pytestmark = pytest.mark.any_engine


def sum_of(*widths: float, names: str = "abcdefghijkl") -> Budget:
    inputs = [normal(name, 1, u) for name, u in zip(names, widths, strict=False)]
    return budget(lambda *xs: sum(xs), inputs, unit="g")


def bars_of(found: Budget) -> ElementTree.Element:
    return ElementTree.fromstring(budget_bars(found))  # noqa: S314 - our own


def words(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


def lengths(svg: ElementTree.Element) -> list[str]:
    """Return the lengths of the bars without the grey ones behind them."""
    return [rect.attrib["width"] for rect in list(svg.iter("rect"))[1::2]]


def test_each_input_has_a_bar_as_long_as_its_share() -> None:
    svg = bars_of(sum_of(3, 4))
    assert words(svg) == ["b", "64 %", "a", "36 %"]
    assert lengths(svg) == ["64.00%", "36.00%"]


def test_who_cannot_see_it_is_told_the_same() -> None:
    svg = bars_of(sum_of(3, 4))
    assert svg.attrib["role"] == "img"
    assert svg.attrib["aria-label"] == (
        "Share of each input in the uncertainty: b 64 %; a 36 %"
    )


def test_the_picture_has_no_width_of_its_own_no_style_and_no_colour() -> None:
    drawn = budget_bars(sum_of(3, 4))
    assert 'width="100%"' in drawn
    assert "style" not in drawn
    assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', drawn)) == {"currentColor"}


def test_rows_do_not_cover_each_other_and_the_picture_holds_them() -> None:
    svg = bars_of(sum_of(*range(1, 6)))
    tops = [int(rect.attrib["y"]) for rect in svg.iter("rect")][::2]
    heights = [int(rect.attrib["height"]) for rect in svg.iter("rect")][::2]
    ends = [top + height for top, height in zip(tops, heights, strict=True)]
    baselines = [int(text.attrib["y"]) for text in svg.iter("text")][::2]
    assert all(base < top for base, top in zip(baselines, tops, strict=True))
    assert all(end < base for end, base in zip(ends, baselines[1:], strict=False))
    assert ends[-1] <= int(svg.attrib["height"])


def test_many_small_inputs_share_one_bar() -> None:
    svg = bars_of(sum_of(*[1.0] * (MOST_BARS + 2)))
    assert len(lengths(svg)) == MOST_BARS
    assert words(svg)[-2:] == ["the other 3 together", "30 %"]
    assert len(lengths(bars_of(sum_of(*[1.0] * MOST_BARS)))) == MOST_BARS


def test_an_input_that_takes_away_is_an_open_bar() -> None:
    found = budget(
        lambda a, b: a - b,
        [normal("a", 2, 1), normal("b", 1, 0.5)],
        correlations={("a", "b"): 0.9},
    )
    svg = bars_of(found)
    assert words(svg) == ["a", "157 %", "b", f"{MINUS}57 %"]
    assert lengths(svg) == ["100.00%", "57.14%"]  # never out of the picture
    bars = list(svg.iter("rect"))[1::2]
    assert [bar.attrib.get("fill") for bar in bars] == [None, "none"]


def test_a_long_name_keeps_both_ends_and_names_are_escaped() -> None:
    long = "Saponification value of the coconut oil, lot <7>"
    found = budget(lambda x: x, [normal(long, 1, 1)])
    assert words(bars_of(found))[0] == "Saponification…t oil, lot <7>"
    assert "&lt;7&gt;" in budget_bars(found)
    assert long in bars_of(found).attrib["aria-label"]


def test_nothing_uncertain_is_no_picture() -> None:
    assert budget_bars(sum_of(0, 0)) == ""


@pytest.mark.parametrize(
    ("share", "text"),
    [(0, "0 %"), (0.004, "< 1 %"), (0.006, "1 %"), (0.996, "100 %"), (-0.3, "−30 %")],
)
def test_a_share_is_whole_percent(share: float, text: str) -> None:
    assert percent_of(share) == text


@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=12))
def test_every_budget_makes_a_picture_that_can_be_read(widths: list[float]) -> None:
    svg = bars_of(sum_of(*widths))
    assert len(lengths(svg)) == min(len(widths), MOST_BARS)
    for length in lengths(svg):
        assert 0 <= float(length.rstrip("%")) <= 100


def shown(text: str, **context: object) -> str:
    return Template("{% load uncertainty %}" + text).render(Context(context))


@pytest.fixture
def comma() -> object:
    token = middleware._decimal_mark.set(",")
    yield
    middleware._decimal_mark.reset(token)


def test_a_result_is_shown_with_its_uncertainty() -> None:
    found = budget(lambda x: x, [normal("x", 0.8137, 0.7256)])
    assert shown("{{ it|with_uncertainty }}", it=found) == "0.8 ± 1.5"


@pytest.mark.usefixtures("comma")
def test_numbers_have_the_decimal_mark_of_the_premises() -> None:
    found = budget(lambda x: x, [normal("x", 0.8137, 0.7256)])
    assert shown("{{ it|with_uncertainty }}", it=found) == "0,8 ± 1,5"
    assert shown("{{ it|spread }} {{ it|significant }}", it=0.12345) == "0,13 0,123"
    assert shown("{{ it|chance }}", it=0.0049) == "0,5 %"


@pytest.mark.parametrize(
    ("number", "digits", "text"),
    [
        (0.0, 3, "0"),
        (1.2345, 3, "1.23"),
        (-0.000123456, 2, "−0.00012"),
        (123456.0, 2, "120\u202f000"),
        (0.00000123, 2, "1.2 × 10⁻⁶"),
        (-1.5e12, 2, "−1.5 × 10¹²"),
        (99.96, 3, "100"),
    ],
)
def test_numbers_keep_their_significant_digits(
    number: float, digits: int, text: str
) -> None:
    assert uncertainty.significant(number, digits) == text


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0, "< 0.1 %"),
        (0.0009, "< 0.1 %"),
        (0.0051, "0.5 %"),
        (0.034, "3 %"),
        (0.5, "50 %"),
        (0.9949, "99.5 %"),
        (0.9995, "> 99.9 %"),
        (1, "> 99.9 %"),
    ],
)
def test_no_chance_is_shown_as_nought_or_certain(probability: float, text: str) -> None:
    assert uncertainty.chance(probability) == text


def page(**context: object) -> str:
    html = render_to_string("quality/_budget.html", context)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_page_shows_the_result_k_once_and_each_input() -> None:
    found = budget(
        lambda oil, value: oil * value / 1000,
        [
            rectangular("Oil", 500, 2, unit="g", origin="scale in use"),
            readings("Saponification value", [190, 191, 192], unit="mg/g"),
        ],
        unit="g",
    )
    text = page(budget=found)
    assert text.count("k = ") == 1
    assert "effective degrees of freedom" in text
    assert "95.50 ± 0.97 g" in text  # u 0.363, ν 5.0, k 2.65
    assert "scale in use" in text
    assert "Saponification value 191 mg/g 0.58 normal ν = 2" in text
    assert "Oil scale in use 500 g 1.2 rectangular 0.191 0.22 g" in text
    assert "Monte Carlo" not in text
    assert "Correlated" not in text


def test_every_cell_says_what_it_is() -> None:
    html = render_to_string("quality/_budget.html", {"budget": sum_of(1, 2)})
    assert len(re.findall("<td", html)) == len(re.findall("data-label=", html)) == 14


def test_the_page_shows_correlations_and_what_nothing_uncertain_is() -> None:
    found = budget(
        lambda a, b: a + b,
        [normal("a", 1, 1), normal("b", 1, 1)],
        correlations={("a", "b"): 0.9},
    )
    assert "Correlated: a and b by 0.9." in page(budget=found)
    certain = page(budget=sum_of(0))
    assert "Largest input" not in certain
    assert "Result 1 g" in certain


@pytest.mark.parametrize(
    ("bent", "said"),
    [
        (1.0, "It agrees within"),
        (0.0, "inside those of ± U"),
        (-1.0, "It differs by up to"),
    ],
)
def test_the_page_says_whether_the_simulation_agrees(bent: float, said: str) -> None:
    models = {
        1.0: (lambda x: x, normal("x", 1, 0.1)),
        0.0: (lambda x: x, rectangular("x", 1, 0.1)),
        -1.0: (lambda x: x * x, normal("x", 0, 1)),
    }
    model, quantity = models[bent]
    drawn = simulate(model, [quantity], draws=20_000, seed=1)
    text = page(budget=budget(model, [quantity]), simulation=drawn)
    assert "Monte Carlo of 20 000 draws" in text
    assert said in text
