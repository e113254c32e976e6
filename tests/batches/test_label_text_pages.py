"""The pages on which the text of a label is written, read, approved and withdrawn."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Classification, LabelDecision, LabelVersion
from batches.services import label_texts as service
from tests import make
from tests.doors.pages import Page, page_of
from tests.label_texts import AUGEN, EYE_DAMAGE, approved, classified, written

pytestmark = pytest.mark.django_db


def looked(client: Client, name: str, *where: str | int) -> Page:
    response = client.get(reverse(f"batches:{name}", args=where))
    assert response.status_code == 200
    return page_of(response)


def filled_in(client: Client, address: str, **fields: str) -> tuple[str, str]:
    """Send the form of a page with these fields; return where it led, and the words."""
    form = client.get(address).context["form"]
    begun = {
        name: form.get_initial_for_field(field, name)
        for name, field in form.fields.items()
    }
    sent = {
        name: str(value)
        for name, value in begun.items()
        if value not in (None, "", False)
    }
    response = client.post(address, {**sent, **fields}, follow=True)
    return response.request["PATH_INFO"], page_of(response).words


def test_without_a_text_the_page_says_what_to_do(
    client: Client, crew: make.Crew
) -> None:
    formula = make.liquid_version(crew).formula
    client.force_login(crew.maker)
    page = looked(client, "label_texts", formula.pk)
    assert "There is no text in this language yet." in page.words
    assert "Nobody has recorded a hazard class." in page.words
    assert "Rules differ by place and change." in page.words
    links = {link.get("href") for link in page.attributes("a")}
    for language in ("en", "de"):
        where = [formula.pk, language]
        assert reverse("batches:label_text_write", args=where) in links
    client.force_login(crew.reviewer)
    assert "A maker writes it." in looked(client, "label_texts", formula.pk).words
    formula_page = looked(client, "formula", formula.pk)
    assert reverse("batches:label_texts", args=[formula.pk]) in {
        link.get("href") for link in formula_page.attributes("a")
    }


def test_the_first_text_begins_with_what_the_formula_says(
    client: Client, crew: make.Crew
) -> None:
    version = make.liquid_version(
        crew, directions="30 ml for a load.", cautions="Mind white wool."
    )
    client.force_login(crew.maker)
    address = reverse("batches:label_text_write", args=[version.formula_id, "de"])
    page = page_of(client.get(address))
    assert {"de"} == {
        area["lang"] for area in page.attributes("textarea") if "lang" in area
    }
    assert "30 ml for a load." in page.words
    assert "reason" not in {field.get("name") for field in page.attributes("input")}
    where, words = filled_in(client, address, doses="on", product_name="Flüssigseife")
    label = LabelVersion.objects.get()
    assert where == reverse("batches:label_text", args=[version.formula_id, "de", 1])
    assert "A reviewer now approves it." in words
    assert (label.product_name, label.directions, label.cautions, label.doses) == (
        "Flüssigseife",
        "30 ml for a load.",
        "Mind white wool.",
        True,
    )


def test_the_next_one_begins_with_the_former_and_asks_why(
    client: Client, crew: make.Crew
) -> None:
    classified(crew)
    wordings = list(Classification.objects.order_by("pk"))
    former = written(
        crew, language="de", classification=wordings[1], cautions="Nicht für Seide."
    )
    client.force_login(crew.maker)
    address = reverse("batches:label_text_write", args=[former.formula_id, "de"])
    _, words = filled_in(client, address, directions="40 ml.")
    assert "This is needed." in words
    filled_in(client, address, directions="40 ml.", reason="härteres Wasser")
    label = LabelVersion.objects.get(version=2)
    assert label.cautions == "Nicht für Seide."
    assert label.classification == wordings[1]
    assert label.reason == "härteres Wasser"


def test_the_text_is_shown_as_it_reads_in_its_language(
    client: Client, crew: make.Crew
) -> None:
    rows = classified(crew)
    label = written(
        crew,
        language="de",
        product_name="Flüssigseife",
        directions="30 ml je Füllung.",
        doses=True,
        classification=rows[1],
    )
    client.force_login(crew.reviewer)
    page = looked(client, "label_text", label.formula_id, "de", 1)
    assert {"lang": "de", "class": "label-text"} in page.attributes("section")
    for words in (
        "Flüssigseife",
        "30 ml je Füllung.",
        "Nie in Getränkeflaschen füllen.",
        "Gefahr",
        AUGEN,
        "weich … · mittel … · hart …",
        "Giftnotruf 555 0199",
        "not approved yet",
    ):
        assert words in page.words
    assert EYE_DAMAGE not in page.words


def test_a_spray_says_that_it_is_for_own_use_until_an_authority_gave_a_number(
    client: Client, crew: make.Crew
) -> None:
    spray = make.spray_version(crew).formula
    label = written(crew, spray, directions="Against aphids.")
    client.force_login(crew.reviewer)
    page = looked(client, "label_text", spray.pk, "en", 1)
    assert "Not for sale or gift." in page.words
    assert "What stands against" not in page.words
    assert label.formula == spray


def test_scenario_29_on_screen_the_words_found_are_listed_and_nothing_is_approved(
    client: Client, crew: make.Crew
) -> None:
    label = written(crew, directions="Kills aphids and Blattläuse.")
    where: list[str | int] = [label.formula_id, "en", 1]
    client.force_login(crew.reviewer)
    for name in ("label_text", "label_text_approve"):
        page = looked(client, name, *where)
        assert "“Kills”, “aphids”, “Blattläuse”" in page.words
        assert "Rules differ by place and change." in page.words
        assert "you have not recorded when you last checked" in page.words.lower()
    approve = reverse("batches:label_text_approve", args=where)
    assert approve not in {
        link.get("href")
        for link in looked(client, "label_text", *where).attributes("a")
    }
    _, words = filled_in(client, approve)
    assert "Not recorded yet" in words
    assert "biocidal product before the law" in words
    assert not LabelDecision.objects.exists()


def test_approving_and_withdrawing(client: Client, crew: make.Crew) -> None:
    first = approved(crew)
    second = written(crew, directions="40 ml for a load.", reason="harder water")
    where = [first.formula_id, "en", 2]
    client.force_login(crew.reviewer)
    led, words = filled_in(client, reverse("batches:label_text_approve", args=where))
    assert led == reverse("batches:label_text", args=where)
    assert "approved, printed" in words
    assert service.approved(first.formula, "en") == second
    states = looked(client, "label_texts", first.formula_id).words
    assert "approved before" in states
    withdraw = reverse("batches:label_text_withdraw", args=where)
    assert (
        "Version 1 is approved and is printed instead."
        in page_of(client.get(withdraw)).words
    )
    _, words = filled_in(client, withdraw, reason="wrong dose")
    assert "withdrawn" in words
    assert "wrong dose" in words
    assert service.approved(first.formula, "en") == first
    withdraw = reverse("batches:label_text_withdraw", args=[first.formula_id, "en", 1])
    words = page_of(client.get(withdraw)).words
    assert "No other text in this language may be printed." in words


def test_the_class_is_recorded_and_the_text_with_another_one_is_marked(
    client: Client, crew: make.Crew
) -> None:
    label = approved(crew)
    client.force_login(crew.maker)
    address = reverse("batches:classify", args=[label.formula_id])
    fields = {
        "signal": "danger",
        "statements_en": EYE_DAMAGE,
        "statements_de": AUGEN,
        "basis": "data sheet of the paste",
    }
    _, words = filled_in(client, address, **{**fields, "basis": ""})
    assert "This is needed." in words
    where, words = filled_in(client, address, **fields)
    assert where == reverse("batches:label_texts", args=[label.formula_id])
    assert "hazard class changed since" in words
    assert EYE_DAMAGE in words
    assert AUGEN in words
    page = looked(client, "label_text", label.formula_id, "en", 1)
    assert "The hazard class recorded last is not the one in this text." in page.words


@pytest.mark.parametrize("language", ["fr", "EN", "xx"])
def test_a_language_without_words_is_not_there(
    client: Client, crew: make.Crew, language: str
) -> None:
    label = written(crew)
    client.force_login(crew.maker)
    for name, where in (
        ("label_text_write", [label.formula_id, language]),
        ("label_text", [label.formula_id, language, 1]),
    ):
        address = reverse(f"batches:{name}", args=where)
        assert client.get(address).status_code == 404
