"""The first steps of a new premises: they stay until the first batch is opened."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.services import formulas
from producer.models import Instrument
from quality.services.today import due, first_steps
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def open_ones() -> list[str]:
    return [step.words for step in first_steps() if not step.is_done]


def test_each_step_is_ticked_by_what_it_asks_for(crew: make.Crew) -> None:
    def is_open(words: str) -> bool:
        (step,) = [one for one in first_steps() if words in one.words]
        return not step.is_done

    assert len(open_ones()) >= 11
    make.supplier(crew.maker)
    assert not is_open("Register a supplier")
    make.potash(crew.maker)
    make.sunflower(crew.maker)
    assert is_open("potash, oils, water")
    make.water(crew.maker)
    assert not is_open("potash, oils, water")
    make.scale(crew.maker)
    assert is_open("its check weight")
    make.registered(
        crew.maker, Instrument(kind="check_weight", name="5 kg", nominal=Decimal(5000))
    )
    assert not is_open("its check weight")
    make.thermometer(crew.maker)
    assert not is_open("thermometer")
    make.strips(crew.maker)
    assert not is_open("pH strips")
    make.vessel(crew.maker)
    assert not is_open("vessel")
    make.held_lot(crew, make.water(crew.maker))
    assert (is_open("Receive the first"), is_open("Release them")) == (False, True)
    make.released_lot(crew, make.water(crew.maker))
    assert not is_open("Release them")
    assert is_open("Open the first batch")


def test_a_formula_without_limits_is_said_until_they_are_set(
    crew: make.Crew,
) -> None:
    assert "Set the limits of the formula" in " ".join(open_ones())
    bare = formulas.write_formula(
        by=crew.maker,
        name="Winter paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Winter paste", shelf_life_days=365),
        lines=make.paste_lines(crew.maker),
    )
    assert "Set the limits of the formula" in " ".join(open_ones())
    (kind,) = [one for one in due(make.TODAY) if one.slug == "limits"]
    assert [row.name for row in kind.rows] == [bare.formula.name]
    assert kind.rows[0].do_at == reverse("quality:limits", args=[bare.pk])
    assert "pH" in kind.rows[0].words
    make.set_limits(crew.reviewer, bare)
    assert "limits" not in {one.slug for one in due(make.TODAY)}
    assert "Set the limits of the formula" not in " ".join(open_ones())


def test_they_stay_on_the_page_until_a_batch_is_opened(
    crew: make.Crew, client: Client
) -> None:
    make.potash(crew.maker)
    client.force_login(crew.maker)
    page = client.get("/")
    assert "The first steps" in page_of(page).words
    # What somebody else has to do is told, and not linked.
    assert f'href="{reverse("producer:premises")}"' not in page.text
    make.open_batch(crew)
    assert first_steps() == []
    assert "The first steps" not in page_of(client.get("/")).words


def test_what_to_begin_and_the_pot_are_one_tap_from_the_top(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    page = client.get("/").text
    assert 'href="#begin"' in page
    assert 'id="begin"' in page
    assert 'href="#pot"' not in page
    make.charge_all(crew, make.open_batch(crew))
    page = client.get("/").text
    assert page.index('href="#pot"') < page.index('id="pot"')
