"""The page of a bottle as our own people see it: where all are, and what to do next."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy, FillingLot, ScanAlert
from batches.services import bottle_doubts, scans
from producer.codes import grouped, new_bottle_code
from producer.models import Right, User
from quality.services import bottle_now, recalling
from quality.services.bottle_now import Sisters
from tests import hands, make, scanned
from tests.doors.pages import Page, page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    """Return three bottles of laundry liquid."""
    return make.filled(crew, nominal_ul=100_000, count=3)


def fresh(bottle: Bottle) -> Bottle:
    return Bottle.objects.listed().select_related("place").get(pk=bottle.pk)


def next_of(bottle: Bottle, *, days: int = 0, **found: Any) -> bottle_now.Next:
    return bottle_now.next_of(
        fresh(bottle),
        recalls=found.get("recalls", []),
        doubts=found.get("doubts", []),
        today=timezone.localdate() + datetime.timedelta(days=days),
    )


def in_state(bottle: Bottle, state: str, crew: make.Crew) -> Bottle:
    """Put a bottle into a state behind the services, which need more than a state."""
    holder = make.consignee(crew.maker) if state == "dispatched" else None
    Bottle.objects.filter(pk=bottle.pk).update(status=state, consignee=holder)
    return fresh(bottle)


@pytest.mark.parametrize(
    ("state", "heading", "page"),
    [
        ("dispatched", "Nothing to do", "move"),
        ("returned", "Look at it", "move"),
        ("recovered", "Destroy it", "move"),
        ("retained", "Keep it", "/bottles/F"),
        ("destroyed", "Nothing to do", "doubt"),
        ("on_hold", "Decide about it", "move"),
    ],
)
def test_each_state_has_its_next_act(
    crew: make.Crew, lot: FillingLot, state: str, heading: str, page: str
) -> None:
    bottle = in_state(make.bottles_of(lot)[0], state, crew)
    found = next_of(bottle)
    assert found.heading == heading
    assert page in found.at


def test_every_state_of_a_bottle_is_thought_of(
    crew: make.Crew, lot: FillingLot
) -> None:
    bottle = make.bottles_of(lot)[0]
    for state in BottleStatus:
        assert next_of(in_state(bottle, state, crew)).heading


def test_why_it_is_held_is_said(crew: make.Crew, lot: FillingLot) -> None:
    bottle = make.bottles_of(lot)[0]
    hands.moved(crew.reviewer, bottle, "on_hold", "the cap leaks")
    assert "the cap leaks" in next_of(bottle).text
    assert next_of(bottle).rights == (Right.REVIEWER,)


def test_past_its_date_it_is_destroyed_and_not_sent(lot: FillingLot) -> None:
    bottle = make.bottles_of(lot)[0]
    left = (lot.use_by - timezone.localdate()).days
    assert next_of(bottle, days=left).heading != "Destroy it"
    assert next_of(bottle, days=left + 1).heading == "Destroy it"


def test_a_recall_comes_before_everything(crew: make.Crew, lot: FillingLot) -> None:
    out, here, gone = make.bottles_of(lot)
    in_state(out, "dispatched", crew)
    in_state(gone, "destroyed", crew)
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=lot.batch.stock,
        hazard_class="1",
        reason="glass",
        public_notice="Bring it back.",
    )
    doubt = bottle_doubts.report(
        by=crew.maker, bottle=fresh(out), kind="duplicate", found="fair"
    )
    found: dict[str, Any] = {"recalls": [recall], "doubts": [doubt]}
    assert next_of(out, **found).heading == f"Recall {recall.code}: get it back"
    assert "Corner Shop Lindqvist" in next_of(out, **found).text
    assert next_of(here, **found).heading == f"Recall {recall.code}: keep it here"
    assert "nothing more" in next_of(gone, **found).heading
    recall.status = "closed"
    assert next_of(out, **found).heading == "Settle the doubt about it"


def test_all_bottles_of_the_filling_are_told_by_state_and_place(
    crew: make.Crew, lot: FillingLot
) -> None:
    out, _, gone = make.bottles_of(lot)
    in_state(out, "dispatched", crew)
    in_state(gone, "destroyed", crew)
    with CaptureQueriesContext(connection) as asked:
        told = bottle_now.sisters_of(out)
    assert len(asked) == 1
    assert told == [
        Sisters(status="dispatched", where="Corner Shop Lindqvist", count=1),
        Sisters(status="destroyed", where="nowhere any more", count=1),
        Sisters(status="filled", where="on the premises, no place recorded", count=1),
    ]
    assert sum(one.count for one in told) == lot.count


def opened(client: Client, bottle: Bottle) -> Page:
    return page_of(client.get(f"/b/{bottle.code}/"))


def test_the_page_tells_sisters_doubts_scans_and_the_next_act(
    crew: make.Crew, lot: FillingLot, client: Client
) -> None:
    bottle = make.bottles_of(lot)[0]
    scans.forget()
    Client().get(f"/b/{bottle.code}/")
    scans.flush()
    doubt = bottle_doubts.report(
        by=crew.maker, bottle=bottle, kind="duplicate", found="two at the fair"
    )
    client.force_login(crew.reviewer)
    page = opened(client, bottle)
    for told in (
        "Settle the doubt about it",
        "two at the fair",
        "All 3 bottles of this filling",
        "1 time, last on",
        "Labels printed for it",
    ):
        assert told in page.words
    links = [tag.get("href") for tag in page.attributes("a")]
    assert f"/doubts/{doubt.pk}/settle/" in links
    assert f"/b/{bottle.code}/doubt/" in links
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a copied label")
    page = opened(client, bottle)
    assert "a copied label" in page.words
    assert "Decide about it" in page.words


def test_who_may_only_read_is_told_whose_act_it_is(
    lot: FillingLot, auditor: User, client: Client
) -> None:
    client.force_login(auditor)
    page = opened(client, make.bottles_of(lot)[0])
    assert "does that." in page.words
    links = [tag.get("href", "") for tag in page.attributes("a")]
    assert not [link for link in links if "/move/" in link or "/doubt/" in link]


def test_the_questions_do_not_grow_with_the_filling(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    counts = []
    for count in (2, 20):
        lot = make.filled(crew, nominal_ul=20_000, count=count)
        bottle = make.bottles_of(lot)[0]
        bottle_doubts.report(
            by=crew.maker,
            bottle=bottle,
            kind=BottleDiscrepancy.Kind.ELSEWHERE,
            found="in the barn",
        )
        opened(client, bottle)
        with CaptureQueriesContext(connection) as asked:
            opened(client, bottle)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_alerts_are_listed_looked_into_and_told_on_the_first_page(
    crew: make.Crew, client: Client
) -> None:
    alert = scanned.unknown()
    client.force_login(crew.maker)
    assert "Scanned and amiss" in page_of(client.get("/")).words
    listed = page_of(client.get("/alerts/"))
    assert "never issued" in listed.words
    assert f"/alerts/{alert.pk}/" in [tag.get("href") for tag in listed.attributes("a")]
    # There is no bottle, so nothing leads to one.
    assert f"/b/{alert.code}/" not in [
        tag.get("href") for tag in listed.attributes("a")
    ]
    scans.look_into(by=crew.maker, alert=alert, reason="a child at the fair")
    assert "Scanned and amiss" not in page_of(client.get("/")).words
    assert "by Mirja Aalto" in page_of(client.get("/alerts/")).words


def test_a_code_of_no_bottle_leads_somebody_of_the_house_to_the_alerts(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    code = new_bottle_code()
    answer = client.get(reverse("quality:bottle", args=[code]))
    assert answer.status_code == 404
    page = page_of(answer)
    assert grouped(code) in page.words
    assert "keep that bottle aside" in page.words
    assert "/alerts/" in [tag.get("href") for tag in page.attributes("a")]
    scans.flush()
    assert ScanAlert.objects.get().code == code


def test_a_mistyped_code_is_read_again_and_is_no_alert(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    answer = client.get(reverse("quality:bottle", args=[scanned.MISTYPED]))
    assert answer.status_code == 404
    assert "Read it once more from the label." in page_of(answer).words
    scans.flush()
    assert not ScanAlert.objects.exists()
