"""What services of sprays and of rules looked up take, for the table of services."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from batches.services import spraying
from producer.services import rules
from quality.services import spray_mixes
from tests import make, sprays

Facts = Mapping[str, Any]
RULES = {"topic": "spray", "country": "England", "page": "leaflet 7"}


def begun(crew: make.Crew) -> Facts:
    return {
        "by": crew.maker,
        "source": make.released_paste(crew),
        "plant": "pea",
        "target_g_per_l": Decimal(5),
    }


def tried(crew: make.Crew, **facts: Any) -> Facts:
    test = sprays.leaf(crew, make.released_paste(crew))
    return {"by": crew.maker, "test": test, **facts}


def mixed(crew: make.Crew, **facts: Any) -> Facts:
    return {"by": crew.maker, "mix": sprays.mixed(crew), **facts}


SERVICES: Mapping[Callable[..., Any], Callable[[make.Crew], Facts]] = {
    rules.record_rules_check: lambda crew: {"by": crew.maker, **RULES},
    rules.amend_rules_check: lambda crew: {
        "by": crew.maker,
        "check": sprays.looked_up(crew),
        "country": "Wales",
        "reason": "misread",
    },
    spraying.begin_patch_test: begun,
    spraying.look_at_patch_test: lambda crew: tried(crew, result="harmed"),
    spraying.take_back_patch_test: lambda crew: tried(crew, reason="another plant"),
    spray_mixes.mix: lambda crew: {
        "by": crew.maker,
        **sprays.tank(make.released_paste(crew)),
    },
    spray_mixes.amend_mix: lambda crew: mixed(
        crew, changes={"mass_mg": 90_000}, reason="misread"
    ),
    spray_mixes.note_leftovers: lambda crew: mixed(crew, leftovers="none"),
}
