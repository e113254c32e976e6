"""A mock recall: the same steps, marked on every page and print, and nothing moves."""

from __future__ import annotations

import datetime
import io
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Bottle
from producer.errors import Refusal
from producer.models import JournalEntry, RawLot
from quality.models import Recall, RecallContact
from quality.services import recall_closing, recall_contacts, recalling
from quality.services.recall_status import standing_of
from quality.services.today import tools
from tests import hands, leaving, make
from tests.doors.pages import page_of
from tests.once import once

pytestmark = pytest.mark.django_db
PAGES = (
    ("recall", ()),
    ("recall_report", ()),
    ("recall_contact_new", ()),
    ("recall_advance", ()),
    ("recall_close", ()),
    ("recall_bottles", ()),
)


@once
def sent_bottles(crew: make.Crew) -> Batch:
    """Return a liquid of which two of four bottles are at a shop."""
    lot = make.filled(crew, count=4, nominal_ul=250_000)
    leaving.sent(crew, make.bottles_of(lot)[:2], consignee=make.consignee(crew.maker))
    return lot.batch


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    return sent_bottles(crew)


def mock_recall(crew: make.Crew, batch: Batch) -> Recall:
    return recalling.open_recall(
        by=crew.reviewer,
        root=batch.stock,
        hazard_class="3",
        reason="how long does it take",
        public_notice="",
        is_mock=True,
    )


def would_call(crew: make.Crew, recall: Recall, **more: Any) -> RecallContact:
    facts: dict[str, Any] = {"means": "telephone", "outcome": "reached", **more}
    return recall_contacts.record_contact(
        by=crew.maker, recall=recall, consignee=make.consignee(crew.maker), **facts
    )


def finished(crew: make.Crew, recall: Recall) -> Recall:
    recalling.advance(by=crew.reviewer, recall=recall, note="MOCK: list printed")
    return recall_closing.close(
        by=crew.reviewer, recall=recall, note="all placed", password=make.PASSWORD
    )


def states() -> list[list[tuple[int, str]]]:
    return [
        list(model._default_manager.order_by("pk").values_list("pk", "status"))
        for model in (RawLot, Batch, Bottle)
    ]


def test_scenario_33_a_mock_recall_is_marked_freezes_and_sends_nothing_and_is_timed(
    crew: make.Crew, batch: Batch, client: Client, mailoutbox: list[Any]
) -> None:
    before = states()
    recall = mock_recall(crew, batch)
    client.force_login(crew.reviewer)
    row = would_call(crew, recall)
    recalling.advance(by=crew.reviewer, recall=recall, note="MOCK: list printed")
    # Marked MOCK on every page and print.
    code = recall.code
    own = (
        *PAGES,
        ("recall_contact_amend", (row.pk,)),
        ("recall_contact_void", (row.pk,)),
    )
    for name, more in own:
        if name == "recall_advance":
            continue  # past that step; looked at below
        shown = page_of(client.get(reverse(f"quality:{name}", args=[code, *more])))
        title = " ".join(text for tag, text in shown.texts if tag == "title")
        heading = " ".join(text for tag, text in shown.texts if tag == "h1")
        assert "MOCK" in title, name
        assert "MOCK" in heading, name
    for name in ("recall_pdf", "recall_report_pdf", "recall_bottles_pdf"):
        answer = client.get(reverse(f"quality:{name}", args=[code]))
        assert "MOCK" in answer["Content-Disposition"]
        printed = pypdfium2.PdfDocument(io.BytesIO(answer.getvalue()))
        assert "MOCK" in printed.get_metadata_dict()["Title"]
        for page in printed:
            assert "MOCK" in page.get_textpage().get_text_range()
    listed = client.get(reverse("quality:recall_pdf", args=[code])).getvalue()
    on_paper = pypdfium2.PdfDocument(io.BytesIO(listed))[0].get_textpage()
    assert "Call nobody." in on_paper.get_text_range()
    assert "Holders, to telephone" not in on_paper.get_text_range()
    # It says who would be called, and that nobody was.
    words = page_of(client.get(reverse("quality:recall", args=[code]))).words
    assert "MOCK: would call: there is a way to reach them" in words
    assert JournalEntry.objects.filter(act="mock recall: attempt recorded").exists()
    # It times itself, and keeps the result: C32 and C33.
    recall_closing.close(
        by=crew.reviewer, recall=recall, note="all placed", password=make.PASSWORD
    )
    now = standing_of(recall)
    assert [one.slug for one in now.times] == ["list", "first", "all", "closed"]
    assert all(one.after is not None for one in now.times)
    assert (now.effect.traced_percent, now.effect.reached_percent) == (100, 100)
    kept = hands.kept("closed")
    assert kept["is_mock"]
    assert kept["signature"]["meaning"] == "MOCK recall closed"
    assert set(kept["seconds"]) == {"list", "first", "all", "closed"}
    assert (kept["listed"], kept["reached"]) == (1, 1)
    # Nothing was frozen, nothing sent, nothing shown.
    assert states() == before
    assert mailoutbox == []
    bottle = make.bottles_of(batch.filling_lots.get())[0]
    assert hands.recalls_reaching(bottle) == []


