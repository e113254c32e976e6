"""Sentences that a maker meets: true, whole, and with what to do."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from batches.forms.filling import FillForm
from batches.forms.labelling import LabelCountForm, numbers_in
from batches.models import Batch
from batches.services.label_counts import Reconciliation, open_counts
from batches.sheets import USUAL
from producer.models import Premises, User
from producer.templatetags.kettlebook import tel
from tests import bottling, label_texts, labelled, liquids, make
from tests.doors.pages import Page, page_of

DEMO = "01632 960999 (invented for the demo)"


def opened(by: User, name: str, *of: object) -> Page:
    browser = Client()
    browser.force_login(by)
    return page_of(browser.get(reverse(name, args=of)))


@pytest.mark.parametrize(
    ("typed", "dialled"),
    [
        (DEMO, "tel:01632960999"),
        ("+44 (0)1632 960 999", "tel:+441632960999"),
        ("(01632) 960-999", "tel:01632960999"),
        ("+49 30/19240", "tel:+493019240"),
        ("01632 960999 ext. 12", "tel:01632960999"),
        ("111", "tel:111"),
        ("01632 960999, 01632 960998", "tel:01632960999"),
        ("24 hours: 01632 960999", ""),
        ("ask at the gate", ""),
        ("", ""),
    ],
)
def test_only_the_number_is_dialled(typed: str, dialled: str) -> None:
    """RFC 3966: digits, and a plus before those that are dialled from anywhere."""
    assert tel(typed) == dialled


@pytest.mark.django_db
def test_a_stranger_dials_the_numbers_and_reads_all_of_them(crew: make.Crew) -> None:
    lot = make.filled(crew)
    Premises.objects.update(phone=DEMO, poison_centre="ask 111 (night)")
    page = page_of(Client().get(f"/b/{make.bottles_of(lot)[0].code}/"))
    links = [str(tag.get("href")) for tag in page.attributes("a")]
    assert {link for link in links if link.startswith("tel:")} == {"tel:01632960999"}
    assert DEMO in page.words
    assert "ask 111 (night)" in page.words


@pytest.mark.django_db
def test_that_a_sample_changed_a_maker_is_not_offered_to_take_back(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, sample_mg=5_000)
    bottling.jar(crew, lot)
    bottling.looked_at(crew, lot, state="changed", found="it is cloudy")
    makers, reviewers = (opened(by, "batches:filling_lot", lot.code) for by in crew)
    assert "A reviewer takes it back." in makers.words
    assert "A reviewer takes it back." not in reviewers.words
    assert [leads_to(page, "/void/") for page in (makers, reviewers)] == [False, True]


def leads_to(page: Page, end: str) -> bool:
    return any(str(tag.get("href")).endswith(end) for tag in page.attributes("a"))


@pytest.mark.django_db
def test_the_density_that_was_measured_is_filled_in_and_says_where_from(
    crew: make.Crew,
) -> None:
    batch = make.released_liquid(crew)
    assert density_on_the_page(crew, batch) is None
    liquids.measured(crew, batch, "1.031", temperature="24")
    assert density_on_the_page(crew, batch) is None  # not at 20 °C: it does not count
    liquids.measured(crew, batch, "1.025")
    assert density_on_the_page(crew, batch) == "1.025"
    words = opened(crew.maker, "batches:fill", batch.number).words
    assert "As measured on" in words
    assert "at 20 °C. Weigh again if it may be another." in words


def density_on_the_page(crew: make.Crew, batch: Batch) -> str | None:
    found = opened(crew.maker, "batches:fill", batch.number).attributes("input")
    return next(tag.get("value") for tag in found if tag.get("name") == "density")


@pytest.mark.django_db
def test_too_many_bottles_say_what_to_do() -> None:
    form = FillForm({"count": "5001"})
    assert form.errors["count"] == [
        "At most 5000 bottles in one filling. Number the others in a second one."
    ]
    none = LabelCountForm({"count": "0"})
    assert none.errors["count"] == ["At least 1. Write a larger number."]


@pytest.mark.parametrize(
    ("most", "words"),
    [
        (8, "Write numbers from 1 to 8, such as 1-8 or 1, 8."),
        (1, "It has one bottle: write 1."),
    ],
)
def test_the_examples_of_numbers_are_numbers_of_the_lot(most: int, words: str) -> None:
    with pytest.raises(ValidationError, match="“9” is no bottle of this lot") as told:
        numbers_in("9", most=most)
    assert told.value.messages[0].endswith(words)


def counted(**counts: int) -> str:
    nothing = {"applied": 0, "spoiled": 0, "returned": 0, "specimen": 0}
    return Reconciliation(**{**nothing, **counts}).sentence


def test_one_label_is_one() -> None:
    assert counted(issued=1, applied=1) == "The one label is accounted for."
    assert counted(issued=1).startswith("1 of 1 label is not accounted for.")
    assert counted(issued=2, applied=2) == "All 2 labels are accounted for."


@pytest.mark.django_db
def test_one_label_is_issued_and_what_is_left_over_is_called_so(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    labelled.issued(crew, lot, [1])
    assert open_counts([lot])[lot.pk].endswith(
        "1 label was issued and 0 are accounted for."
    )
    page = opened(crew.maker, "batches:filling_lot", lot.code)
    assert "left over or a specimen" in page.words
    assert "Left over" in page.words
    assert "Returned" not in page.words


@pytest.mark.django_db
def test_a_line_that_is_no_bottle_is_not_counted_as_one(crew: make.Crew) -> None:
    bottle = make.bottles_of(make.filled(crew))[0]
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("quality:bottle_look")
    html = browser.get(address, {"codes": f"{bottle.code} hello"}).content.decode()
    assert [part[:3] for part in html.split('data-bottle="')[1:]] == ["yes", 'no"']


@pytest.mark.django_db
def test_of_a_label_wider_than_a_small_screen_the_page_says_that_it_goes_on(
    crew: make.Crew,
) -> None:
    label = label_texts.written(crew)
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:label_proof", args=[label.pk])
    said = {
        sheet.width: "push it sideways"
        in page_of(browser.get(address, {"sheet": sheet.name})).words
        for sheet in USUAL
    }
    assert said[7000] is False
    assert {wide: told for wide, told in said.items() if wide > 9000} == {
        wide: True for wide in said if wide > 9000
    }
    assert max(said) > 9000
