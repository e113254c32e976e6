"""Forms about sprays and about rules that were looked up, for the table of acts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from batches.models import PatchTest, SprayMix
from producer.models import RulesCheck
from tests import make, sprays
from tests.doors.world import Arguments, World

Where = Callable[[World, make.Crew], tuple[Arguments, Mapping[str, Any]]]
WHY = {"reason": "as the test wants it"}
MAKER = "maker"


def of_rules(**fields: Any) -> Where:
    """Return a form about the rules that were looked up."""
    return lambda world, crew: ((RulesCheck.objects.latest("pk").pk,), fields)


def of_mix(**fields: Any) -> Where:
    """Return a form about the tank that was mixed."""
    return lambda world, crew: ((SprayMix.objects.latest("pk").code,), fields)


def of_leaf(**fields: Any) -> Where:
    """Return a form about the leaf that was tried."""
    return lambda world, crew: ((PatchTest.objects.latest("pk").code,), fields)


def rules(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """Rules about something else."""
    return (), {"topic": "hazard", "country": "England", "page": "leaflet 7"}


def tank(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A tank of a paste that was just released."""
    return (sprays.made_days_ago(crew).number,), {
        "mass_mg": "100 g",
        "tank_ul": "10 l",
        "target_g_per_l": "5",
        "hardness": "1,2",
        "plant": "rose",
        "pest": "greenfly",
        "where": "gate",
        "weather": "cool, evening",
        "bees": "none",
    }


def leaf(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A leaf of another plant."""
    fields = {"plant": "pea", "target_g_per_l": "5"}
    return (sprays.made_days_ago(crew).number,), fields


ROWS: tuple[tuple[str, str, Where], ...] = (
    ("producer:rules_new", MAKER, rules),
    ("producer:rules_amend", MAKER, of_rules(**WHY, country="Wales")),
    ("producer:rules_void", MAKER, of_rules(**WHY)),
    ("quality:mix_new", MAKER, tank),
    ("quality:mix_amend", MAKER, of_mix(**WHY, mass_mg="90 g")),
    ("quality:mix_void", MAKER, of_mix(**WHY)),
    ("quality:mix_leftovers", MAKER, of_mix(leftovers="none")),
    ("quality:patch_test_new", MAKER, leaf),
    ("quality:patch_test_look", MAKER, of_leaf(result="harmed")),
    ("quality:patch_test_void", MAKER, of_leaf(**WHY)),
)
