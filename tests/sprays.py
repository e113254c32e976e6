"""Builders of sprays: a released paste, a leaf that was tried, a mixed tank."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone

from batches.models import Batch, FormulaVersion, PatchTest, SprayMix
from batches.services import cooking, formulas, spraying
from producer.models import RulesCheck
from producer.services import rules
from quality.services import spray_mixes
from tests import make
from tests.once import once

DAY = datetime.timedelta(hours=24)


def tank(source: Batch, **changes: Any) -> dict[str, Any]:
    """Return what a mix takes: 100 g of paste in ten litres, on beans."""
    return {
        "source": source,
        "mass_mg": 100_000,
        "tank_ul": 10_000_000,
        "target_g_per_l": Decimal(5),
        "hardness": Decimal(0),
        "plant": "broad bean",
        "pest": "black bean aphid",
        "where": "bed 3",
        "weather": "14 °C, overcast, no wind, evening",
        "bees": "none seen; no open flowers",
        "pre_dissolved": True,
        **changes,
    }


@once
def mixed(crew: make.Crew, source: Batch | None = None, **changes: Any) -> SprayMix:
    """Return a mix of a released paste."""
    facts = tank(source or make.released_paste(crew), **changes)
    return spray_mixes.mix(by=crew.maker, **facts)


def leaf(crew: make.Crew, source: Batch, **changes: Any) -> PatchTest:
    """Return a leaf that is waited for."""
    facts = {"plant": "broad bean", "target_g_per_l": Decimal(5), **changes}
    return spraying.begin_patch_test(by=crew.maker, source=source, **facts)


@once
def short_lived(crew: make.Crew) -> FormulaVersion:
    """Return a paste that keeps for two days."""
    version = formulas.write_formula(
        by=crew.maker,
        name="Short-lived paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=2),
        lines=make.paste_lines(crew.maker),
    )
    make.set_limits(crew.reviewer, version)
    return version


def made_days_ago(
    crew: make.Crew, version: FormulaVersion | None = None, *, days: int = 3
) -> Batch:
    """Return a released paste that was weighed out days ago, seven at most."""
    at = timezone.now() - datetime.timedelta(days=days)
    batch = make.open_batch(crew, version)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch, observed_at=at)
    cooking.finish(by=crew.maker, batch=batch)
    return make.signed(crew.reviewer, batch, "release")


def looked_up(crew: make.Crew, **changes: Any) -> RulesCheck:
    """Return a look at the rules about sprays."""
    facts = {
        "topic": "spray",
        "country": "England",
        "page": "page of the regulator on home-made sprays",
        **changes,
    }
    return rules.record_rules_check(by=crew.maker, **facts)


@once
def scene(crew: make.Crew) -> SprayMix:
    """Return a mix of a paste with a leaf that was tried, and rules looked up."""
    looked_up(crew)
    paste = made_days_ago(crew)
    leaf(crew, paste, observed_at=timezone.now() - 2 * DAY)
    return mixed(crew, paste)
