"""Valid forms about a recall: see acts_table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quality.models import Recall, RecallContact
from quality.services import recalling
from tests import make
from tests.doors.world import Arguments, World

Where = Callable[[World, make.Crew], tuple[Arguments, Mapping[str, Any]]]
MAKER, REVIEWER = "maker", "reviewer"
WHY = {"reason": "as the test wants it"}


def opening(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A lot that something is wrong with."""
    return (world.lot.code,), {**WHY, "hazard_class": "2"}


def telling(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """Holders who were told."""
    return (world.recall.code,), {"note": "telephoned all of them", "level": "A"}


def calling(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """Somebody who would be called."""
    fields = {"who": "the neighbour", "means": "telephone", "outcome": "reached"}
    return (world.recall.code,), fields


def of_attempt(**fields: Any) -> Where:
    """Return a form about the attempt there was."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
        row = RecallContact.objects.current().latest("pk")
        return (world.recall.code, row.pk), {**WHY, **fields}

    return where


def closing(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A recall whose holders were told."""
    found = Recall.objects.get(pk=world.recall.pk)
    if found.status == Recall.Status.OPEN:
        recalling.advance(by=crew.reviewer, recall=found, note="told them")
    fields = {"note": "all done", "why_not": "tried out", "password": make.PASSWORD}
    return (found.code,), fields


ROWS: tuple[tuple[str, str, Where], ...] = (
    ("quality:recall_open", REVIEWER, opening),
    ("quality:recall_advance", REVIEWER, telling),
    ("quality:recall_close", REVIEWER, closing),
    ("quality:recall_contact_new", MAKER, calling),
    ("quality:recall_contact_amend", REVIEWER, of_attempt(outcome="not_reached")),
    ("quality:recall_contact_void", MAKER, of_attempt()),
)
