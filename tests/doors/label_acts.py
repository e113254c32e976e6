"""Valid forms about labels, their counts and their stock: see acts_table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from batches.services import label_texts
from tests import labelled, make
from tests.doors.world import Arguments, World

Sent = tuple[Arguments, Mapping[str, Any]]
WHY = {"reason": "as the test wants it"}


def labels(world: World, crew: make.Crew) -> Sent:
    """A further label for the bottle that is here."""
    lot = world.filling_lot
    text = label_texts.approved(lot.batch.formula_version.formula, "en")
    return (lot.code,), {
        **WHY,
        "label": text.pk if text else "",
        "numbers": world.bottle.number,
    }


def label_count(world: World, crew: make.Crew) -> Sent:
    """Labels that were left over."""
    return (world.filling_lot.code,), {"kind": "returned", "count": "1"}


def of_label_count(
    **fields: Any,
) -> Callable[[World, make.Crew], Sent]:
    """Return a form about a count of labels."""

    def where(world: World, crew: make.Crew) -> Sent:
        row = world.filling_lot.label_counts.current().latest("pk")
        return (world.filling_lot.code, row.pk), {**WHY, **fields}

    return where


def new_format(world: World, crew: make.Crew) -> Sent:
    """Label stock of one's own, measured in millimetres."""
    return (), {
        "name": "jar labels",
        "page_width": "210",
        "page_height": "297",
        "across": "2",
        "down": "4",
        "width": "90",
        "height": "60.5",
        "left": "0",
        "top": "0,5",
        "pitch_across": "95",
        "pitch_down": "70",
    }


def sheet_format(world: World, crew: make.Crew) -> Sent:
    """Label stock of one's own, with another name."""
    return (labelled.own_format(crew).pk,), {"name": "shelf labels, white"}
