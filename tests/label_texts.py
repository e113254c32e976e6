"""Builders of label texts: written, approved, and a recorded hazard class."""

from __future__ import annotations

from typing import Any

from batches.models import Classification, Formula, LabelVersion
from batches.services import label_texts
from tests import make
from tests.once import once

HARMLESS = "For laundry and floors. 30 ml for a load."
EYE_DAMAGE = "Causes serious eye damage. Wear eye protection."
AUGEN = "Verursacht schwere Augenschäden. Augenschutz tragen."


@once
def written(
    crew: make.Crew,
    formula: Formula | None = None,
    language: str = "en",
    **facts: Any,
) -> LabelVersion:
    """Return a text that a maker wrote, of the laundry liquid if nothing is named."""
    given = {"product_name": "Laundry liquid", "directions": HARMLESS, **facts}
    return label_texts.write_label(
        by=crew.maker,
        formula=formula or make.liquid_version(crew).formula,
        language=language,
        **given,
    )


@once
def approved(
    crew: make.Crew,
    formula: Formula | None = None,
    language: str = "en",
    **facts: Any,
) -> LabelVersion:
    """Return a text that a reviewer approved: labels are printed with it."""
    label = written(crew, formula, language, **facts)
    label_texts.approve(by=crew.reviewer, label=label)
    return label


def classified(
    crew: make.Crew, formula: Formula | None = None, **facts: Any
) -> list[Classification]:
    """Return the hazard class that a maker recorded, with its statements."""
    given = {
        "signal": "danger",
        "statements": [EYE_DAMAGE, AUGEN],
        "basis": "by the data sheet of the paste, calculated by the maker",
        **facts,
    }
    return label_texts.classify(
        by=crew.maker, formula=formula or make.liquid_version(crew).formula, **given
    )
