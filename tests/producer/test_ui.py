"""The parts of a page: states in words, groups of fields, what is wrong and where."""

from __future__ import annotations

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.template import Context, Template, TemplateDoesNotExist
from django.template.loader import render_to_string

from producer.templatetags import ui


class Ambiguous(forms.CharField):
    unit = "g"

    def clean(self, value: str) -> str:
        raise ValidationError(
            "Which one?", code="ambiguous", params={"readings": ("1.25", "1250")}
        )


class Weighing(forms.Form):
    groups = (("The scale", ("gross",)),)
    secret = forms.UUIDField(widget=forms.HiddenInput)
    clarity = forms.ChoiceField(
        widget=forms.RadioSelect, choices=[("clear", "Clear"), ("cloudy", "Cloudy")]
    )
    gross = Ambiguous(help_text="With the vessel.")

    def clean(self) -> None:
        raise ValidationError("The whole does not hold together.")


@pytest.fixture
def refused() -> Weighing:
    return Weighing({"gross": "1,250"})


def test_a_status_is_a_word_and_a_shape() -> None:
    drawn = ui.status_html("quarantine")
    assert "held" in drawn
    assert "<svg" in drawn
    assert ui.status_html("on_hold", "halted").endswith("halted</span>")


def test_a_status_nobody_foresaw_still_shows_its_word() -> None:
    assert "never_seen".replace("_", " ") in ui.status_html("never_seen")


def test_the_word_of_a_status_cannot_carry_markup() -> None:
    assert "<script>" not in ui.status_html("released", "<script>")


def test_fields_stand_in_the_groups_the_form_names_and_the_rest_follow() -> None:
    groups = [
        (heading, [field.name for field in fields])
        for heading, fields in ui.field_groups(Weighing())
    ]
    assert groups == [("The scale", ["gross"]), ("", ["clarity"])]


def test_a_group_that_names_an_unknown_field_is_an_error() -> None:
    form = Weighing()
    form.groups = (("The scale", ("net",)),)
    with pytest.raises(KeyError):
        ui.field_groups(form)


def test_complaints_name_the_whole_first_and_lead_to_the_input(
    refused: Weighing,
) -> None:
    complaints = ui.complaints(refused)
    assert complaints[0] == ("", "", "The whole does not hold together.")
    assert {address for address, _, _ in complaints} == {
        "",
        "id_clarity_0",
        "id_gross",
    }


def test_every_complaint_leads_to_something_on_the_page(refused: Weighing) -> None:
    page = render_to_string("_form.html", {"form": refused, "submit": "Record"})
    for address, _, _ in ui.complaints(refused):
        assert not address or f'id="{address}"' in page


def test_help_and_refusal_are_tied_to_the_input(refused: Weighing) -> None:
    page = render_to_string("_form.html", {"form": refused, "submit": "Record"})
    assert 'aria-describedby="id_gross_helptext id_gross_error"' in page
    assert 'id="id_gross_helptext"' in page
    assert 'id="id_gross_error"' in page
    assert 'aria-describedby="id_clarity_error"' in page
    assert page.count('name="secret"') == 1


def test_both_readings_of_an_ambiguous_number_are_offered(refused: Weighing) -> None:
    page = render_to_string("_form.html", {"form": refused, "submit": "Record"})
    assert 'data-fill="1.25"' in page
    assert 'data-fill="1250"' in page
    assert ui.readings(refused["clarity"]) == []


def test_the_unit_is_seen_beside_the_number_and_said_with_the_label() -> None:
    page = render_to_string("_form.html", {"form": Weighing(), "submit": "Record"})
    assert "(in g)" in page


@pytest.mark.parametrize(
    ("path", "address", "said"),
    [
        ("/lots/", "/lots/", "page"),
        ("/lots/OIL-7/", "/lots/", "true"),
        ("/lots/", "/", ""),
        ("/batches/", "/lots/", ""),
    ],
)
def test_the_place_we_are_in_is_said(path: str, address: str, said: str) -> None:
    assert ui.here(path, address) == said


@pytest.mark.parametrize(
    "hazard",
    [
        "potash",
        "first_aid",
        "hot_work",
        "acid",
        "unreleased",
        "product",
        "spray",
        "waste",
        "transport",
        pytest.param("legal", marks=pytest.mark.django_db),  # names what was checked
    ],
)
def test_each_hazard_has_its_caution(hazard: str) -> None:
    page = Template('{% include "_caution.html" %}').render(Context({"hazard": hazard}))
    assert "<strong>" in page


def test_a_hazard_without_a_text_is_an_error_and_not_an_empty_box() -> None:
    with pytest.raises(TemplateDoesNotExist, match="cautions/fog"):
        Template('{% include "_caution.html" %}').render(Context({"hazard": "fog"}))
