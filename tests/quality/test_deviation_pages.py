"""The pages of deviations: found, opened from where it was seen, closed by name."""

from __future__ import annotations

import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from producer.models import User
from quality.models import Deviation, DeviationStep
from quality.services import deviating
from tests import make
from tests.quality import faulty

pytestmark = pytest.mark.django_db


def page(client: Client, name: str, *arguments: str | int, query: str = "") -> str:
    response = client.get(reverse(name, args=arguments) + query)
    assert response.status_code == 200
    return response.content.decode()


def sent(**fields: str) -> dict[str, str]:
    return {"submission": str(uuid.uuid4()), **fields}


def test_from_the_review_to_a_signed_decision(crew: make.Crew, client: Client) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    client.force_login(crew.reviewer)
    way = reverse("quality:deviation_open", args=[batch.number]) + "?of=ph"
    review = page(client, "quality:review", batch.number)
    assert f'href="{way}"' in review
    assert "open a deviation of pH" in review
    form = client.get(way).content.decode()
    assert '<option value="ph" selected>' in form

    response = client.post(
        way,
        sent(classification="major", characteristic="ph", what="the meter said 10.4"),
        follow=True,
    )
    found = Deviation.objects.get()
    assert found.stock_id == batch.pk
    assert found.characteristic == "ph"
    shown = response.content.decode()
    assert f"Deviation {found.code} is open" in shown
    assert "Nobody has decided yet" in shown
    assert f'href="{way}"' not in page(client, "quality:review", batch.number)

    step = reverse("quality:deviation_step", args=[found.code])
    client.force_login(crew.maker)
    for kind in ("cause", "action"):
        client.post(step, sent(kind=kind, text=f"the {kind} as found"))
    client.force_login(crew.reviewer)
    shown = page(client, "quality:deviation", found.code)
    assert "the cause as found" in shown
    assert "the action as found" in shown

    close = reverse("quality:deviation_close", args=[found.code])
    fields = {
        "seen": deviating.digest_of(found),
        "decision": "concession",
        "text": "for floors only",
    }
    wrong = client.post(close, sent(**fields, password="guessed"))
    assert "This is not your password" in wrong.content.decode()
    assert not DeviationStep.objects.filter(kind="closed").exists()
    client.post(close, sent(**fields, password=make.PASSWORD))
    closing = DeviationStep.objects.get(kind="closed")
    shown = page(client, "quality:deviation", found.code)
    for words in (
        "Rasmus Lind",
        "concession: used although it does not conform",
        "for floors only",
        closing.record_sha256,
    ):
        assert words in shown
    assert "Add a step" not in shown


def test_a_decision_does_not_go_through_without_what_was_read(
    crew: make.Crew, client: Client
) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    faulty.looked_into(crew.maker, found)
    client.force_login(crew.reviewer)
    response = client.post(
        reverse("quality:deviation_close", args=[found.code]),
        sent(decision="no_effect", text="none", password=make.PASSWORD),
    )
    assert "does not say what you read" in response.content.decode()
    assert not DeviationStep.objects.filter(kind="closed").exists()


