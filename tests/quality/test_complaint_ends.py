"""What a complaint waits for, what it is counted with, and the way to each act."""

from __future__ import annotations

import datetime
from typing import NamedTuple

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import FillingLot, RetainedSample, SampleLook
from producer import prints
from producer.errors import Refusal
from producer.models import Stock
from quality.documents import complaints as documents
from quality.models import Complaint, ComplaintAccount
from quality.services import (
    complaining,
    complaint_ends,
    complaint_leads,
    complaint_todo,
)
from quality.services.complaint_leads import Leads
from quality.services.complaint_todo import Todo
from quality.services.complaints import standing
from tests import bottling, hands, make, told
from tests.database import without_triggers
from tests.doors.pages import field_value, page_of
from tests.once import once
from tests.quality import faulty

pytestmark = pytest.mark.django_db


class Scene(NamedTuple):
    """A filling with a sample, of which a shop has one bottle."""

    crew: make.Crew
    lot: FillingLot


@once
def scene_of(crew: make.Crew) -> Scene:
    """Three bottles: one at a shop, two here; a jar is kept."""
    lot = bottling.bottled(crew, count=3, nominal_ul=100_000)
    hands.dispatched(crew, make.bottles_of(lot)[:1], make.consignee(crew.maker))
    return Scene(crew, lot)


@pytest.fixture
def scene(crew: make.Crew) -> Scene:
    return scene_of(crew)


def leads_of(row: ComplaintAccount) -> Leads:
    return complaint_leads.leads_of(standing(row.complaint))


def todo_of(row: ComplaintAccount) -> list[Todo]:
    now = standing(row.complaint)
    return complaint_todo.next_steps(now, complaint_leads.leads_of(now))


def words_of(row: ComplaintAccount) -> str:
    return " ".join(one.words for one in todo_of(row))


def close(scene: Scene, complaint: Complaint) -> None:
    complaining.close_complaint(
        by=scene.crew.reviewer, complaint=complaint, text="they are content"
    )


# ------------------------------------------------------------------ what it waits for


def test_a_complaint_is_not_closed_while_a_deviation_of_its_batch_is_open(
    scene: Scene,
) -> None:
    crew = scene.crew
    row = told.about(crew, make.bottles_of(scene.lot)[0])
    told.answered(crew, row)
    found = faulty.deviation(
        crew.maker, scene.lot.batch.stock, classification="critical"
    )
    assert f"Deviation {found.code} of batch" in words_of(row)
    assert "Close it." not in words_of(row)
    with pytest.raises(Refusal, match=rf"Deviation {found.code} .* \(critical\)"):
        close(scene, row.complaint)
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, found), "not_confirmed")
    close(scene, row.complaint)


def test_a_deviation_of_another_batch_is_not_in_the_way(scene: Scene) -> None:
    crew = scene.crew
    other = make.released_paste(crew)
    faulty.deviation(crew.maker, other.stock)
    row = told.about(crew, make.bottles_of(scene.lot)[0])
    close(scene, told.answered(crew, row))


def test_a_complaint_is_not_closed_while_a_recall_that_reaches_it_is_open(
    scene: Scene,
) -> None:
    crew = scene.crew
    row = told.about(crew, make.bottles_of(scene.lot)[0])
    told.answered(crew, row)
    recall = hands.recall(crew, scene.lot.batch.stock)
    with pytest.raises(Refusal, match=f"Recall {recall.code} is open"):
        close(scene, row.complaint)
    assert any(one.do == "See the recall" for one in todo_of(row))


def test_the_page_of_closing_names_what_is_in_the_way(scene: Scene) -> None:
    crew = scene.crew
    row = told.about(crew, make.bottles_of(scene.lot)[0])
    told.answered(crew, row)
    found = faulty.deviation(crew.maker, scene.lot.batch.stock)
    client = Client()
    client.force_login(crew.reviewer)
    address = reverse("quality:complaint_close", args=[row.complaint.code])
    assert f"Deviation {found.code}" in page_of(client.get(address)).words


def test_a_closed_recall_and_one_that_left_the_batch_stay_on_the_complaint(
    crew: make.Crew,
) -> None:
    recall = hands.cleared(crew)
    lot = FillingLot.objects.get()
    row = told.opened(crew, filling_lot=lot)
    (one,) = leads_of(row).recalls
    assert (one.recall, one.reaches, one.is_open) == (recall, False, True)
    assert complaint_ends.in_the_way(row) == []
    client = Client()
    client.force_login(crew.reviewer)
    address = reverse("quality:complaint", args=[row.complaint.code])
    words = page_of(client.get(address)).words
    assert recall.code in words
    assert "does not by the book as it is now" in words


def test_a_mock_recall_is_no_recall_of_a_complaint(scene: Scene) -> None:
    recall = hands.recall(scene.crew, scene.lot.batch.stock)
    row = told.opened(scene.crew, batch=scene.lot.batch)
    assert [one.recall for one in leads_of(row).recalls] == [recall]
    type(recall).objects.filter(pk=recall.pk).update(is_mock=True)
    assert leads_of(row).recalls == []


