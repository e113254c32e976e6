"""Texts that are longer than anybody reads, and what they would cost."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django import forms

from producer.codes import code_within, normalise
from producer.forms.base import LONGEST_TEXT, ActForm
from producer.forms.registers import SupplierForm


class Telling(ActForm):
    note = forms.CharField()
    short = forms.CharField(max_length=3)


def told(**texts: str) -> Telling:
    return Telling({"note": "fine", "short": "abc", **texts})


def test_a_text_without_a_longest_length_has_one() -> None:
    assert "note" not in told(note="x" * LONGEST_TEXT).errors
    (said,) = told(note="x" * (LONGEST_TEXT + 1)).errors["note"]
    assert str(said).startswith("At most 5000 signs; these are 5001.")


def test_a_length_of_its_own_stays() -> None:
    assert told(short="abcd").errors["short"]


@pytest.mark.django_db
def test_so_has_the_note_of_a_register() -> None:
    form = SupplierForm({"name": "Fenwick", "note": "x" * (LONGEST_TEXT + 1)})
    assert "At most 5000 signs" in form.errors["note"][0]


@pytest.mark.parametrize("read", [code_within, normalise])
def test_a_very_long_text_is_read_in_one_pass(read: Callable[[str], str]) -> None:
    """With a time that grows squared, this one would take hours."""
    assert read('"/b/a#"' * 1_000_000 + "\nx")
