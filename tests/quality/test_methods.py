"""The page “How it is computed” tells of every computation, and of nothing else."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import types

import pytest
from django.test import Client
from django.urls import reverse

from producer.models import User
from quality import methods
from quality.methods.entries import Method
from quality.methods.sections import SECTIONS, found
from tests.doors.pages import page_of

pytestmark = pytest.mark.any_engine

ALL = [entry for _, entries in SECTIONS for entry in entries]
COMPUTING = ("batches.chemistry", "quality.statistics")
# Helpers of other computations, each told of in the entry of what it helps.
UNTOLD: set[str] = set()


def function_of(entry: Method) -> types.FunctionType:
    module, _, name = entry.function.rpartition(".")
    found_: types.FunctionType = getattr(importlib.import_module(module), name)
    return found_


@pytest.mark.parametrize("entry", ALL, ids=lambda entry: entry.function)
def test_an_entry_names_a_function_and_says_everything(entry: Method) -> None:
    assert callable(function_of(entry))
    for text in (entry.name, entry.gives, entry.formula, entry.source):
        assert text.strip()
    assert entry.valid.strip()
    assert entry.refuses.strip()


def test_every_module_of_entries_is_on_the_page() -> None:
    names = {info.name for info in pkgutil.iter_modules(methods.__path__)}
    shown = {id(entries) for _, entries in SECTIONS}
    for name in names - {"entries", "sections"}:
        module = importlib.import_module(f"quality.methods.{name}")
        assert id(module.ENTRIES) in shown, name


def test_every_module_that_computes_has_an_entry() -> None:
    told = {entry.function.rpartition(".")[0] for entry in ALL}
    for package in COMPUTING:
        path = importlib.import_module(package).__path__
        for info in pkgutil.iter_modules(path):
            name = f"{package}.{info.name}"
            module = importlib.import_module(name)
            computes = [
                label
                for label, made in inspect.getmembers(module, inspect.isfunction)
                if made.__module__ == name and not label.startswith("_")
            ]
            assert not computes or name in told | UNTOLD, name


def test_the_words_looked_for_narrow_the_list() -> None:
    some = found("carbonate")
    assert some
    assert sum(len(entries) for _, entries in some) < len(ALL)
    assert found("no such computation") == []
    assert found("") == SECTIONS


@pytest.mark.django_db
def test_the_page_shows_formula_source_range_and_refusal(
    client: Client, auditor: User
) -> None:
    client.force_login(auditor)
    page = page_of(client.get(reverse("quality:methods")))
    for entry in ALL:
        assert " ".join(entry.formula.split()) in page.words
        assert " ".join(entry.refuses.split()) in page.words
    empty = page_of(client.get(reverse("quality:methods"), {"q": "xyzzy"}))
    assert "No computation has these words" in empty.words
