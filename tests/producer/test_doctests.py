"""The worked examples in the pure modules are true, and none is missing."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil

import pytest

PURE = [
    "producer.quantities",
    "producer.codes",
    "producer.errors",
    "producer.wall_clock",
    "producer.money",
    "producer.database_url",
    "producer.slowing",
    "producer.gs1",
    "batches.costing",
    "batches.cover",
    "batches.lifecycle",
    "batches.claims",
    "batches.label_words",
    "batches.wording",
    "batches.excursions",
    "batches.first_expired",
    "batches.flow",
    "batches.flow_folding",
    "batches.shares",
    "batches.sheets",
    "batches.label_text",
    "batches.label_fonts",
    "batches.chemistry",
    "quality.charts.layered",
    "quality.epcis",
    "quality.complaint_life",
    "quality.draws",
    "quality.statistics",
]
# Nothing to compute: a package that only gathers, exceptions that only carry a text.
WITHOUT_EXAMPLE = {
    "producer.errors",
    "batches.chemistry",
    "batches.wording",
    "quality.epcis",
    "quality.epcis.names",
    "quality.statistics",
}


def pure_modules() -> list[str]:
    names = []
    for name in PURE:
        names.append(name)
        for path in getattr(importlib.import_module(name), "__path__", []):
            names += [f"{name}.{info.name}" for info in pkgutil.iter_modules([path])]
    return names


@pytest.mark.parametrize("name", pure_modules())
def test_every_worked_example_gives_what_it_says(name: str) -> None:
    results = doctest.testmod(importlib.import_module(name), report=True)
    assert results.failed == 0
    assert results.attempted > 0 or name in WITHOUT_EXAMPLE


@pytest.mark.parametrize("name", pure_modules())
def test_every_public_function_has_a_worked_example(name: str) -> None:
    module = importlib.import_module(name)
    functions = [
        function
        for label, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == name and not label.startswith("_")
    ]
    finder = doctest.DocTestFinder(recurse=False)
    missing = [
        function.__name__
        for function in functions
        if not any(test.examples for test in finder.find(function))
    ]
    assert missing == []


def test_the_list_finds_the_modules_inside_packages() -> None:
    assert {
        "batches.chemistry.saponification",
        "quality.statistics.conformity",
    } <= set(pure_modules())
