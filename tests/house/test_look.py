"""The look holds for every eye: contrast, words for each state, no inline code.

Outside check: the formulas for relative luminance and contrast ratio, and the ratios
asked for, are those of WCAG 2.2 (W3C Recommendation): “relative luminance”, “contrast
ratio”, success criteria 1.4.3 and 1.4.11. Written down from memory.
"""

from __future__ import annotations

import re
from enum import Enum
from pathlib import Path

import pytest
from django.conf import settings
from django.template.loader import get_template

from batches.lifecycle import BatchStatus, BottleStatus
from producer.models import RawLot
from producer.templatetags.ui import LOOKS, SHAPES
from quality.models import Recall
from quality.statistics.conformity import Verdict

ROOT = Path(settings.BASE_DIR)
STYLE = (ROOT / "producer/static/producer/app.css").read_text(encoding="utf-8")
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))

TEXT, SIGN = 4.5, 3.0
PAIRS = [
    ("ink", "paper", TEXT),
    ("ink", "sheet", TEXT),
    ("ink", "wash", TEXT),
    ("pencil", "paper", TEXT),
    ("pencil", "sheet", TEXT),
    ("accent", "paper", TEXT),
    ("accent", "sheet", TEXT),
    ("on-accent", "accent", TEXT),
    ("good", "paper", TEXT),
    ("good", "sheet", TEXT),
    ("doubt", "paper", TEXT),
    ("doubt", "sheet", TEXT),
    ("bad", "paper", TEXT),
    ("bad", "sheet", TEXT),
    ("on-bad", "bad", TEXT),
    ("edge", "paper", SIGN),
    ("edge", "sheet", SIGN),
    ("focus", "paper", SIGN),
    ("focus", "sheet", SIGN),
]


def tokens(scheme: str) -> dict[str, str]:
    light, dark = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
    colours = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")
    found = dict(colours.findall(light))
    return {**found, **dict(colours.findall(dark))} if scheme == "dark" else found


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def test_the_ratio_of_black_on_white_is_21_and_a_middle_grey_just_fails() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") < TEXT < contrast("#767676", "#ffffff")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_what_is_read_or_touched_stands_out(
    scheme: str, front: str, back: str, least: float
) -> None:
    found = tokens(scheme)
    assert contrast(found[front], found[back]) >= least


def test_light_and_dark_name_the_same_colours() -> None:
    light, dark = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
    names = [set(re.findall(r"--([a-z-]+): #", part)) for part in (light, dark)]
    assert names[0] == names[1]


@pytest.mark.parametrize(
    "states", [RawLot.Status, BatchStatus, BottleStatus, Recall.Status, Verdict]
)
def test_every_state_has_a_shape(states: type[Enum]) -> None:
    for state in states:
        assert LOOKS[str(state.value)].shape in SHAPES


def test_good_and_bad_never_share_a_shape() -> None:
    shapes = {
        tone: {look.shape for look in LOOKS.values() if look.tone == tone}
        for tone in ("good", "bad")
    }
    assert shapes["good"].isdisjoint(shapes["bad"])


@pytest.mark.parametrize(
    "path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT))
)
def test_a_template_is_read_and_carries_no_inline_code(path: Path) -> None:
    get_template(str(path.relative_to(ROOT / "templates")))
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


@pytest.mark.parametrize(
    "path", sorted((ROOT / "producer/static/producer").glob("*.css"))
)
def test_a_style_sheet_fetches_nothing_and_stays_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"@import|url\(", text)
    assert text.count("\n") <= 400
