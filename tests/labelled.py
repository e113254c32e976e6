"""Builders: approved texts, labels issued with them, label stock of one's own."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from batches.models import (
    FillingLot,
    Formula,
    LabelCount,
    LabelIssue,
    LabelVersion,
    SheetFormat,
)
from batches.services import label_texts, labelling, sheet_formats
from batches.services.label_bands import bands_of
from batches.sheets import USUAL, Placement
from tests import bottling, make
from tests.once import once

A4_24, A4_10, LETTER, ROLL = USUAL
DOSES = (("soft", 40), ("medium", 65), ("hard", 80))


def written(crew: make.Crew, formula: Formula, **changes: Any) -> LabelVersion:
    """Return a text that nobody has approved."""
    facts = {
        "language": "en",
        "product_name": "Laundry liquid",
        "directions": "For washing only.",
        **changes,
    }
    return label_texts.write_label(by=crew.maker, formula=formula, **facts)


@once
def approved(crew: make.Crew, lot: FillingLot, **changes: Any) -> LabelVersion:
    """Return the approved text of what is in these bottles, made if there is none."""
    formula = lot.batch.formula_version.formula
    language = changes.get("language", "en")
    known = label_texts.approved(formula, language)
    if known and not changes:
        return known
    text = written(crew, formula, **changes)
    label_texts.approve(by=crew.reviewer, label=text)
    return text


@once
def issued(
    crew: make.Crew,
    lot: FillingLot,
    numbers: Collection[int] | None = None,
    **changes: Any,
) -> LabelIssue:
    """Return labels issued for these bottles, or all; ten to a sheet unless said."""
    label = changes.pop("label", None) or approved(crew, lot)
    facts = {
        "placement": Placement(A4_10),
        "numbers": range(1, lot.count + 1) if numbers is None else numbers,
        "band": bands_of(lot).reckoned,
        "fits": bottling.not_looked_at,
        **changes,
    }
    return labelling.issue(by=crew.maker, filling_lot=lot, label=label, **facts)


def counted(
    crew: make.Crew, lot: FillingLot, kind: str, count: int, **changes: Any
) -> LabelCount:
    """Return a count of labels."""
    return labelling.count_labels(
        by=crew.maker, filling_lot=lot, kind=kind, count=count, **changes
    )


@once
def closed(crew: make.Crew, lot: FillingLot) -> None:
    """Label all bottles of a lot and count the labels, so that the count closes."""
    issued(crew, lot)
    counted(crew, lot, LabelCount.Kind.APPLIED, lot.count)


@once
def own_format(crew: make.Crew) -> SheetFormat:
    """Return label stock of one's own, described now if it is not."""
    known = SheetFormat.objects.first()
    return known or sheet_formats.save_format(
        by=crew.maker,
        entry=SheetFormat(
            name="shelf labels, 21",
            page_width=21000,
            page_height=29700,
            across=3,
            down=7,
            width=6350,
            height=3810,
            left=725,
            top=1515,
            pitch_across=6600,
            pitch_down=3810,
        ),
    )
