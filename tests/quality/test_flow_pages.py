"""The picture of the flow as people have it: on the page, in print, read aloud."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from xml.etree import ElementTree

import pypdfium2
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches import trace
from batches.flow import Flow, Kind, Node, Ribbon
from batches.models import Batch, Input
from batches.shares import Share
from producer.models import Consignee, RawLot, Stock
from producer.quantities import format_mass
from quality.charts.flow import FlowPicture, Window, percent_of, share_of
from quality.charts.layered import BOX, GAP
from quality.documents import flow as documents
from tests import make
from tests.batches.test_flowing import story
from tests.batches.test_trace import connect, stocks
from tests.doors.pages import page_of

SVG = re.compile(r'<svg class="flow" role="group".*?</svg>', re.DOTALL)
SMALLEST_WORDS = 11  # pixels


@pytest.fixture
def reader(client: Client, crew: make.Crew) -> Client:
    client.force_login(crew.reviewer)
    return client


def seen(reader: Client, code: str, query: str = "") -> str:
    response = reader.get(reverse("quality:flow", args=[code]) + query)
    assert response.status_code == 200
    return response.text


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


def picture_in(page: str) -> ElementTree.Element:
    found = SVG.search(page)
    assert found
    return parsed(found[0])


def words_of(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


def printed(reader: Client, code: str, query: str = "") -> list[str]:
    response = reader.get(reverse("quality:flow_pdf", args=[code]) + query)
    assert response["Content-Type"] == "application/pdf"
    assert f"flow-{code}.pdf" in response["Content-Disposition"]
    document = pypdfium2.PdfDocument(response.content)
    pages = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    return [" ".join(text.split()) for text in pages]


# ------------------------------------------------------------------ the page


@pytest.mark.django_db
def test_the_page_shows_each_record_and_mass_in_the_picture_and_in_the_table(
    reader: Client, crew: make.Crew
) -> None:
    lot = story(crew)
    page = seen(reader, lot.batch.number)
    drawn = words_of(picture_in(page))
    table = page.partition('<h2 id="table">')[2]
    codes = {row.code for row in Stock.objects.all()} | {lot.code}
    assert codes <= set(drawn)
    for code in codes:
        assert code in table
    for edge in Input.objects.all():
        assert format_mass(edge.mass_mg) in table
    for holder in Consignee.objects.all():
        assert holder.name in drawn
        assert f">{holder.name}</a>, " in table
    assert "2 bottles" in table
    assert "evaporated" in drawn
    assert "evaporated" in table


@pytest.mark.django_db
def test_a_batch_says_how_much_of_it_is_of_the_lot(
    reader: Client, crew: make.Crew
) -> None:
    lot = story(crew)
    potash = RawLot.objects.get(material=make.potash(crew.maker)).stock
    share = trace.shares(trace.track(potash))[lot.batch_id]
    page = page_of(reader.get(reverse("quality:flow", args=[potash.code])))
    percent = share_of(share)
    product = lot.batch.formula_version.formula.name
    assert (
        f"{percent} of batch {lot.batch.number} {product} is of {potash.code}"
        in page.words
    )
    drawn = words_of(picture_in(seen(reader, potash.code)))
    assert f"{percent} is of {potash.code}" in drawn


@pytest.mark.django_db
def test_the_boxes_lead_to_their_records_and_each_page_is_there(
    reader: Client, crew: make.Crew
) -> None:
    lot = story(crew)
    links = [
        a.get("href", "") for a in picture_in(seen(reader, lot.batch.number)).iter("a")
    ]
    for page in (
        reverse("batches:batch", args=[lot.batch.number]),
        reverse("batches:filling_lot", args=[lot.code]),
        *(reverse("producer:lot", args=[one.code]) for one in RawLot.objects.all()),
        *(reverse("quality:consignee", args=[c.pk]) for c in Consignee.objects.all()),
    ):
        assert page in links
        assert reader.get(page).status_code == 200


@pytest.mark.django_db
def test_one_may_look_only_back_or_only_on(reader: Client, crew: make.Crew) -> None:
    lot = story(crew)
    potash = RawLot.objects.get(material=make.potash(crew.maker))
    back = seen(reader, lot.batch.number, "?way=back")
    on = seen(reader, lot.batch.number, "?way=on")
    assert potash.code in words_of(picture_in(back))
    assert potash.code not in words_of(picture_in(on))
    assert "Of it from" in on
    assert "Of it from" not in back
    both, other = (seen(reader, lot.batch.number, query) for query in ("", "?way=up"))
    assert words_of(picture_in(both)) == words_of(picture_in(other))


@pytest.mark.django_db
def test_of_a_filling_lot_the_page_says_what_is_in_it(
    reader: Client, crew: make.Crew
) -> None:
    lot = story(crew)
    drawn = words_of(picture_in(seen(reader, lot.code.lower())))
    assert any(words.startswith("is ") and words.endswith(lot.code) for words in drawn)
    assert "8 bottles, 800 ml" in drawn


@pytest.mark.django_db
def test_a_batch_with_nothing_in_it_says_so(reader: Client, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    assert "Nothing has gone in" in seen(reader, batch.number)
    assert "Nothing has gone in" in printed(reader, batch.number)[0]


@pytest.mark.django_db
def test_the_print_says_the_same_as_the_page(reader: Client, crew: make.Crew) -> None:
    lot = story(crew)
    text = " ".join(printed(reader, lot.batch.number))
    # Once drawn, once in the table; what lies at an edge may be drawn twice.
    codes = {row.code for row in Stock.objects.all()} | {lot.code}
    for words in (*codes, "evaporated", "cellar shelf", "lost in filling"):
        assert text.count(words) >= 2
    for edge in Input.objects.all():
        assert " ".join(format_mass(edge.mass_mg).split()) in text
    assert "The smallest ribbons are drawn wider" in text


def many_lots(crew: make.Crew, lots: int) -> Batch:
    """Return a batch made from so many lots of water, and one large one."""
    ids, batches = stocks(crew, lots=lots, batches=2)
    connect([(pk, batches[0], 10 + place) for place, pk in enumerate(ids[1:])])
    connect([(ids[0], batches[0], 10**6), (batches[0], batches[1], 500_000)])
    return Batch.objects.listed().get(pk=batches[0])


@pytest.mark.django_db
def test_three_hundred_lots_are_shown_together_unless_asked_for_one_by_one(
    reader: Client, crew: make.Crew
) -> None:
    batch = many_lots(crew, 300)
    page = seen(reader, batch.number)
    few = words_of(picture_in(page))
    assert "299 lots" in few
    assert "shown together" in page
    assert page.count('data-label="From"') < 20
    whole = seen(reader, batch.number, "?all=1")
    codes = {row.code for row in RawLot.objects.all()}
    assert codes <= set(words_of(picture_in(whole)))
    assert codes & set(few) == {"L0"}
    assert "shown together. " not in whole


@pytest.mark.django_db
def test_a_picture_of_many_pages_has_every_lot_drawn_and_in_the_table(
    reader: Client, crew: make.Crew
) -> None:
    batch = many_lots(crew, 60)
    pages = printed(reader, batch.number, "?all=1")
    assert len(pages) > 3
    assert "Part 1 of" in pages[0]
    text = " ".join(pages)
    for lot in RawLot.objects.all():  # drawn, and in the table
        assert len(re.findall(rf"\b{lot.code}\b", text)) >= 2


@pytest.mark.django_db
def test_the_page_asks_no_more_however_many_lots_there_are(
    reader: Client, crew: make.Crew
) -> None:
    batch = many_lots(crew, 100)
    asked = []
    for query in ("", "?all=1"):
        seen(reader, batch.number, query)
        with CaptureQueriesContext(connection) as queries:
            seen(reader, batch.number, query)
        asked.append(len(queries))
    Input.objects.filter(mass_mg__lt=100).delete()
    with CaptureQueriesContext(connection) as queries:
        seen(reader, batch.number)
    assert asked == [len(queries)] * 2


# ------------------------------------------------------------------ the drawing


def simple(*, words: str = "sunflower oil", share: str = "1/8") -> Flow:
    """Return a lot and another in a batch, some of it lost."""
    nodes = (
        Node(
            key="l",
            kind=Kind.LOT,
            code="L26-0001-O",
            words=words,
            is_root=True,
            share=Share(least=Fraction(1)),
        ),
        Node(key="o", kind=Kind.LOT, code="L26-0002-M", words="water"),
        Node(
            key="b",
            kind=Kind.BATCH,
            code="B26-0001-9",
            words="paste",
            share=Share(least=Fraction(share)),
        ),
        Node(key="e", kind=Kind.LOSS, words="spilled"),
        Node(
            key="s",
            kind=Kind.STOCK,
            words="still in stock",
            share=Share(least=Fraction(share), is_least=True),
        ),
    )
    ways = [("l", "b", 1000), ("o", "b", 7000), ("b", "e", 5), ("b", "s", 7995)]
    return Flow(
        root="L26-0001-O",
        nodes=nodes,
        ribbons=tuple(Ribbon(source=s, target=t, mass_mg=m) for s, t, m in ways),
    )


def frames(svg: ElementTree.Element) -> list[dict[str, str]]:
    return [
        rect.attrib for rect in svg.iter("rect") if rect.get("width") == f"{BOX:.0f}"
    ]


@pytest.mark.any_engine
def test_a_picture_has_a_title_and_says_in_words_what_it_shows() -> None:
    svg = parsed(FlowPicture(simple()).svg())
    title, told = svg.find("title"), svg.find("desc")
    assert title is not None
    assert told is not None
    assert svg.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}"
    assert title.text == "Flow of L26-0001-O"
    assert "2 from raw lots, 1 batch" in (told.text or "")
    assert "1 loss" in (told.text or "")


@pytest.mark.any_engine
def test_no_words_are_smaller_than_can_be_read_and_none_run_over_their_box() -> None:
    long = "a name of an oil so long that no supplier should ever have printed it"
    svg = parsed(FlowPicture(simple(words=long)).svg())
    assert svg.get("width") == f"{float((svg.get('viewBox') or '').split()[2]):.1f}"
    sizes = [float(x.get("font-size", 0)) for x in svg.iter() if x.get("font-size")]
    assert sizes
    assert min(sizes) >= SMALLEST_WORDS
    for words in words_of(svg):
        assert len(words) <= 26
    assert any(words.endswith("…") for words in words_of(svg))
    assert any(long in (title.text or "") for title in svg.iter("title"))


@pytest.mark.any_engine
def test_dark_is_as_much_of_a_ribbon_as_is_of_the_root() -> None:
    svg = parsed(FlowPicture(simple()).svg())
    paths: dict[str, list[float]] = {}
    for group in svg.iter("g"):
        title = group.find("title")
        ribbons = group.findall("path")
        if title is not None and ribbons:
            paths[title.text or ""] = [height_of(path) for path in ribbons]
    whole, dark = paths["B26-0001-9 paste into still in stock: 8 g"]
    assert dark / whole == pytest.approx(1 / 8, abs=0.01)
    assert len(paths["L26-0002-M water into B26-0001-9 paste: 7 g"]) == 1
    both = paths["L26-0001-O sunflower oil into B26-0001-9 paste: 1 g"]
    assert both[0] == pytest.approx(both[1])


def height_of(path: ElementTree.Element) -> float:
    """Return how wide a ribbon is where it begins: from its first point to its last."""
    numbers = re.findall(r"-?[0-9.]+", path.get("d") or "")
    return float(numbers[-1]) - float(numbers[1])


@pytest.mark.any_engine
def test_each_kind_has_a_frame_of_its_own_and_the_root_a_thick_one() -> None:
    rects = frames(parsed(FlowPicture(simple()).svg()))
    looks = [
        (one.get("stroke-dasharray"), one.get("rx"), one.get("fill-opacity"))
        for one in rects
    ]
    assert len(set(looks)) == 4  # two are lots
    assert [one.get("stroke-width") for one in rects] == ["4"] + [None] * 4


@pytest.mark.any_engine
def test_what_was_typed_cannot_break_out_of_the_picture() -> None:
    bad = '<script>alert("x")</script>'
    svg = FlowPicture(simple(words=bad), address=lambda _: 'x" onload="y').svg()
    assert "<script" not in svg
    assert not [one for one in parsed(svg).iter() if one.get("onload")]
    assert " style=" not in svg


@pytest.mark.any_engine
def test_a_share_is_said_with_three_digits_and_never_as_nought_if_it_is_some() -> None:
    assert percent_of(Fraction(1, 8), mark=",") == "12,5 %"
    assert percent_of(Fraction(1)) == "100 %"
    assert percent_of(Fraction(0)) == "0 %"
    assert percent_of(Fraction(1, 10**6)) == "below 0.01 %"
    assert share_of(Share(least=Fraction(1, 3), is_least=True)) == "at least 33.3 %"


def chain(length: int, side: int) -> Flow:
    """Return batches one after the other, each with ends of its own."""
    nodes, ribbons = [], []
    for place in range(length):
        nodes.append(
            Node(key=f"b{place}", kind=Kind.BATCH, code=f"B{place}", words="x")
        )
        for end in range(side):
            key = f"b{place}.{end}"
            nodes.append(Node(key=key, kind=Kind.LOSS, words=f"lost {place}.{end}"))
            ribbons.append(Ribbon(source=f"b{place}", target=key, mass_mg=5))
        if place:
            ribbons.append(
                Ribbon(source=f"b{place - 1}", target=f"b{place}", mass_mg=50)
            )
    return Flow(root="B0", nodes=tuple(nodes), ribbons=tuple(ribbons))


def inside(window: Window, boxes: Iterable[tuple[float, float, float]]) -> set[int]:
    """Return which boxes are whole in a window."""
    return {
        place
        for place, (x, y, height) in enumerate(boxes)
        if window.x <= x
        and x + BOX <= window.right + 0.1
        and window.y <= y + 0.1
        and y + height <= window.y + window.height + 0.1
    }


@pytest.mark.any_engine
@pytest.mark.parametrize(("length", "side"), [(2, 2), (12, 3), (4, 40), (9, 17)])
def test_a_picture_that_is_cut_shows_every_box_whole_in_one_part_at_least(
    length: int, side: int
) -> None:
    picture = FlowPicture(chain(length, side))
    windows = picture.windows(970, 515)
    assert all(one.width <= 970 for one in windows)
    assert all(one.height <= 515 for one in windows)
    boxes = [(box.x, box.y, box.height) for box in picture.layout.boxes]
    shown = set[int]().union(*(inside(one, boxes) for one in windows))
    small = {n for n, (_, _, height) in enumerate(boxes) if height < 515 / 2 - GAP}
    assert small <= shown
    for window in windows:
        drawn = set(words_of(parsed(picture.svg(window))))
        for place in inside(window, boxes):
            assert picture.lines[picture.layout.boxes[place].key][0] in drawn


@pytest.mark.any_engine
def test_the_key_says_how_wide_a_mass_is_and_that_the_smallest_are_wider() -> None:
    picture = FlowPicture(simple())
    svg = parsed(picture.key())
    rect = svg.find("rect")
    assert rect is not None
    label = svg.get("aria-label") or ""
    said = re.search(r"A ribbon of (\d+) (mg|g) is so wide", label)
    assert said
    mass = int(said[1]) * (1000 if said[2] == "g" else 1)
    height = float(rect.get("height") or 0)
    assert height == pytest.approx(mass * picture.layout.per_unit, abs=0.06)
    assert "drawn wider: 2 px" in label


@pytest.mark.any_engine
def test_a_record_of_many_has_no_page() -> None:
    node = Node(key="x", kind=Kind.LOT, code="7 lots", words="oil", count=7)
    assert documents.page_of(node) == ""
