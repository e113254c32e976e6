"""What the services about bottles and their holders take: see services_table."""

from __future__ import annotations

from typing import Any

from batches.models import Bottle, BottleDiscrepancy
from batches.services import (
    bottle_doubts,
    dispatch_back,
    item_numbers,
    label_counts,
    label_texts,
    labelling,
    places,
    samples,
    scans,
    sheet_formats,
)
from batches.services.label_bands import bands_of
from batches.sheets import Placement
from quality.services import erasing, filling_release, weighing_back
from tests import bottling, hands, items, labelled, leaving, make, scanned

Facts = dict[str, Any]


def doubt_facts(crew: make.Crew) -> Facts:
    """A bottle whose code another one has too."""
    return {
        "by": crew.maker,
        "bottle": make.bottles_of(make.filled(crew))[0],
        "kind": BottleDiscrepancy.Kind.DUPLICATE,
        "found": "a photocopied label at the stall",
    }


def settled_facts(crew: make.Crew) -> Facts:
    """A doubt, and what it was."""
    return {
        "by": crew.reviewer,
        "doubt": bottle_doubts.report(**doubt_facts(crew)),
        "reason": "a copied label",
    }


def taken_back_facts(crew: make.Crew) -> Facts:
    """A dispatch that was meant for somebody else."""
    return {
        "by": crew.maker,
        "dispatch": leaving.sent(crew, leaving.bottles(crew)),
        "reason": "meant for the other shop",
        "recalled": lambda _: {},
        "held": lambda _: {},
    }


def found_again(crew: make.Crew, bottle: Bottle) -> None:
    """A bottle recorded as destroyed by mistake, found, and on hold."""
    hands.moved(crew.reviewer, bottle, "destroyed", "leaks")
    doubt = bottle_doubts.report(
        by=crew.maker,
        bottle=bottle,
        kind=BottleDiscrepancy.Kind.SHOULD_NOT_EXIST,
        found="behind the shelf",
    )
    bottle_doubts.settle(
        by=crew.reviewer, doubt=doubt, reason="it was another", never_destroyed=True
    )


def weighing_back_facts(crew: make.Crew) -> Facts:
    """A weighing of another lot."""
    lot = make.filled(crew)
    check = bottling.weighed(crew, lot)
    return {"by": crew.maker, "check": check, "reason": "that was the other crate"}


def place_facts(crew: make.Crew) -> Facts:
    """Bottles, and where they are put."""
    return {
        "by": crew.maker,
        "bottles": make.bottles_of(make.filled(crew)),
        "place": hands.place(crew),
    }


def erased_facts(crew: make.Crew) -> Facts:
    """Somebody who wants to be forgotten."""
    return {
        "by": crew.maker,
        "consignee": make.consignee(crew.maker),
        "reason": "asked for it",
    }


def sample_facts(crew: make.Crew) -> Facts:
    """A bottle of a filling lot, kept."""
    lot = make.filled(crew)
    return {
        "by": crew.maker,
        "filling_lot": lot,
        "bottle": make.bottles_of(lot)[0],
        "place": hands.place(crew),
    }


def look_facts(crew: make.Crew) -> Facts:
    """A jar that is as it was."""
    return {
        "by": crew.reviewer,
        "sample": bottling.jar(crew, make.filled(crew, sample_mg=5_000)),
        "state": "as_filled",
        "found": "clear",
    }


def amended_look_facts(crew: make.Crew) -> Facts:
    """A look, and what it should have said."""
    row = samples.look(**look_facts(crew))
    facts = {"state": "changed", "found": "cloudy", "reason": "seen in daylight"}
    return {"by": crew.maker, "row": row, **facts}


def release_facts(crew: make.Crew) -> Facts:
    """A filling lot with which all else is done."""
    return {"by": crew.reviewer, "filling_lot": bottling.ready(crew)}


def scan_facts(crew: make.Crew) -> Facts:
    """A code that was never issued and that somebody asked for."""
    return {
        "by": crew.maker,
        "alert": scanned.unknown(),
        "reason": "a child at the fair tried codes out",
    }


def number_facts(crew: make.Crew) -> Facts:
    """A GTIN of a product in one size."""
    items.with_prefix(items.owner())
    formula = make.liquid_version(crew).formula
    return {
        "by": crew.maker,
        "formula": formula,
        "nominal_ul": 500_000,
        "gtin": items.number(1),
    }


def amended_number_facts(crew: make.Crew) -> Facts:
    """A GTIN, and what it should have been."""
    row = item_numbers.give(**number_facts(crew))
    return {
        "by": crew.maker,
        "number": row,
        "gtin": items.number(2),
        "reason": "misread",
    }


def class_facts(crew: make.Crew) -> Facts:
    """A hazard class in two languages."""
    return {
        "by": crew.maker,
        "formula": make.liquid_version(crew).formula,
        "signal": "danger",
        "statements": ["Causes serious eye damage.", "Verursacht Augenschäden."],
        "basis": "data sheet of the paste",
    }


def text_facts(crew: make.Crew) -> Facts:
    """The text of a label, as it is written first."""
    return {
        "by": crew.maker,
        "formula": make.liquid_version(crew).formula,
        "language": "en",
        "product_name": "Laundry liquid",
    }


def approving_facts(crew: make.Crew) -> Facts:
    """A text that waits for its approval."""
    return {"by": crew.reviewer, "label": label_texts.write_label(**text_facts(crew))}


def withdrawing_facts(crew: make.Crew) -> Facts:
    """A text that was approved."""
    facts = approving_facts(crew)
    label_texts.approve(**facts)
    return {**facts, "reason": "a slip"}


def labels_facts(crew: make.Crew) -> Facts:
    """Bottles that are to have labels."""
    lot = make.filled(crew)
    return {
        "by": crew.maker,
        "filling_lot": lot,
        "label": labelled.approved(crew, lot),
        "placement": Placement(labelled.A4_10),
        "numbers": [1, 2],
        "band": bands_of(lot).reckoned,
        "fits": bottling.not_looked_at,
    }


def count_facts(crew: make.Crew) -> Facts:
    """Labels that were issued, and one that was spoiled."""
    facts = labels_facts(crew)
    labelling.issue(**facts)
    lot = facts["filling_lot"]
    return {"by": crew.maker, "filling_lot": lot, "kind": "spoiled", "count": 1}


def amended_count_facts(crew: make.Crew) -> Facts:
    """A count, and what it should have been."""
    row = label_counts.count_labels(**count_facts(crew))
    return {"by": crew.maker, "row": row, "count": 2, "reason": "one more"}


def format_facts(crew: make.Crew) -> Facts:
    """Label stock of one's own, changed."""
    return {"by": crew.maker, "entry": labelled.own_format(crew)}


SERVICES = {
    labelling.issue: labels_facts,
    label_counts.count_labels: count_facts,
    label_counts.amend_count: amended_count_facts,
    sheet_formats.save_format: format_facts,
    label_texts.classify: class_facts,
    item_numbers.give: number_facts,
    item_numbers.amend: amended_number_facts,
    label_texts.write_label: text_facts,
    label_texts.approve: approving_facts,
    label_texts.withdraw: withdrawing_facts,
    samples.retain: sample_facts,
    samples.look: look_facts,
    samples.amend_look: amended_look_facts,
    filling_release.release: release_facts,
    bottle_doubts.report: doubt_facts,
    bottle_doubts.settle: settled_facts,
    dispatch_back.take_back: taken_back_facts,
    weighing_back.take_back: weighing_back_facts,
    places.put: place_facts,
    erasing.erase: erased_facts,
    scans.look_into: scan_facts,
}
