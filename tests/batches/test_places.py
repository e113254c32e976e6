"""Where bottles stand."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import BottleEvent
from batches.services import places
from producer.errors import Refusal
from producer.models import Place
from quality.services.verification import rows
from quality.services.verification.checks import quiet
from tests import hands, make

pytestmark = pytest.mark.django_db


@pytest.fixture
def cellar() -> Place:
    return Place.objects.create(name="Cellar", conditions="frost-free")


def test_bottles_put_in_a_place_stand_there(crew: make.Crew, cellar: Place) -> None:
    lot = make.filled(crew, count=3, nominal_ul=250_000)
    first, second, _ = make.bottles_of(lot)
    assert places.put(by=crew.maker, bottles=[first, second], place=cellar) == 2
    found = [(one.place, one.lot, one.bottles) for one in places.stock_by_place()]
    assert found == [("Cellar", lot, 2), (places.NOWHERE, lot, 1)]
    event = BottleEvent.objects.filter(bottle=first).latest("pk")
    assert (event.old, event.new, event.place) == ("filled", "filled", cellar)


def test_what_stands_there_already_is_not_moved_again(
    crew: make.Crew, cellar: Place
) -> None:
    bottles = make.bottles_of(make.filled(crew))
    places.put(by=crew.maker, bottles=bottles[:1], place=cellar)
    assert places.put(by=crew.maker, bottles=bottles, place=cellar) == 1
    with pytest.raises(Refusal, match="already"):
        places.put(by=crew.maker, bottles=bottles, place=cellar)


def test_a_destroyed_bottle_stands_nowhere(crew: make.Crew, cellar: Place) -> None:
    (first, *_) = make.bottles_of(make.filled(crew))
    hands.moved(crew.maker, first, BottleStatus.DESTROYED, "it broke")
    with pytest.raises(Refusal, match="stands nowhere"):
        places.put(by=crew.maker, bottles=[first], place=cellar)
    assert [one.bottles for one in places.stock_by_place()] == [1]


def test_a_place_out_of_use_takes_nothing(crew: make.Crew, cellar: Place) -> None:
    cellar.in_use = False
    cellar.save()
    with pytest.raises(Refusal, match="not in use"):
        places.put(
            by=crew.maker, bottles=make.bottles_of(make.filled(crew)), place=cellar
        )


def test_the_journal_answers_for_the_place_of_a_bottle(crew: make.Crew) -> None:
    cellar = hands.place(crew)
    (first, *_) = make.bottles_of(make.filled(crew))
    places.put(by=crew.maker, bottles=[first], place=cellar)
    assert not list(rows.faults(quiet))


def test_the_page_moves_a_range(client: Client, crew: make.Crew, cellar: Place) -> None:
    lot = make.filled(crew, count=3, nominal_ul=250_000)
    client.force_login(crew.maker)
    page = client.get(reverse("batches:place_put"))
    answer = client.post(
        reverse("batches:place_put"),
        {
            "place": cellar.pk,
            "filling_lot": lot.code.lower(),
            "first": 2,
            "last": 3,
            "submission": page.context["form"]["submission"].value(),
        },
        follow=True,
    )
    assert "2 bottles moved" in answer.content.decode()
    assert "Cellar" in answer.content.decode()
