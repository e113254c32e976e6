"""The pages of a product's GTINs."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import ItemNumber
from tests import items, make
from tests.batches.test_label_text_pages import filled_in, looked

pytestmark = pytest.mark.django_db


def test_a_number_is_recorded_corrected_and_taken_back(
    client: Client, crew: make.Crew
) -> None:
    formula = make.liquid_version(crew).formula
    page = reverse("batches:item_numbers", args=[formula.pk])
    give = reverse("batches:item_number_give", args=[formula.pk])
    client.force_login(crew.maker)
    words = looked(client, "item_numbers", formula.pk).words
    assert "No GS1 company prefix is recorded" in words
    assert "Record a GTIN" not in words
    items.with_prefix(items.owner())
    assert "No GTIN is recorded" in looked(client, "item_numbers", formula.pk).words
    sent = {"nominal_ul": "0,5 l", "gtin": "4012345 11111 8"}
    where, words = filled_in(client, give, **sent)
    assert where == page
    assert "500 ml" in words
    assert "04012345111118" in words
    row = ItemNumber.objects.get()
    amend = reverse("batches:item_number_amend", args=[row.pk])
    where, words = filled_in(client, amend, gtin="4012345000016", reason="misread")
    assert (where, "corrected: misread" in words) == (page, True)
    newest = ItemNumber.objects.latest("pk")
    void = reverse("batches:item_number_void", args=[newest.pk])
    where, words = filled_in(client, void, reason="never allotted")
    assert (where, "taken back: never allotted" in words) == (page, True)


def test_a_wrong_number_is_said_at_its_field(client: Client, crew: make.Crew) -> None:
    items.with_prefix(items.owner())
    formula = make.liquid_version(crew).formula
    client.force_login(crew.maker)
    give = reverse("batches:item_number_give", args=[formula.pk])
    where, words = filled_in(client, give, nominal_ul="500 ml", gtin="4012345111119")
    assert where == give
    assert "The last digit does not fit the others" in words
    assert not ItemNumber.objects.exists()


def test_the_formula_leads_to_them_and_a_reviewer_only_reads(
    client: Client, crew: make.Crew
) -> None:
    items.with_prefix(items.owner())
    formula = make.liquid_version(crew).formula
    items.given(crew, formula)
    client.force_login(crew.reviewer)
    address = reverse("batches:item_numbers", args=[formula.pk])
    links = {
        a.get("href") for a in looked(client, "formula", formula.pk).attributes("a")
    }
    assert address in links
    page = looked(client, "item_numbers", formula.pk)
    assert "Correct" not in page.words
    assert items.number(11111) in page.words
