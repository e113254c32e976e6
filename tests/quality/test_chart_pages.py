"""The pages of charts and instruments, as people use them."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Formula
from producer import prints
from producer.models import Instrument, User
from quality.models import InstrumentCheck
from quality.services.checking import Known, record_check
from tests import make
from tests.doors.pages import page_of
from tests.quality.test_charting import with_ph

pytestmark = pytest.mark.django_db

SUBMISSION = "6e1c1f0e-3d4a-4f5c-9a41-00000000000"


@pytest.fixture
def page(client: Client, crew: make.Crew) -> Client:
    """Return a browser in which the maker is signed in."""
    client.force_login(crew.maker)
    return client


def text_of(page: Client, name: str, *arguments: Any, query: str = "") -> str:
    response = page.get(reverse(name, args=arguments) + query)
    assert response.status_code == 200
    return response.content.decode()


def newest_batch() -> str:
    return Batch.objects.latest("pk").number


def charted(crew: make.Crew, count: int, odd: str = "") -> Formula:
    """Return a formula with so many batches that have a pH, the last one odd."""
    wave = ("9.0", "9.2", "9.1", "9.3")
    values = [wave[place % 4] for place in range(count)]
    for value in [*values[:-1], odd] if odd else values:
        with_ph(crew, value)
    return make.paste_version(crew).formula


# ------------------------------------------------------------------ charts


def test_the_list_says_when_there_is_nothing_to_chart(page: Client) -> None:
    assert "Nothing to chart yet" in text_of(page, "quality:charts")


def test_the_list_counts_results_and_leads_to_each_chart(
    page: Client, crew: make.Crew
) -> None:
    formula = charted(crew, 2)
    text = text_of(page, "quality:charts")
    address = reverse("quality:chart", args=[formula.pk, "ph"])
    assert re.search(rf'href="{address}">pH</a>.*?>2<', text)
    assert f'href="{reverse("quality:charts")}"' in text_of(page, "producer:registers")


def test_a_chart_with_too_few_results_shows_its_points_and_says_why(
    page: Client, crew: make.Crew
) -> None:
    formula = charted(crew, 3)
    text = text_of(page, "quality:chart", formula.pk, "ph")
    assert "3 results so far" in text
    assert '<svg class="series"' not in text
    assert "Not assessable" in text
    for batch in formula.versions.get().batches.select_related("stock"):
        assert f'href="{reverse("batches:batch", args=[batch.number])}"' in text


def test_a_chart_shows_pictures_and_names_what_stands_out(
    page: Client, crew: make.Crew
) -> None:
    formula = charted(crew, 21, odd="10.4")
    text = text_of(page, "quality:chart", formula.pk, "ph")
    assert text.count('<svg class="series" role="img"') == 3
    assert "points 1 to 20 and stay" in text
    assert "Point 21 lies beyond the upper limit." in text
    assert "Western Electric 1956" in text
    assert re.search(r'class="status is-bad">.*?beyond a limit</span></td>', text)
    batch = newest_batch()
    record = f'<a class="code" href="{reverse("batches:batch", args=[batch])}">{batch}'
    # among the findings, and in the table
    assert text.count(record) == 1 + text.count(f"21: {record}")
    assert f"21: {record}" in text
    assert "<dt>Ppk</dt>" in text
    assert "not in control an index says little" in text


def test_page_and_print_say_what_set_the_limits_and_mark_what_did_not(
    page: Client, crew: make.Crew
) -> None:
    formula = charted(crew, 8)
    bad = make.cooked_batch(crew, ph="11")
    make.read_ph(crew, bad, "11.2")
    make.sign(crew.reviewer, bad, "reject")
    first = Batch.objects.order_by("pk").first()
    assert first is not None
    ends = f"from these 8 results, {first.number} to"
    seen = page_of(page.get(reverse("quality:chart", args=[formula.pk, "ph"])))
    printed = pdf_of(page, "quality:chart_pdf", formula.pk, "ph").replace("\r\n", " ")
    for words in (seen.words, printed.replace("\n", " ")):
        assert ends in words
        assert f"without {bad.number} (rejected)" in words
        assert "rejected: sets no limit" in words
        assert "also 11," in words
        assert "Of each batch one value counts" in words
        assert "A ring: the same record has other results too" in words
        assert "A cross: the batch was rejected" in words
    asked = text_of(page, "quality:chart", formula.pk, "ph", query="?rejected=with")
    assert "from these 9 results" in asked
    assert '<option value="with" selected>' in asked
    assert "A cross" not in asked


def test_a_chart_without_such_points_says_nothing_of_them(
    page: Client, crew: make.Crew
) -> None:
    text = text_of(page, "quality:chart", charted(crew, 9).pk, "ph")
    for words in ("A ring", "A cross", 'name="rejected"', "also "):
        assert words not in text, words


def test_other_rules_and_points_can_be_looked_at(page: Client, crew: make.Crew) -> None:
    formula = charted(crew, 21, odd="10.4")
    text = text_of(
        page, "quality:chart", formula.pk, "ph", query="?rules=nelson&first=3&last=12"
    )
    assert "Nelson 1984" in text
    assert "points 3 to 12" in text
    assert "left out</td>" in text


@pytest.mark.parametrize(
    "query", ["?first=x&last=-3", "?first=99999999999", "?rules=%F0%9F%90%84", "?last="]
)
def test_nonsense_in_the_address_shows_the_usual_chart(
    page: Client, crew: make.Crew, query: str
) -> None:
    formula = charted(crew, 9)
    assert "provisional" in text_of(
        page, "quality:chart", formula.pk, "ph", query=query
    )


@pytest.mark.parametrize("name", ["yield_variance", "free_alkali", "fill"])
def test_a_chart_without_results_says_so(
    page: Client, crew: make.Crew, name: str
) -> None:
    formula = make.paste_version(crew).formula
    assert "No batch of this formula has such a result yet" in text_of(
        page, "quality:chart", formula.pk, name
    )


@pytest.mark.parametrize("name", ["clarity", "colour"])
def test_what_cannot_be_charted_is_not_found(
    page: Client, crew: make.Crew, name: str
) -> None:
    formula = make.paste_version(crew).formula
    response = page.get(reverse("quality:chart", args=[formula.pk, name]))
    assert response.status_code == 404


def test_numbers_have_the_decimal_mark_of_the_premises(
    page: Client, crew: make.Crew, premises: Any
) -> None:
    premises.decimal_mark = ","
    premises.save()
    formula = charted(crew, 9)
    text = text_of(page, "quality:chart", formula.pk, "ph")
    assert ">9,2<" in text
    assert ">9.2<" not in text


PICTURE = re.compile(r'<svg class="series".*?</svg>(?=\s|</div>)', re.DOTALL)


def pdf_of(page: Client, name: str, *arguments: Any, query: str = "") -> str:
    response = page.get(reverse(name, args=arguments) + query)
    assert response.headers["Content-Type"] == "application/pdf"
    document = pypdfium2.PdfDocument(response.content)
    assert document[0].get_size() == pytest.approx((595.3, 841.9), abs=0.5)  # A4
    return "\n".join(sheet.get_textpage().get_text_bounded() for sheet in document)


@pytest.mark.parametrize("query", ["", "?first=3&last=12&rules=nelson"])
def test_the_pictures_are_the_same_on_the_page_and_in_print(
    page: Client, crew: make.Crew, monkeypatch: pytest.MonkeyPatch, query: str
) -> None:
    formula = charted(crew, 21, odd="10.4")
    address = reverse("quality:chart", args=[formula.pk, "ph"]) + query
    on_page = PICTURE.findall(page.get(address).content.decode())
    printed = []

    def keep(template: str, context: dict[str, Any]) -> str:
        printed.append(render_to_string(template, context))
        return printed[-1]

    monkeypatch.setattr(prints, "render_to_string", keep)
    text = pdf_of(page, "quality:chart_pdf", formula.pk, "ph", query=query)
    assert len(on_page) == 3
    assert PICTURE.findall(printed[0]) == on_page
    assert "Point 21 lies beyond the upper limit" in text
    assert newest_batch() in text
    assert "pH of Kitchen paste" in text
    assert ("points 3 to 12" in text) == bool(query)


def test_the_page_leads_to_its_print_with_the_same_points_and_rules(
    page: Client, crew: make.Crew
) -> None:
    formula = charted(crew, 9)
    query = "?first=2&rules=nelson"
    text = text_of(page, "quality:chart", formula.pk, "ph", query=query)
    address = reverse("quality:chart_pdf", args=[formula.pk, "ph"])
    assert f'href="{address}?first=2&amp;rules=nelson"' in text


def test_a_material_and_an_instrument_have_pages_and_prints(
    page: Client, crew: make.Crew
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    made = check(crew.maker, "501")
    potash = text_of(page, "quality:material_chart", lot.material_id, "assay")
    assert "Assay by the certificate of potash flakes" in potash
    assert f'href="{reverse("producer:lot", args=[lot.code])}"' in potash
    assert "certificate version 1" in potash
    scale = make.scale(crew.maker).pk
    error = text_of(page, "quality:instrument_chart", scale, "error")
    instrument = reverse("quality:instrument", args=[scale])
    assert f'href="{instrument}#check-{made.pk}"' in error
    assert f'id="check-{made.pk}"' in text_of(page, "quality:instrument", scale)
    assert reverse("quality:instrument_chart", args=[scale, "error"]) in text_of(
        page, "quality:instrument", scale
    )
    for name, pk, of, words in (
        ("material", lot.material_id, "assay", lot.code),
        ("instrument", scale, "error", "Error of bench scale"),
    ):
        assert words in pdf_of(page, f"quality:{name}_chart_pdf", pk, of)


@pytest.mark.parametrize(
    ("name", "of"), [("material", "ph"), ("instrument", "assay"), ("material", "error")]
)
def test_what_a_subject_does_not_have_is_not_found(
    page: Client, crew: make.Crew, name: str, of: str
) -> None:
    known = {"material": make.potash(crew.maker), "instrument": make.scale(crew.maker)}
    for suffix in ("", "_pdf"):
        address = reverse(f"quality:{name}_chart{suffix}", args=[known[name].pk, of])
        assert page.get(address).status_code == 404


def test_the_list_says_how_firm_the_limits_are_and_what_stood_out_last(
    page: Client, crew: make.Crew
) -> None:
    charted(crew, 9, odd="10.4")
    text = text_of(page, "quality:charts")
    assert ">provisional</td>" in text
    record = reverse("batches:batch", args=[newest_batch()])
    assert re.search(
        rf'data-label="Stands out last">[^<]+<a class="code" href="{record}', text
    )


# ------------------------------------------------------------------ instruments


def check(by: User, shown: str) -> InstrumentCheck:
    return record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(against="500 g", reference=Decimal(500), shown=Decimal(shown)),
        tolerance=Decimal(2),
    )


def test_the_register_leads_to_the_page_of_each_instrument(
    page: Client, crew: make.Crew
) -> None:
    scale = make.scale(crew.maker)
    address = reverse("quality:instrument", args=[scale.pk])
    assert f'href="{address}"' in text_of(page, "producer:register", "instruments")
    entry = text_of(page, "producer:register_entry", "instruments", scale.pk)
    assert f'href="{address}"' in entry
    assert (
        "instruments/"
        not in text_of(page, "producer:register", "suppliers").split("<main")[1]
    )


def test_a_scale_says_what_it_can_weigh(page: Client, crew: make.Crew) -> None:
    text = text_of(page, "quality:instrument", make.scale(crew.maker).pk)
    assert "<strong>82 g</strong>" in text
    assert "Not checked yet" in text
    assert "step of the display" in text
    assert '<svg class="series"' not in text


def test_two_checks_make_a_picture(page: Client, crew: make.Crew) -> None:
    check(crew.maker, "500")
    scale = make.scale(crew.maker)
    assert '<svg class="series"' not in text_of(page, "quality:instrument", scale.pk)
    check(crew.maker, "501")
    assert '<svg class="series"' in text_of(page, "quality:instrument", scale.pk)


def test_a_failed_check_says_take_it_out_of_use_and_when_it_was_last_good(
    page: Client, crew: make.Crew
) -> None:
    scale = make.scale(crew.maker)
    check(crew.maker, "509")
    text = text_of(page, "quality:instrument", scale.pk)
    assert "it is out of use" in text
    assert "It has no good check" in text
    check(crew.maker, "500")
    assert "it is out of use" not in text_of(page, "quality:instrument", scale.pk)
    check(crew.maker, "509")
    assert "The last good check was on" in text_of(page, "quality:instrument", scale.pk)


def test_strips_say_what_they_can_decide_and_take_no_check(
    page: Client, crew: make.Crew
) -> None:
    strips = make.strips(crew.maker)
    text = text_of(page, "quality:instrument", strips.pk)
    assert "8.29 to 9.71" in text
    assert "Record a check" not in text
    address = reverse("quality:instrument_check", args=[strips.pk])
    assert page.get(address).status_code == 404


def test_ph_keeps_its_small_p(page: Client, crew: make.Crew) -> None:
    strips = text_of(page, "quality:instrument", make.strips(crew.maker).pk)
    meter = make.meter(crew.maker).pk
    assert "Lot of pH strips" in strips
    for name in ("quality:instrument", "quality:instrument_check"):
        text = text_of(page, name, meter)
        assert "<p>pH meter" in text
        words = page_of(page.get(reverse(name, args=[meter]))).words
        assert "PH" not in words  # of the page: a form's token may have it


def test_coarse_strips_are_called_too_coarse(page: Client, crew: make.Crew) -> None:
    strips = make.strips(
        crew.maker, name="coarse", resolution=Decimal(1), bias_half_width=Decimal(1)
    )
    assert "too coarse to decide" in text_of(page, "quality:instrument", strips.pk)


FORMS = {
    "scale": {
        "against": "500 g, class M1",
        "reference": "500",
        "half_width": "0,025",
        "shown": "501",
        "tolerance": "2",
    },
    "thermometer": {
        "against": "ice point",
        "reference": "0",
        "half_width": "0.1",
        "shown": "0,3",
        "tolerance": "1",
    },
    "meter": {
        "temperature": "20",
        "first": "technical 7.00",
        "shown": "7,03",
        "first_millivolts": "-1.5",
        "second": "technical 10.01",
        "second_shown": "9,99",
        "second_millivolts": "-175",
        "half_width": "0.02",
        "tolerance": "0.1",
    },
}


def instrument(crew: make.Crew, kind: str) -> Instrument:
    made: Instrument = getattr(make, kind)(crew.maker)
    return made


@pytest.mark.parametrize("kind", FORMS)
def test_a_check_is_recorded_by_the_form_of_its_kind(
    page: Client, crew: make.Crew, kind: str
) -> None:
    entry = instrument(crew, kind)
    address = reverse("quality:instrument_check", args=[entry.pk])
    form = page.get(address).content.decode()
    for name in FORMS[kind]:
        assert f'name="{name}"' in form
    response = page.post(address, {"submission": f"{SUBMISSION}1", **FORMS[kind]})
    assert response.status_code == 302
    recorded = InstrumentCheck.objects.get()
    assert recorded.passed
    assert recorded.sentence in text_of(page, "quality:instrument", entry.pk)


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("meter", {"second": "standard 10.02"}, "Take both buffers from one set"),
        ("meter", {"second": "technical 7.00"}, "less than 1 pH apart"),
        ("meter", {"temperature": "60"}, "not between 0 and 50"),
        ("meter", {"second_millivolts": ""}, "both buffers, or of neither"),
        ("meter", {"first": "technical 9.00"}, "Select a valid choice"),
        ("meter", {"shown": ""}, "This is needed."),
        ("scale", {"tolerance": "0"}, "above zero"),
        ("scale", {"half_width": "-1"}, "without a sign"),
        ("scale", {"shown": "1e9"}, "is not one number"),
        ("scale", {"shown": "99999999999"}, "digits"),
    ],
)
def test_what_cannot_be_is_said_beside_the_form_and_nothing_is_recorded(
    page: Client, crew: make.Crew, kind: str, changes: dict[str, str], words: str
) -> None:
    entry = instrument(crew, kind)
    response = page.post(
        reverse("quality:instrument_check", args=[entry.pk]),
        {"submission": f"{SUBMISSION}2", **FORMS[kind], **changes},
    )
    assert response.status_code == 200
    assert words in response.content.decode()
    assert not InstrumentCheck.objects.exists()
