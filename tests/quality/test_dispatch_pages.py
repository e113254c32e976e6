"""The pages of a box of bottles: looked at, sent, noted on paper, and back again."""

from __future__ import annotations

import csv
import datetime
import io
import uuid

import pypdfium2
import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from batches.models import Bottle, Dispatch, FillingLot
from producer.codes import grouped
from producer.models import JournalEntry, User
from quality.documents import delivery_note
from quality.services import collected
from tests import hands, leaving, make
from tests.doors.pages import page_of

SEND, MOVE, LOOK = "/dispatches/new/", "/bottles/move/", "/bottles/look/"


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    """Four small bottles that may leave."""
    return leaving.filled(crew, count=4, nominal_ul=100_000)


def signed_in(client: Client, by: User) -> Client:
    client.force_login(by)
    return client


def sends(client: Client, address: str, **fields: object) -> HttpResponse:
    """Open the page, fill the form in and send it."""
    assert client.get(address).status_code == 200
    given = {"submission": uuid.uuid4(), **fields}
    return client.post(address, given, follow=True)  # type: ignore[return-value]


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    return " ".join(words.split())


def send(client: Client, crew: make.Crew, **fields: object) -> HttpResponse:
    to = make.consignee(crew.maker)
    return sends(client, SEND, consignee=to.pk, **fields)


