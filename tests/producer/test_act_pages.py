"""What a form does with what was typed: reads it, asks, refuses, and does it once."""

from __future__ import annotations

import uuid
from urllib.parse import urlencode

import pytest
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse

from producer.models import JournalEntry, RawLot
from producer.services import stock
from tests import make
from tests.database import row_counts
from tests.doors.pages import field_value, page_of, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.sunflower(crew.maker))


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def count(
    client: Client, lot: RawLot, typed: str, *, submission: str = ""
) -> HttpResponseBase:
    """Send the stock-take of a lot."""
    address = reverse("producer:lot_count", args=[lot.code])
    form = {
        "counted_mg": typed,
        "reason": "weighed the drum",
        "submission": submission or str(uuid.uuid4()),
    }
    return client.post(address, form)


def on_hand(lot: RawLot) -> int:
    return RawLot.objects.listed().get(pk=lot.pk).stock.on_hand_mg


@pytest.mark.parametrize(
    "then",
    [
        "https://other.example/lots/",
        "//other.example/lots/",
        "/\\other.example/lots/",
        "other.example",
        "javascript:alert(1)",
    ],
)
def test_no_address_sends_anybody_to_another_site(
    browser: Client, lot: RawLot, then: str
) -> None:
    address = reverse("producer:lot_count", args=[lot.code])
    assert then not in text_of(browser.get(address, {"then": then}))
    form = {"reason": "weighed it", "submission": str(uuid.uuid4())}
    for sent in (
        {**form, "counted_mg": "900 g", "then": then},
        {**form, "counted_mg": "900 g", "then": then},  # recorded already
    ):
        answer = browser.post(address, sent)
        assert answer.headers["Location"] == reverse("producer:lot", args=[lot.code])
    by_address = f"{address}?{urlencode({'then': then})}"
    answer = browser.post(by_address, {**form, "counted_mg": "800 g"})
    assert answer.headers["Location"] == reverse("producer:lot", args=[lot.code])
    ours = browser.post(address, {**form, "counted_mg": "700 g", "then": "/journal/"})
    assert ours.headers["Location"] == "/journal/"  # control


def test_a_count_of_what_moved_since_its_page_was_opened_is_refused(
    browser: Client, crew: make.Crew, lot: RawLot
) -> None:
    address = reverse("producer:lot_count", args=[lot.code])

    def counted(began: str) -> HttpResponseBase:
        form = {"counted_mg": "900 g", "reason": "weighed the drum"}
        form |= {"after_movement": began, "submission": str(uuid.uuid4())}
        return browser.post(address, form)

    began = field_value(page_of(browser.get(address)), "after_movement")
    assert began
    stock.dispose(by=crew.maker, lot=lot, amount_mg=1000, reason="spilt")
    before = row_counts()
    words = page_of(counted(began)).words
    assert f"{lot.code} has moved since it was counted (disposed of, 1 g" in words
    assert "Open this page again and count it again." in words
    assert row_counts() == before
    anew = field_value(page_of(browser.get(address)), "after_movement")
    assert counted(anew).status_code == 302
    assert on_hand(lot) == 900_000


@pytest.mark.parametrize(
    "typed", ["", "much", "1.2.3", "-4", "4 lb", "1e3", "４ pounds"]
)
def test_a_number_that_cannot_be_read_is_kept_with_a_word_beside_the_field(
    browser: Client, lot: RawLot, typed: str
) -> None:
    before = row_counts()
    response = count(browser, lot, typed)
    assert response.status_code == 200
    page = page_of(response)
    assert field_value(page, "counted_mg") == typed
    assert "weighed the drum" in page.words
    beside = [one for _, one in page.elements if one.get("id") == "id_counted_mg_error"]
    assert len(beside) == 1
    typed_in = [
        one for one in page.attributes("input") if one.get("name") == "counted_mg"
    ]
    assert "id_counted_mg_error" in typed_in[0]["aria-describedby"]
    assert typed_in[0].get("aria-invalid") == "true"
    assert row_counts() == before


def test_a_number_that_reads_two_ways_is_asked_about(
    browser: Client, lot: RawLot
) -> None:
    before = row_counts()
    response = count(browser, lot, "1,250")
    page = page_of(response)
    assert field_value(page, "counted_mg") == "1,250"
    offered = {
        attributes["data-fill"]
        for _, attributes in page.elements
        if "data-fill" in attributes
    }
    assert len(offered) == 2
    assert row_counts() == before
    counted = set()
    for reading in sorted(offered):
        assert count(browser, lot, reading).status_code == 302
        counted.add(on_hand(lot))
    assert counted == {1_250, 1_250_000}  # 1.25 g and 1250 g