def test_the_first_step_of_a_mock_recall_is_marked_too(
    crew: make.Crew, batch: Batch, client: Client
) -> None:
    recall = mock_recall(crew, batch)
    client.force_login(crew.reviewer)
    page = page_of(client.get(reverse("quality:recall_advance", args=[recall.code])))
    assert f"MOCK {recall.code}: the holders are notified" in page.words


@pytest.mark.parametrize(
    "facts", [{"outcome": "none_left"}, {"held": 1}, {"used_up": 1}]
)
def test_in_a_mock_recall_nobody_says_anything(
    crew: make.Crew, batch: Batch, facts: dict[str, Any]
) -> None:
    recall = mock_recall(crew, batch)
    with pytest.raises(Refusal, match="nobody is called"):
        would_call(crew, recall, **facts)
    assert would_call(crew, recall)  # control: it needs no words either


def test_a_mock_recall_that_is_closed_takes_no_more(
    crew: make.Crew, batch: Batch
) -> None:
    recall = mock_recall(crew, batch)
    would_call(crew, recall)
    finished(crew, recall)
    with pytest.raises(Refusal, match="Open another one"):
        would_call(crew, recall)


def test_how_long_each_step_took_is_shown_as_a_duration(
    crew: make.Crew, batch: Batch
) -> None:
    recall = mock_recall(crew, batch)
    assert [one.duration for one in standing_of(recall).times][1:] == ["not yet"] * 3
    opened = timezone.now() - datetime.timedelta(minutes=24)
    Recall.objects.filter(pk=recall.pk).update(opened_at=opened)
    recall = Recall.objects.get(pk=recall.pk)
    would_call(crew, recall)
    durations = {one.slug: one.duration for one in standing_of(recall).times}
    assert durations["first"] == durations["all"] == "24 min"


def test_the_times_of_a_closed_one_stay_though_bottles_leave_for_others(
    crew: make.Crew, batch: Batch
) -> None:
    recall = mock_recall(crew, batch)
    would_call(crew, recall)
    finished(crew, recall)
    before = [one.duration for one in standing_of(recall).times]
    assert "not yet" not in before
    later = make.bottles_of(batch.filling_lots.get())[2:3]
    other = make.consignee(crew.maker, name="Another Shop")
    leaving.sent(crew, later, consignee=other)
    now = standing_of(recall)
    assert (now.effect.listed, now.effect.tried) == (2, 1)  # control
    assert [one.duration for one in now.times] == before


def due(days: int = 0) -> list[Any]:
    today = timezone.localdate() + datetime.timedelta(days=days)
    return [one for one in tools.yearly(today).rows if one.name == "Mock recall"]


def test_today_reminds_of_a_mock_recall_once_bottles_have_left(crew: make.Crew) -> None:
    make.filled(crew, count=1, nominal_ul=50_000)
    assert due() == []  # none has left
    batch = sent_bottles(crew)
    (row,) = due()
    assert row.when == "not done so far"
    address = reverse("quality:recall_open", args=[batch.number])
    assert row.do_at == f"{address}?mock=1"


def test_today_reminds_again_a_year_after_the_last_one_was_closed(
    crew: make.Crew, batch: Batch, client: Client
) -> None:
    (row,) = due()
    client.force_login(crew.reviewer)
    assert client.get(row.do_at).context["form"]["is_mock"].value() is True
    recall = mock_recall(crew, batch)
    assert due() == []  # it is open, and told of among the recalls
    would_call(crew, recall)
    finished(crew, recall)
    assert due(days=365) == []
    assert len(due(days=366)) == 1
