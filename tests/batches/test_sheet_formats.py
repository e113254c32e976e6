"""Label stock of one's own: described in millimetres, edited without lost updates."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from batches.forms.sheet_formats import SheetFormatForm
from batches.models import SheetFormat
from batches.services.sheet_formats import LENGTHS, all_formats, save_format
from batches.sheets import USUAL, Sheet
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises
from producer.services.registers import fingerprint
from tests import make

pytestmark = pytest.mark.django_db

# A sheet of 3 × 7 labels, measured with a ruler: 63.5 × 38.1 mm, gaps of 2.5 mm.
MEASURED: dict[str, Any] = {
    "name": "shelf labels, 21",
    "page_width": 21000,
    "page_height": 29700,
    "across": 3,
    "down": 7,
    "width": 6350,
    "height": 3810,
    "left": 725,
    "top": 1515,
    "pitch_across": 6600,
    "pitch_down": 3810,
}
TYPED = {
    **{key: str(value) for key, value in MEASURED.items()},
    **{key: f"{MEASURED[key] / 100:.2f}" for key in LENGTHS},
    "in_use": "on",
}


def own(crew: make.Crew, **changes: Any) -> SheetFormat:
    return save_format(by=crew.maker, entry=SheetFormat(**{**MEASURED, **changes}))


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def form_of(browser: Client, address: str) -> dict[str, str]:
    page = browser.get(address).content.decode()
    hidden = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page)
    return {name: value for name, value in hidden if name in {"submission", "seen"}}


def test_ones_own_format_stands_behind_the_usual_ones(crew: make.Crew) -> None:
    assert all_formats() == list(USUAL)
    kept = own(crew)
    assert all_formats() == [*USUAL, Sheet(**MEASURED)]
    row = JournalEntry.objects.latest("sequence")
    assert (row.act, row.subject_label) == ("label format registered", kept.name)


def test_what_is_out_of_use_is_not_offered_and_stays(crew: make.Crew) -> None:
    entry = own(crew)
    entry.in_use = False
    save_format(by=crew.maker, entry=entry, seen=fingerprint(own_again(entry)))
    assert all_formats() == list(USUAL)
    assert SheetFormat.objects.get().name == entry.name
    assert JournalEntry.objects.latest("sequence").act == "label format changed"


def own_again(entry: SheetFormat) -> SheetFormat:
    return SheetFormat.objects.get(pk=entry.pk)


def test_what_somebody_changed_meanwhile_is_not_overwritten(crew: make.Crew) -> None:
    entry = own(crew)
    seen = fingerprint(own_again(entry))
    other = own_again(entry)
    other.top = 1600
    save_format(by=crew.maker, entry=other, seen=seen)
    entry.left = 700
    with pytest.raises(Conflict, match="Somebody changed this format"):
        save_format(by=crew.maker, entry=entry, seen=seen)
    assert (own_again(entry).top, own_again(entry).left) == (1600, 725)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"pitch_across": 6349}, "pitch_across"),
        ({"down": 8}, "page_height"),
        ({"width": 999}, "width"),
        ({"name": USUAL[0].name.upper()}, "name"),
    ],
)
def test_what_cannot_be_printed_on_is_refused_beside_its_field(
    crew: make.Crew, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(Refusal) as refused:
        own(crew, **changes)
    assert refused.value.field == field
    assert not SheetFormat.objects.exists()


def test_two_formats_have_two_names(crew: make.Crew) -> None:
    own(crew)
    with pytest.raises(ValidationError, match="already exists"):
        own(crew)


def test_only_a_maker_describes_stock(crew: make.Crew) -> None:
    with pytest.raises(PermissionDenied):
        save_format(by=crew.reviewer, entry=SheetFormat(**MEASURED))


@pytest.mark.parametrize("mark", [".", ","])
def test_lengths_are_typed_in_millimetres_with_comma_or_point(
    browser: Client, mark: str
) -> None:
    Premises.objects.update(decimal_mark=mark)
    address = reverse("batches:label_format_new")
    typed = {key: value.replace(".", mark) for key, value in TYPED.items()}
    answer = browser.post(address, {**form_of(browser, address), **typed}, follow=True)
    assert "is registered" in answer.content.decode()
    kept = SheetFormat.objects.get()
    assert Sheet.like(kept) == Sheet(**MEASURED)
    page = browser.get(reverse("batches:label_format", args=[kept.pk]))
    assert f'value="63{mark}5"' in page.content.decode()
    # What is shown can be sent back as it is.
    form = SheetFormatForm(instance=kept)
    shown = {name: str(form[name].value()) for name in LENGTHS}
    again = SheetFormatForm(
        {**typed, **form_of(browser, address), **shown}, instance=kept
    )
    assert again.is_valid(), again.errors
    assert Sheet.like(again.instance) == Sheet(**MEASURED)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("width", "63,555", "more than 2 decimals"),
        ("page_width", "0", "is not between"),
        ("left", "-1", "is not between"),
        ("pitch_down", "38 mm", "is not one number"),
    ],
)
def test_a_length_that_cannot_be_is_said_beside_it(
    browser: Client, field: str, typed: str, said: str
) -> None:
    address = reverse("batches:label_format_new")
    sent = {**form_of(browser, address), **TYPED, field: typed}
    page = browser.post(address, sent).content.decode()
    assert said in page
    assert not SheetFormat.objects.exists()


def test_the_list_draws_each_page_with_its_labels(
    browser: Client, crew: make.Crew
) -> None:
    kept = own(crew)
    page = browser.get(reverse("batches:label_formats")).content.decode()
    for sheet in (*USUAL, Sheet(**MEASURED)):
        assert sheet.name in page
    drawn = page.count('class="label"')
    assert drawn == sum(sheet.on_a_page for sheet in USUAL) + 21
    assert 'viewBox="0 0 21000 29700"' in page
    assert 'x="725" y="1515" width="6350" height="3810"' in page
    assert reverse("batches:label_format", args=[kept.pk]) in page
    assert "style=" not in page


def test_a_format_out_of_use_says_so(browser: Client, crew: make.Crew) -> None:
    own(crew, in_use=False)
    assert (
        "Out of use" in browser.get(reverse("batches:label_formats")).content.decode()
    )
