"""Samples kept of a filling lot: they stay, and are looked at on their day."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, FillingLot, RetainedSample
from batches.services import filling, samples
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Place
from tests import bottling, hands, make


def kept(crew: make.Crew, lot: FillingLot, **changes: Any) -> RetainedSample:
    """Keep the first bottle of a lot, unless told otherwise."""
    facts = {
        "place": bottling.shelf(crew),
        "bottle": make.bottles_of(lot)[0],
        **changes,
    }
    return samples.retain(by=crew.maker, filling_lot=lot, **facts)


@pytest.mark.django_db
def test_a_bottle_that_is_kept_never_leaves_any_more(crew: make.Crew) -> None:
    lot = bottling.bottled(crew)
    row = kept(crew, lot, look_on=make.TODAY + datetime.timedelta(days=30))
    bottle = Bottle.objects.get(sample=row)
    assert (bottle.status, bottle.place) == ("retained", row.place)
    event = BottleEvent.objects.latest("pk")
    assert (event.old, event.new, event.place) == ("filled", "retained", row.place)
    with pytest.raises(Conflict):
        filling.change_bottles(
            by=crew.maker, bottles=[bottle], new=BottleStatus.DISPATCHED, reason="sold"
        )
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.subject_label) == ("sample retained", lot.code)
    hands.moved(crew.maker, bottle, "destroyed", "looked at, thrown away")


@pytest.mark.django_db
def test_a_jar_holds_no_more_than_was_taken(crew: make.Crew) -> None:
    lot = make.filled(crew, sample_mg=30_000)
    jar = kept(crew, lot, bottle=None, mass_mg=20_000)
    assert samples.in_jars(lot) == 20_000
    with pytest.raises(Refusal, match="10 g are in no jar yet") as caught:
        kept(crew, lot, bottle=None, mass_mg=10_001)
    assert caught.value.field == "mass_mg"
    kept(crew, lot, bottle=None, mass_mg=10_000)
    assert samples.left_for_jars(lot) == 0
    assert jar.bottle is None


@pytest.mark.django_db
def test_what_cannot_be_kept_is_refused(crew: make.Crew) -> None:
    lot, other = make.filled(crew, sample_mg=9_000), make.filled(crew, count=1)
    stranger = make.bottles_of(other)[0]
    first, second = make.bottles_of(lot)
    Bottle.objects.filter(pk=second.pk).update(status="on_hold")
    gone = Place.objects.create(name="old barn", in_use=False)
    for facts, field in (
        ({"bottle": stranger}, "bottle"),
        ({"bottle": second}, "bottle"),
        ({"bottle": None}, "bottle"),
        ({"mass_mg": 5}, "bottle"),
        ({"bottle": None, "mass_mg": 0}, "mass_mg"),
        ({"bottle": None, "mass_mg": -5}, "mass_mg"),
        ({"look_on": make.TODAY}, "look_on"),
        ({"place": gone}, "place"),
    ):
        with pytest.raises(Refusal) as caught:
            kept(crew, lot, **facts)
        assert caught.value.field == field, facts
    assert not RetainedSample.objects.exists()
    with pytest.raises(PermissionDenied):
        samples.retain(
            by=crew.reviewer,
            filling_lot=lot,
            bottle=first,
            place=bottling.shelf(crew),
        )
    kept(crew, lot)
    with pytest.raises(Refusal, match="retained"):
        kept(crew, lot)


@pytest.mark.django_db
def test_the_page_keeps_a_bottle(crew: make.Crew, client: Client) -> None:
    lot = make.filled(crew)
    shelf = bottling.shelf(crew)
    client.force_login(crew.maker)
    address = reverse("batches:sample", args=[lot.code])
    page = client.get(address)
    first = make.bottles_of(lot)[0]
    done = client.post(
        address,
        {
            "submission": page.context["form"]["submission"].value(),
            "bottle": first.code,
            "place": shelf.pk,
            "look_on": (make.TODAY + datetime.timedelta(days=9)).isoformat(),
            "note": "from the middle of the run",
        },
        follow=True,
    )
    text = done.content.decode()
    assert "The sample is kept." in text
    assert "from the middle of the run" in text
    assert RetainedSample.objects.get().bottle == first
