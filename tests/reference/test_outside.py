"""The outside checks are many, from many sources, and each says how it was seen."""

from __future__ import annotations

import importlib
import pkgutil
import types
from collections import Counter

import pytest

from tests import reference
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

LEAST_VALUES, LEAST_SOURCES = 80, 15


def modules() -> list[types.ModuleType]:
    names = [info.name for info in pkgutil.iter_modules(reference.__path__)]
    found = [importlib.import_module(f"tests.reference.{name}") for name in names]
    return [module for module in found if hasattr(module, "CHECKS")]


PUBLISHED = frozenset({Flag.SEEN, Flag.SECOND_HAND})


def counted(flags: frozenset[Flag]) -> dict[str, int]:
    """Return how many values of these flags each source has; sources without none."""
    found: Counter[str] = Counter()
    for module in modules():
        found[module.SOURCE] += sum(check.flag in flags for check in module.CHECKS)
    return {source: count for source, count in found.items() if count}


def test_at_least_eighty_published_values_from_at_least_fifteen_sources() -> None:
    published = counted(PUBLISHED)
    assert sum(published.values()) >= LEAST_VALUES
    assert len(published) >= LEAST_SOURCES


def test_what_a_test_computes_with_a_library_is_counted_apart() -> None:
    """Where the published value follows from molar masses of the library."""
    assert Flag.LIBRARY not in PUBLISHED
    assert counted(frozenset({Flag.LIBRARY}))
    for module in modules():
        if "periodictable" in vars(module):
            flags = {check.flag for check in module.CHECKS}
            assert not flags & PUBLISHED, module.__name__


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.__name__)
def test_a_source_is_named_and_no_value_stands_twice(module: types.ModuleType) -> None:
    assert module.SOURCE.strip()
    assert module.__doc__
    names = [str(check) for check in module.CHECKS]
    assert len(names) == len(set(names))
    assert all(check.clause.strip() for check in module.CHECKS)


def test_control_a_value_that_is_off_is_found() -> None:
    off = Check(
        what="two and two",
        clause="arithmetic",
        flag=Flag.SEEN,
        ours=lambda: 4.1,
        published=4,
        within=0.05,
    )
    with pytest.raises(AssertionError, match="two and two"):
        off.hold()
    other_words = Check(
        what="a verdict",
        clause="words",
        flag=Flag.SEEN,
        ours=lambda: "fail",
        published="pass",
    )
    with pytest.raises(AssertionError, match="a verdict"):
        other_words.hold()
