"""The outside checks are many, from many sources, and each says how it was seen."""

from __future__ import annotations

import importlib
import pkgutil
import types

import pytest

from tests import reference
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

LEAST_VALUES, LEAST_SOURCES = 80, 15


def modules() -> list[types.ModuleType]:
    names = [info.name for info in pkgutil.iter_modules(reference.__path__)]
    found = [importlib.import_module(f"tests.reference.{name}") for name in names]
    return [module for module in found if hasattr(module, "CHECKS")]


def test_at_least_eighty_values_from_at_least_fifteen_sources() -> None:
    counted = {
        module.SOURCE: [
            check
            for check in module.CHECKS
            if check.flag in {Flag.SEEN, Flag.SECOND_HAND}
        ]
        for module in modules()
    }
    sources = [source for source, checks in counted.items() if checks]
    assert sum(len(checks) for checks in counted.values()) >= LEAST_VALUES
    assert len(sources) >= LEAST_SOURCES


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