@pytest.mark.parametrize(
    ("typed", "mg"),
    [
        ("4,5 kg", 4_500_000),
        ("4.5kg", 4_500_000),
        ("4 500", 4_500_000),
    ],
)
def test_a_comma_a_point_and_a_unit_may_be_typed(
    browser: Client, lot: RawLot, typed: str, mg: int
) -> None:
    assert count(browser, lot, typed).status_code == 302
    assert on_hand(lot) == mg


def test_a_form_that_arrives_twice_is_carried_out_once(
    browser: Client, lot: RawLot
) -> None:
    before, one = JournalEntry.objects.count(), str(uuid.uuid4())
    assert count(browser, lot, "4 kg", submission=one).status_code == 302
    again = count(browser, lot, "4 kg", submission=one)
    assert again.headers["Location"] == reverse("producer:lot", args=[lot.code])
    words = page_of(browser.get(again.headers["Location"])).words
    assert "This was recorded already; nothing was done twice." in words
    assert JournalEntry.objects.count() == before + 1
    assert on_hand(lot) == 4_000_000


def test_a_form_filled_anew_after_going_back_is_another_act(
    browser: Client, lot: RawLot
) -> None:
    before, one = JournalEntry.objects.count(), str(uuid.uuid4())
    count(browser, lot, "4 kg", submission=one)
    count(browser, lot, "3 kg", submission=one)
    assert JournalEntry.objects.count() == before + 2
    assert on_hand(lot) == 3_000_000


def test_each_form_that_is_shown_is_a_submission_of_its_own(
    browser: Client, lot: RawLot
) -> None:
    address = reverse("producer:lot_count", args=[lot.code])
    first, second = (
        field_value(page_of(browser.get(address)), "submission") for _ in range(2)
    )
    assert uuid.UUID(first) != uuid.UUID(second)


@pytest.mark.parametrize("submission", ["nonsense", "0"])
def test_a_form_without_its_number_is_not_carried_out(
    browser: Client, lot: RawLot, submission: str
) -> None:
    before = row_counts()
    assert count(browser, lot, "4 kg", submission=submission).status_code == 200
    assert row_counts() == before


def test_what_a_service_refuses_is_said_in_its_sentence_with_all_that_was_typed(
    browser: Client, lot: RawLot
) -> None:
    address = reverse("producer:lot_dispose", args=[lot.code])
    form = {
        "submission": str(uuid.uuid4()),
        "amount_mg": "6 kg",
        "reason": "rancid",
    }
    before = row_counts()
    page = page_of(browser.post(address, form))
    assert f"{lot.code} holds 5 kg, so 6 kg cannot be taken from it." in page.words
    assert "Not recorded yet" in page.words
    assert field_value(page, "amount_mg") == "6 kg"
    assert field_value(page, "submission") == form["submission"]
    assert "rancid" in page.words
    assert row_counts() == before
    assert browser.post(address, {**form, "amount_mg": "5 kg"}).status_code == 302


def test_a_time_in_next_year_is_refused_beside_its_field(
    browser: Client, lot: RawLot
) -> None:
    address = reverse("producer:lot_dispose", args=[lot.code])
    form = {
        "submission": str(uuid.uuid4()),
        "amount_mg": "1 kg",
        "reason": "rancid",
        "observed_at": f"{make.TODAY.year + 1}-12-01T10:00",
    }
    text = text_of(browser.post(address, form))
    assert 'id="id_observed_at_error"' in text
    assert "This time lies in the future." in text


def test_an_entry_changed_by_somebody_else_meanwhile_is_not_overwritten(
    browser: Client, crew: make.Crew
) -> None:
    entry = make.supplier(crew.maker)
    address = reverse("producer:register_entry", args=["suppliers", entry.pk])
    mine, theirs = (page_of(browser.get(address)) for _ in range(2))
    for page, phone in ((theirs, "555 1111"), (mine, "555 2222")):
        response = browser.post(
            address,
            {
                "submission": field_value(page, "submission"),
                "seen": field_value(page, "seen"),
                "name": entry.name,
                "phone": phone,
            },
        )
    assert response.status_code == 200
    entry.refresh_from_db()
    assert entry.phone == "555 1111"