def test_the_list_shows_open_ones_first_and_can_be_narrowed(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    assert "No deviation here." in page(client, "quality:deviations")
    batch = make.cooked_batch(crew)
    first = faulty.deviation(crew.maker, batch.stock, what="a fly in the pot")
    done = faulty.closed(crew, batch, "ph", "rejected")
    shown = page(client, "quality:deviations")
    assert shown.index(first.code) < shown.index(done.code)
    assert "to be rejected" in shown
    only = page(client, "quality:deviations", query="?status=open")
    assert first.code in only
    assert done.code not in only
    only = page(client, "quality:deviations", query="?status=closed")
    assert first.code not in only
    assert done.code in only
    only = page(client, "quality:deviations", query="?q=a+FLY")
    assert first.code in only
    assert done.code not in only
    page(client, "quality:deviations", query="?status=x&q=%27%25&page=-1&sort=nonsense")


def test_the_list_asks_no_more_for_many_than_for_few(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    batch = make.cooked_batch(crew)

    def asked() -> int:
        with CaptureQueriesContext(connection) as questions:
            page(client, "quality:deviations")
        return len(questions)

    faulty.closed(crew, batch, "ph", "no_effect")
    asked()
    few = asked()
    for _ in range(6):
        faulty.deviation(crew.maker, batch.stock)
    assert asked() == few


def test_batch_lot_and_instrument_name_their_deviations_and_lead_to_a_new_one(
    crew: make.Crew, client: Client, auditor: User
) -> None:
    batch, scale = make.cooked_batch(crew), make.scale(crew.maker)
    lot = make.held_lot(crew, make.water(crew.maker))
    places: list[tuple[tuple[str, str | int], tuple[str, str | int], Deviation]] = [
        (
            ("batches:batch", batch.number),
            ("quality:deviation_open", batch.number),
            faulty.deviation(crew.maker, batch.stock),
        ),
        (
            ("producer:lot", lot.code),
            ("quality:deviation_open", lot.code),
            faulty.deviation(crew.maker, lot.stock),
        ),
        (
            ("quality:instrument", scale.pk),
            ("quality:deviation_open_instrument", scale.pk),
            faulty.deviation(crew.maker, instrument=scale),
        ),
    ]
    for user, may_open in ((crew.maker, True), (auditor, False)):
        client.force_login(user)
        for (name, key), (way, of), found in places:
            shown = page(client, name, key)
            assert found.code in shown
            assert (reverse(way, args=[of]) in shown) is may_open


def test_opened_from_a_lot_or_an_instrument_it_is_about_that(
    crew: make.Crew, client: Client
) -> None:
    lot, scale = (
        make.held_lot(crew, make.water(crew.maker)),
        make.scale(crew.maker),
    )
    client.force_login(crew.maker)
    fields = {"classification": "minor", "what": "it fell over"}
    client.post(reverse("quality:deviation_open", args=[lot.code]), sent(**fields))
    client.post(
        reverse("quality:deviation_open_instrument", args=[scale.pk]), sent(**fields)
    )
    of_scale, of_lot = Deviation.objects.all()
    assert of_lot.stock == lot.stock
    assert of_scale.instrument == scale
    for found in (of_lot, of_scale):
        page(client, "quality:deviation", found.code)


def test_today_lists_what_is_open_and_find_leads_to_it(
    crew: make.Crew, client: Client
) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.deviation(crew.maker, batch.stock)
    client.force_login(crew.maker)
    address = reverse("quality:deviation", args=[found.code])
    assert "Open deviations" in page(client, "quality:today")
    response = client.get(reverse("quality:find"), {"q": found.code.lower()})
    assert response.headers["Location"] == address
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, found), "no_effect")
    assert "Open deviations" not in page(client, "quality:today")


def test_a_released_batch_with_an_open_one_says_what_to_do(
    crew: make.Crew, client: Client
) -> None:
    batch = make.released_paste(crew)
    found = faulty.deviation(crew.maker, batch.stock)
    client.force_login(crew.reviewer)
    assert f"{batch.number} is released." in page(
        client, "quality:deviation", found.code
    )


def test_what_a_maker_writes_is_shown_as_text(crew: make.Crew, client: Client) -> None:
    found = faulty.deviation(
        crew.maker, make.cooked_batch(crew).stock, what="<b>bold</b>"
    )
    client.force_login(crew.maker)
    for name, *key in (("quality:deviation", found.code), ("quality:deviations",)):
        assert "&lt;b&gt;bold" in page(client, name, *key)


def test_a_raw_lot_with_an_open_deviation_is_not_released(
    crew: make.Crew, client: Client
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    found = faulty.deviation(crew.maker, lot.stock)
    client.force_login(crew.reviewer)
    address = reverse("quality:lot_decide", args=[lot.code])
    fields = {"new": "released", "reason": "fine"}
    refused = client.post(address, sent(**fields))
    assert f"Deviation {found.code} of raw lot" in refused.content.decode()
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, found), "no_effect")
    assert client.post(address, sent(**fields)).status_code == 302
