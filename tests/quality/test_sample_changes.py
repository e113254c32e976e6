"""A sample that changed: told on its lot, in the release, on the record and outside."""

from __future__ import annotations

import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import FillingLot
from batches.services import samples
from producer.errors import Refusal
from producer.models import Premises, User
from quality.documents import dossier
from quality.services import sample_changes
from quality.services.export_tables import TABLES
from tests import bottling, make
from tests.quality import faulty

pytestmark = pytest.mark.django_db
CLOUDY = "cloudy, in two layers"


def shown(client: Client, user: User, lot: FillingLot) -> str:
    """Return the page of a lot as somebody sees it."""
    client.force_login(user)
    page = client.get(reverse("batches:filling_lot", args=[lot.code]))
    return page.content.decode()


def test_the_page_of_the_lot_says_that_it_changed_and_leads_on(
    crew: make.Crew, client: Client, auditor: User
) -> None:
    lot = bottling.bottled(crew)
    bottling.looked_at(crew, lot)
    heading = "A sample of it changed"
    assert heading not in shown(client, crew.maker, lot)
    bottling.looked_at(crew, lot, "changed", found=CLOUDY)
    opens = reverse("quality:deviation_open", args=[lot.batch.number])
    holds = f"{reverse('quality:bottles_move')}?filling_lot={lot.code}"
    for user in (crew.maker, crew.reviewer):
        text = shown(client, user, lot)
        assert heading in text
        assert "2 are here and not on hold, 0 are with somebody else." in text
        assert f'href="{opens}"' in text
        assert f'href="{holds}"' in text
        for address in (opens, holds):
            assert client.get(address).status_code == 200
    text = shown(client, auditor, lot)
    assert heading in text
    assert "This is for a maker or a reviewer." in text
    assert opens not in text


def test_a_deviation_takes_it_up_and_is_shown_in_place_of_the_call_for_one(
    crew: make.Crew, client: Client
) -> None:
    lot = bottling.bottled(crew)
    faulty.closed(crew, lot.batch, "ph", "no_effect")  # of before, about the pH
    bottling.looked_at(crew, lot, "changed", found=CLOUDY)
    found = sample_changes.changes_of(lot)
    assert found is not None
    assert (found.is_taken_up, found.known) == (False, [])
    critical = faulty.deviation(
        crew.maker, lot.batch.stock, classification="critical", what=CLOUDY
    )
    found = sample_changes.changes_of(lot)
    assert found is not None
    assert (found.is_taken_up, [one.code for one in found.known]) == (
        True,
        [critical.code],
    )
    assert found.here == 0  # a critical one holds them
    text = shown(client, crew.maker, lot)
    assert reverse("quality:deviation", args=[critical.code]) in text
    assert "Open a deviation of the batch" not in text
    assert "Put bottles on hold" not in text


def test_a_deviation_that_is_open_already_takes_it_up_too(crew: make.Crew) -> None:
    lot = bottling.bottled(crew)
    faulty.deviation(crew.maker, lot.batch.stock)
    bottling.looked_at(crew, lot, "changed", found=CLOUDY)
    found = sample_changes.changes_of(lot)
    assert found is not None
    assert found.is_taken_up
    assert len(found.known) == 1


def test_of_a_lot_whose_samples_are_as_they_were_nothing_is_said(
    crew: make.Crew,
) -> None:
    lot, other = bottling.bottled(crew), bottling.bottled(crew)
    bottling.looked_at(crew, other, "changed")
    faulty.deviation(crew.maker, lot.batch.stock)  # of another batch
    assert sample_changes.changes_of(lot) is None
    assert [one.sample.filling_lot for one in sample_changes.not_taken_up()] == [other]


def test_a_lot_with_a_changed_sample_is_released_with_a_word_about_it(
    crew: make.Crew, client: Client
) -> None:
    lot = bottling.ready(crew)
    row = bottling.looked_at(crew, lot, "changed", found=CLOUDY)
    client.force_login(crew.reviewer)
    page = client.get(reverse("quality:fill_release", args=[lot.code]))
    text = page.content.decode()
    assert 'id="changed-heading"' in text
    assert CLOUDY in text
    assert "as they should be" not in text
    with pytest.raises(Refusal, match="A sample of it changed") as caught:
        bottling.released(crew, lot)
    assert caught.value.field == "note"
    samples.amend_look(by=crew.reviewer, row=row, void=True, reason="another jar")
    bottling.released(crew, lot)
    other = bottling.ready(crew)
    bottling.looked_at(crew, other, "changed", found="a shade darker")
    assert bottling.released(crew, other, "the colour alone").note


def test_who_looked_at_a_sample_still_releases_the_lot(crew: make.Crew) -> None:
    lot = bottling.ready(crew)
    samples.look(
        by=crew.reviewer, sample=lot.samples.get(), state="as_filled", found="clear"
    )
    assert not bottling.released(crew, lot).self_reviewed


def test_the_record_on_the_page_and_on_paper_names_it(
    crew: make.Crew, client: Client
) -> None:
    lot = bottling.bottled(crew)
    number = lot.batch.number
    client.force_login(crew.reviewer)
    review = reverse("quality:review", args=[number])
    words = f"A sample kept of {lot.code} changed: {CLOUDY}"
    assert words not in client.get(review).content.decode()
    row = bottling.looked_at(crew, lot, "changed", found="cloudy")
    samples.amend_look(
        by=crew.maker, row=row, state="changed", found=CLOUDY, reason="more words"
    )
    assert words in client.get(review).content.decode()
    batch = make.fresh(lot.batch)
    paper = render_to_string(
        "quality/dossier.html",
        {**dossier.context_of(batch), "premises": Premises.objects.get()},
    )
    assert words in paper
    assert f"by Mirja Aalto, changed: {CLOUDY} (corrected from" in paper
    assert "to be looked at on" not in paper  # no next day was set


def test_the_looks_leave_with_the_batch_superseded_ones_too(crew: make.Crew) -> None:
    lot, other = bottling.bottled(crew), bottling.bottled(crew)
    bottling.looked_at(crew, other)
    first = bottling.looked_at(crew, lot, "changed", found="cloudy")
    samples.amend_look(by=crew.reviewer, row=first, void=True, reason="another jar")
    (table,) = (one for one in TABLES if one.name == "sample_looks")
    rows = [dict(zip(table.head, row, strict=True)) for row in table.rows(lot.batch)]
    assert [
        (one["sample"], one["state"], one["found"], one["supersedes"]) for one in rows
    ] == [
        (first.sample_id, "changed", "cloudy", None),
        (first.sample_id, "changed", "", first.pk),
    ]
    assert [one["is_taken_back"] for one in rows] == [False, True]
    assert rows[1]["reason"] == "another jar"


def test_the_page_of_the_lot_asks_as_often_for_ten_looks_as_for_two(
    crew: make.Crew, client: Client
) -> None:
    lot = bottling.bottled(crew)

    def asked() -> int:
        shown(client, crew.maker, lot)
        with CaptureQueriesContext(connection) as queries:
            shown(client, crew.maker, lot)
        return len(queries)

    for _ in range(2):
        bottling.looked_at(crew, lot, "changed")
    few = asked()
    for _ in range(8):
        row = bottling.looked_at(crew, lot, "changed")
        samples.amend_look(
            by=crew.maker, row=row, state="changed", found="x", reason="words"
        )
    assert asked() == few
