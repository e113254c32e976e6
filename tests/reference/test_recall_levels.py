"""Levels of effectiveness checks: 21 CFR 7.42(b)(3).

Not read at the source. The shares of A, C, D and E second hand, from repository text
that quotes them (requirements, S59); that B lies above 10 % and below 100 % is from
memory.
"""

from __future__ import annotations

import functools

import pytest

from producer.errors import Refusal
from quality.services.recall_levels import chosen
from tests.reference.outside import Check, Flag

SOURCE = "21 CFR 7.42(b)(3)"
MANY_HOLDERS = 500


def percent_of(level: str) -> int:
    share: int = chosen(level, None, holders=MANY_HOLDERS)["percent"]
    return share


def may_be(percent: int) -> bool:
    """Say whether level B may be this share."""
    try:
        chosen("B", percent, holders=MANY_HOLDERS)
    except Refusal:
        return False
    return True


CHECKS = [
    *(
        Check(
            what=f"level {level}: per cent of the consignees",
            clause="7.42(b)(3)",
            flag=Flag.SECOND_HAND,
            ours=functools.partial(percent_of, level),
            published=percent,
        )
        for level, percent in (("A", 100), ("C", 10), ("D", 2), ("E", 0))
    ),
    *(
        Check(
            what=f"level B of {percent} %",
            clause="7.42(b)(3)(ii)",
            flag=Flag.MEMORY,
            ours=functools.partial(may_be, percent),
            published=allowed,
        )
        for percent, allowed in ((10, False), (11, True), (99, True), (100, False))
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
