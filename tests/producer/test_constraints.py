"""The pins name what the declared dependencies bring, wholly and nothing else."""

from __future__ import annotations

import importlib.metadata
import sys
from collections.abc import Iterable

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from producer import bootstrap

pytestmark = pytest.mark.any_engine

OURS = f"{sys.version_info[0]}.{sys.version_info[1]}"
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
WANTED = [Requirement(text) for text in bootstrap.requirements({"test"})]


def pins() -> dict[str, str]:
    lines = bootstrap.CONSTRAINTS.read_text("utf-8").splitlines()
    return {
        canonicalize_name(name): version
        for name, _, version in (line.partition("==") for line in lines)
    }


def needed(pythons: Iterable[str]) -> set[str]:
    """Return every distribution that the declared dependencies bring, by name."""
    waiting = list(WANTED)
    known: set[tuple[str, frozenset[str]]] = set()
    while waiting:
        wanted = waiting.pop()
        entry = (canonicalize_name(wanted.name), frozenset(wanted.extras))
        if entry in known:
            continue
        known.add(entry)
        waiting += [
            further
            for further in brought_by(entry[0])
            if applies(further, wanted.extras or {""}, pythons)
        ]
    return {name for name, _ in known}


def brought_by(name: str) -> list[Requirement]:
    try:
        texts = importlib.metadata.requires(name)
    except importlib.metadata.PackageNotFoundError:  # on another Python only
        return []
    return [Requirement(text) for text in texts or ()]


def applies(wanted: Requirement, extras: Iterable[str], pythons: Iterable[str]) -> bool:
    marker = wanted.marker
    return marker is None or any(
        marker.evaluate(
            {"extra": extra, "python_version": python, "python_full_version": python}
        )
        for extra in extras
        for python in pythons
    )


def test_every_distribution_that_gets_installed_is_pinned() -> None:
    assert needed([OURS]) - pins().keys() == set()


def test_no_pin_is_left_over() -> None:
    assert pins().keys() - needed(PYTHONS) == set()


def test_the_environment_holds_the_pinned_versions() -> None:
    found = {name: importlib.metadata.version(name) for name in needed([OURS])}
    assert found == {name: pins()[name] for name in found}


def test_the_ranges_admit_the_pins() -> None:
    for wanted in WANTED:
        assert pins()[canonicalize_name(wanted.name)] in wanted.specifier


def test_a_missing_pin_would_be_seen() -> None:
    assert {"django", "asgiref", "psycopg-binary"} <= needed([OURS])