def test_the_paper_of_a_complaint_names_deviations_and_recalls(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = scene.crew
    found = faulty.deviation(crew.maker, scene.lot.batch.stock)
    recall = hands.recall(crew, scene.lot.batch.stock)
    row = told.about(crew, make.bottles_of(scene.lot)[0])
    drawn: list[str] = []

    def written(template: str, context: dict[str, object], **_: str) -> bytes:
        drawn.append(render_to_string(template, context))
        return b"%PDF"

    monkeypatch.setattr(prints, "pdf", written)
    documents.complaint_pdf(row.complaint, printed_by="x")
    assert found.code in drawn[0].split("Deviations of the batch")[1]
    assert recall.code in drawn[0]
    assert "too much alkali" in drawn[0]


# ------------------------------------------------------------------ like with like


def test_only_complaints_about_the_same_are_counted_as_a_sign_of_one_cause(
    scene: Scene,
) -> None:
    crew, batch = scene.crew, scene.lot.batch
    row = told.about(crew, make.bottles_of(scene.lot)[0], nature="smell")
    unlike = told.opened(crew, filling_lot=scene.lot, nature="label")
    assert "not the only one" not in words_of(row)
    assert {code: n for code, _, n in leads_of(row).roots}[batch.number] == 1
    like = told.opened(crew, batch=batch, nature="smell")
    leads = leads_of(row)
    assert [one.account for one in leads.others] == [like, unlike]
    assert {code: n for code, _, n in leads.roots}[batch.number] == 2
    assert like.complaint.code in words_of(row)
    assert unlike.complaint.code not in words_of(row)


def test_two_in_which_somebody_was_hurt_are_alike_whatever_they_are_about(
    scene: Scene,
) -> None:
    crew = scene.crew
    row = told.about(
        crew, make.bottles_of(scene.lot)[0], nature="injury", was_hurt=True
    )
    told.opened(crew, filling_lot=scene.lot, nature="leak", was_hurt=True)
    (other,) = leads_of(row).others
    assert other.is_alike


# ------------------------------------------------------------------ who, and the way


def test_where_somebody_was_hurt_what_is_released_still_is_told_of_and_who_may(
    scene: Scene,
) -> None:
    crew, batch = scene.crew, scene.lot.batch
    row = told.about(
        crew, make.bottles_of(scene.lot)[0], nature="injury", was_hurt=True
    )
    paste = batch.charges.order_by("pk")[0].source.batch
    words = words_of(row)
    assert f"2 bottles of {batch.number} are here and may leave" in words
    assert f"Batch {paste.number} is in it and is released" in words
    assert "1 bottle of it is with somebody else." in words
    assert "A reviewer opens one." in words
    with without_triggers():
        Stock.objects.filter(pk=paste.pk).update(on_hand_mg=0)
    assert paste.number not in words_of(row)
    with without_triggers():
        Stock.objects.filter(pk=paste.pk).update(on_hand_mg=1)
    signs = [one.at for one in todo_of(row) if one.do == "Put the batch on hold"]
    assert signs == [
        reverse("quality:sign", args=[number])
        for number in (batch.number, paste.number)
    ]


def test_a_sample_is_tested_for_alkali_where_somebody_was_hurt_and_leads_back(
    scene: Scene,
) -> None:
    crew, bottle = scene.crew, make.bottles_of(scene.lot)[0]
    assert "pH" not in words_of(told.about(crew, bottle))
    row = told.about(crew, bottle, was_hurt=True)
    (todo,) = [one for one in todo_of(row) if one.do == "Look at it"]
    assert "read its pH, or titrate its free alkali" in todo.words
    home = reverse("quality:complaint", args=[row.complaint.code])
    client = Client()
    client.force_login(crew.maker)
    page = page_of(client.get(todo.at))
    sent = {
        "submission": field_value(page, "submission"),
        "state": "as_filled",
        "found": "clear, pH 9.6",
        "look_on": "",
    }
    assert client.post(todo.at, sent).headers["Location"] == home


def looked(scene: Scene, **fields: str) -> SampleLook:
    """Send the form of a look as it is filled in beforehand; return the look."""
    (sample,) = RetainedSample.objects.filter(filling_lot=scene.lot)
    client = Client()
    client.force_login(scene.crew.maker)
    address = reverse("batches:sample_look", args=[scene.lot.code, sample.pk])
    page = page_of(client.get(address))
    sent = {name: field_value(page, name) for name in ("submission", "look_on")}
    client.post(address, {**sent, "found": "as it was", **fields})
    return SampleLook.objects.latest("pk")


def test_a_look_between_keeps_the_day_that_was_set_unless_it_is_gone(
    scene: Scene,
) -> None:
    later = timezone.localdate() + datetime.timedelta(days=20)
    bottling.looked_at(scene.crew, scene.lot, look_on=later)
    assert looked(scene, state="as_filled").look_on == later
    gone = looked(scene, state="gone")
    assert (gone.state, gone.look_on) == ("gone", None)