@pytest.mark.django_db
def test_a_box_is_sent_by_codes_a_range_or_all_of_a_lot(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, *_ = make.bottles_of(lot)
    signed_in(client, crew.maker)
    page = page_of(send(client, crew, codes=f"https://x.example/b/{one.code}/"))
    assert "is recorded: 1 bottle." in page.words
    ranged = send(client, crew, filling_lot=lot.code.lower(), first=2, last=3)
    assert "is recorded: 2 bottles." in page_of(ranged).words
    # All of it is what is still here.
    whole = page_of(send(client, crew, filling_lot=lot.code))
    assert "is recorded: 1 bottle." in whole.words
    none = page_of(send(client, crew, filling_lot=lot.code))
    assert f"No bottle of {lot.code} is there for this." in none.words
    assert Dispatch.objects.count() == 3


@pytest.mark.django_db
def test_what_is_scanned_twice_is_refused_kept_and_can_be_reported(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, other, *_ = make.bottles_of(lot)
    signed_in(client, crew.maker)
    answer = send(client, crew, codes=f"{one.code}\n{other.code}\n{one.code}")
    page = page_of(answer)
    assert not Dispatch.objects.exists()
    assert "scanned twice: if these are two bottles, report it" in page.words
    assert f"{one.code}\n{other.code}\n{one.code}" in answer.content.decode()
    report = reverse("quality:bottle_doubt_report", args=[one.code])
    assert f'href="{report}"' in answer.content.decode()
    assert answer.content.decode().count('data-may="yes"') == 2


@pytest.mark.django_db
def test_each_code_is_looked_up_at_once_and_nothing_is_recorded(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, other, held, _ = make.bottles_of(lot)
    Bottle.objects.filter(pk=held.pk).update(status="on_hold")
    signed_in(client, crew.maker)
    before = JournalEntry.objects.count()
    asked = f"{one.code} {held.code} 2222-2222-2224 2222-2222-2225 {other.code}"
    answer = client.get(LOOK, {"codes": asked, "again": other.code, "consignee": ""})
    text = answer.content.decode()
    words = page_of(answer).words
    assert [part[:1] for part in text.split('data-may="')[1:]] == list("ynnnn")
    assert f"no. {one.number} of {lot.code}" in words
    assert "is on hold and cannot leave" in words
    assert "No bottle of this premises has this code." in words
    assert "This is not a bottle code" in words
    assert "Scanned twice: if these are two bottles, report it" in words
    back = page_of(client.get(LOOK, {"codes": one.code, "new": "returned"})).words
    assert "What is filled cannot become returned." in back
    assert JournalEntry.objects.count() == before
    assert (
        client.get(LOOK, {"codes": "", "consignee": "no number"}).content.split() == []
    )


@pytest.mark.django_db
def test_for_whom_it_is_decides_what_a_line_says(
    crew: make.Crew, client: Client
) -> None:
    (one, *_) = leaving.bottles(crew, leaving.conceded(crew))
    signed_in(client, crew.maker)
    kinds = {"reseller": "no", "own_use": "yes"}
    for kind, may in kinds.items():
        to = make.consignee(crew.maker, f"a {kind}", kind)
        answer = client.get(LOOK, {"codes": one.code, "consignee": str(to.pk)})
        assert f'data-may="{may}"' in answer.content.decode()


@pytest.mark.django_db
def test_a_use_by_date_that_is_near_is_said(
    crew: make.Crew, client: Client, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    signed_in(client, crew.maker)
    near = lot.use_by - make.TODAY
    for soon, is_said in ((near - datetime.timedelta(days=1), False), (near, True)):
        monkeypatch.setattr(collected, "SOON", soon)
        one = lot.bottles.filter(status="filled").first()
        assert one is not None
        look = page_of(client.get(LOOK, {"codes": one.code})).words
        assert ("Mind: it must be used by" in look) is is_said
        words = page_of(send(client, crew, codes=one.code)).words
        assert ("Say that they must be used soon" in words) is is_said


@pytest.mark.django_db
def test_the_delivery_note_says_what_to_keep_and_whom_to_call(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    signed_in(client, crew.maker)
    send(client, crew, filling_lot=lot.code, first=1, last=3, note="by the carrier")
    dispatch = Dispatch.objects.get()
    answer = client.get(reverse("quality:dispatch_note", args=[dispatch.code]))
    assert answer["Content-Type"] == "application/pdf"
    words = text_of(answer.content)
    for needed in (
        f"Delivery note {dispatch.code}",
        "Corner Shop Lindqvist",
        "Laundry liquid",
        "3 bottles",
        lot.batch.number,
        lot.code,
        "1–3",
        "Keep this list",
        "Stop using and passing on",
        "555 0100",
        "555 0199",
        "Keep out of reach of children",
        "by the carrier",
    ):
        assert needed in words, needed
    for bottle in make.bottles_of(lot)[:3]:
        assert grouped(bottle.code) in words
    assert grouped(make.bottles_of(lot)[3].code) not in words
    assert not {"€", "price", "cost"} & set(words.lower().split())
    # What comes back later still left then.
    sends(client, MOVE, codes=make.bottles_of(lot)[0].code, new="returned", reason="x")
    assert sum(len(one.bottles) for one in delivery_note.sent_in(dispatch)) == 3


@pytest.mark.django_db
def test_a_dispatch_is_open_data_and_is_found_by_what_was_in_it(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, other, *_ = make.bottles_of(lot)
    signed_in(client, crew.maker)
    send(client, crew, codes=one.code, note="=1+1 crate")
    dispatch = Dispatch.objects.get()
    answer = client.get(reverse("quality:dispatch_csv", args=[dispatch.code]))
    content = b"".join(answer.streaming_content).decode()  # type: ignore[attr-defined]
    (row,) = csv.DictReader(io.StringIO(content))
    assert row["bottle"] == grouped(one.code)
    assert (row["batch"], row["use by"]) == (
        lot.batch.number,
        lot.use_by.isoformat(),
    )
    found = {
        dispatch.code: True,
        "lindqvist crate": True,
        grouped(one.code): True,
        lot.code: True,
        lot.batch.number: True,
        grouped(other.code): False,
        "lindqvist elsewhere": False,
    }
    for words, is_found in found.items():
        page = page_of(client.get("/dispatches/", {"words": words}))
        assert (dispatch.code in page.words) is is_found, words
    assert "No dispatch fits these words" in page.words


@pytest.mark.django_db
def test_a_box_comes_back_and_the_page_says_how_many(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    signed_in(client, crew.maker)
    send(client, crew, filling_lot=lot.code)
    page = page_of(
        sends(client, MOVE, filling_lot=lot.code, new="returned", reason="shop closed")
    )
    assert "4 bottles are recorded: returned by who had it." in page.words
    shop = make.consignee(crew.maker)
    words = page_of(client.get(reverse("quality:consignee", args=[shop.pk]))).words
    assert "They hold no bottle." in words
    assert "shop closed" in words
    assert "4 bottles" in words
    signed_in(client, crew.reviewer)
    fields = {"filling_lot": lot.code, "new": "filled", "reason": "unopened"}
    page = page_of(sends(client, MOVE, **fields))
    assert "was out of your hands" in page.words
    page = page_of(sends(client, MOVE, **fields, inspection="seals whole"))
    assert "4 bottles are recorded: back to stock." in page.words


def asks_what_was_found(client: Client, address: str) -> bool:
    page = page_of(client.get(address))
    return "inspection" in {tag.get("name") for tag in page.attributes("textarea")}


@pytest.mark.django_db
def test_the_page_of_one_bottle_asks_what_was_found_while_it_was_out_and_not_after(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, *_ = make.bottles_of(lot)
    address = reverse("quality:bottle_move", args=[one.code])
    asked = {}

    def look(state: str) -> None:
        for by in crew:
            client.force_login(by)
            asked[state, by.username] = asks_what_was_found(client, address)

    look("in stock")
    hands.dispatched(crew, [one], make.consignee(crew.maker))
    look("out")
    hands.moved(crew.maker, one, "returned", "wrong size")
    look("back")
    hands.moved(crew.maker, one, "on_hold", "a strange smell")
    look("back and held")
    hands.moved(crew.reviewer, one, "filled", "the shop's", inspection="whole")
    hands.moved(crew.reviewer, one, "on_hold", "the cap")
    look("held after the look")
    assert {state for (state, _), shown in asked.items() if shown} == {
        "back",
        "back and held",
    }
    # Only a reviewer puts it back, so nobody else is asked.
    assert not any(asked[state, crew.maker.username] for state, _ in asked)


@pytest.mark.django_db
def test_the_page_of_many_bottles_asks_whoever_may_put_them_back(
    crew: make.Crew, client: Client
) -> None:
    signed_in(client, crew.maker)
    assert not asks_what_was_found(client, MOVE)
    signed_in(client, crew.reviewer)
    assert asks_what_was_found(client, MOVE)


@pytest.mark.django_db
def test_a_maker_sets_aside_what_came_back_of_a_filling_lot_and_no_more(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    back, here, *_ = make.bottles_of(lot)
    hands.dispatched(crew, [back], make.consignee(crew.maker))
    hands.moved(crew.maker, back, "returned", "wrong size")
    signed_in(client, crew.maker)
    fields = {"new": "on_hold", "reason": "a strange smell"}
    page = page_of(sends(client, MOVE, codes=here.code, **fields))
    assert "Only a reviewer can record what is filled as on hold." in page.words
    page = page_of(sends(client, MOVE, filling_lot=lot.code, **fields))
    assert "1 bottle is recorded: put on hold." in page.words
    on_hold = Bottle.objects.filter(status="on_hold")
    assert list(on_hold) == [back]


@pytest.mark.django_db
def test_the_page_of_one_bottle_asks_what_was_found(
    crew: make.Crew, client: Client, lot: FillingLot
) -> None:
    one, *_ = make.bottles_of(lot)
    signed_in(client, crew.maker)
    send(client, crew, codes=one.code)
    address = reverse("quality:bottle_move", args=[one.code])
    sends(client, address, new="returned", reason="wrong size")
    signed_in(client, crew.reviewer)
    page = page_of(sends(client, address, new="filled", reason="unopened"))
    assert "was out of your hands" in page.words
    sends(client, address, new="filled", reason="unopened", inspection="seal whole")
    one.refresh_from_db()
    assert (one.status, one.consignee) == ("filled", None)
