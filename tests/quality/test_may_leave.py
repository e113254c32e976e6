"""Pages about bottles say that one may leave only where the door would let it."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Bottle, FillingLot
from batches.services import bottle_doubts, label_texts
from producer.codes import grouped
from producer.errors import Refusal
from quality.services import bottle_now, may_leave, supplying
from tests import leaving, make

pytestmark = pytest.mark.django_db

SEND = "Send some to a consignee"


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    return leaving.filled(crew)


def next_of(bottle: Bottle) -> bottle_now.Next:
    found = Bottle.objects.listed().select_related("place").get(pk=bottle.pk)
    return bottle_now.next_of(found, recalls=[], doubts=[], today=timezone.localdate())


def page_of(crew: make.Crew, lot: FillingLot) -> str:
    browser = Client()
    browser.force_login(crew.maker)
    answer = browser.get(reverse("batches:filling_lot", args=[lot.code]))
    return " ".join(answer.content.decode().split())


def refused(crew: make.Crew, bottle: Bottle) -> str:
    """Return why the door does not let a bottle out."""
    with pytest.raises(Refusal) as refusal:
        supplying.dispatch(
            by=crew.maker, bottles=[bottle], consignee=make.consignee(crew.maker)
        )
    return refusal.value.message.removesuffix(" Nothing was dispatched.")


def test_a_bottle_that_nothing_stops_may_leave_and_its_lot_says_so(
    crew: make.Crew, lot: FillingLot
) -> None:
    first = make.bottles_of(lot)[0]
    assert next_of(first).heading == "It may leave"
    assert SEND in page_of(crew, lot)
    assert "may leave yet" not in page_of(crew, lot)


def test_while_a_sister_is_a_double_none_may_leave_and_both_pages_say_why(
    crew: make.Crew, lot: FillingLot
) -> None:
    double, sister, *_ = make.bottles_of(lot)
    doubt = bottle_doubts.report(
        by=crew.maker, bottle=double, kind="duplicate", found="two on the shelf"
    )
    found = next_of(sister)
    assert found.heading == "It may not leave yet"
    assert found.text == refused(crew, sister)
    assert found.at == reverse("quality:bottle_doubt_settle", args=[doubt.pk])
    page = page_of(crew, lot)
    assert SEND not in page
    assert "No bottle of it may leave yet" in page
    assert f"two bottles bear the code {grouped(double.code)}" in page
    assert grouped(sister.code) not in page.partition("</section>")[0]


def test_a_label_that_may_not_be_printed_any_more_stops_it(
    crew: make.Crew, lot: FillingLot
) -> None:
    bottle = make.bottles_of(lot)[0]
    label = label_texts.approved(lot.batch.formula_version.formula, "en")
    assert label is not None
    label_texts.withdraw(by=crew.reviewer, label=label, reason="a slip")
    found = next_of(bottle)
    assert found.text == refused(crew, bottle)
    assert found.at == reverse("batches:filling_lot", args=[lot.code])
    assert "which may not be printed any more" in page_of(crew, lot)


def test_what_the_results_say_stops_it(
    crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(supplying, "is_caustic_by_weighing", lambda _: True)
    assert next_of(make.bottles_of(lot)[0]).text == refused(
        crew, make.bottles_of(lot)[0]
    )
    assert "By the weighings" in page_of(crew, lot)


def test_a_doubt_about_one_stops_that_one_alone(
    crew: make.Crew, lot: FillingLot
) -> None:
    out, *rest = make.bottles_of(lot)
    bottle_doubts.report(
        by=crew.maker, bottle=out, kind="elsewhere", found="in the barn"
    )
    # The doubt put it on hold; freed too early, it is in stock and in doubt.
    Bottle.objects.filter(pk=out.pk).update(status="filled")
    door = may_leave.door_of(lot, timezone.localdate())
    assert (door.in_stock, door.may) == (len(rest) + 1, len(rest))
    assert [words.split(" is in doubt")[0] for words in door.stops] == [
        f"Bottle {grouped(out.code)}"
    ]
    page = page_of(crew, lot)
    assert SEND in page
    assert f"{len(rest)} of {len(rest) + 1} bottles in stock may leave" in page


def test_no_more_is_asked_for_more_bottles(crew: make.Crew, lot: FillingLot) -> None:
    bottles = list(lot.bottles.listed().order_by("number"))
    counts = []
    for some in (bottles[:1], bottles):
        with CaptureQueriesContext(connection) as asked:
            may_leave.against(some, timezone.localdate())
        counts.append(len(asked))
    assert counts[0] == counts[1]
    assert len(bottles) > 1
