"""Valid forms about complaints and audits: see acts_table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quality.models import Complaint, ComplaintStep, SelfInspection
from tests import make, told
from tests.doors.world import Arguments, World

Where = Callable[[World, make.Crew], tuple[Arguments, Mapping[str, Any]]]
MAKER, REVIEWER, OWNER = "maker", "reviewer", "owner"
WHY = {"reason": "as the test wants it"}
TOLD = {
    "nature": "mould",
    "words": "something grows in it",
    "was_hurt": "no",
    "who": "the neighbour",
    "means": "in_person",
}


def taking_down(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """Something that grows in a bottle."""
    return (), {**TOLD, "code": world.filling_lot.code}


def of_complaint(**fields: Any) -> Where:
    """Return a form about the complaint there is."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
        return (world.complaint.code,), fields

    return where


def of_step(**fields: Any) -> Where:
    """Return a form about its newest step."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
        rows = ComplaintStep.objects.current().filter(complaint=world.complaint)
        return (world.complaint.code, rows.latest("pk").pk), {**WHY, **fields}

    return where


def closing(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A complaint of which all stands."""
    found = told.answered(crew, told.opened(crew))
    return (found.code,), {"text": "they are content"}


def reopening(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A complaint that was closed."""
    found: Complaint = told.closed(crew, told.opened(crew))
    return (found.code,), WHY


def holding(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """An audit that was drawn."""
    return (told.drawn(crew.reviewer),), {"findings": "nothing lacks"}


def drawing(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """An audit to draw."""
    return (), {}


def of_inspection(**fields: Any) -> Where:
    """Return a form about the newest audit."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
        row = SelfInspection.objects.current().latest("pk")
        return (row.pk,), {**WHY, **fields}

    return where


ROWS: tuple[tuple[str, str, Where], ...] = (
    ("quality:complaint_open", MAKER, taking_down),
    (
        "quality:complaint_amend",
        REVIEWER,
        of_complaint(**TOLD, **WHY, code="", said_of_it="a tin"),
    ),
    ("quality:complaint_step", MAKER, of_complaint(kind="reply", text="rang back")),
    ("quality:complaint_step_amend", MAKER, of_step(text="wrote back")),
    ("quality:complaint_step_void", REVIEWER, of_step()),
    ("quality:complaint_close", REVIEWER, closing),
    ("quality:complaint_reopen", MAKER, reopening),
    ("quality:audit_draw", OWNER, drawing),
    ("quality:audit_held", REVIEWER, holding),
    ("quality:inspection_amend", OWNER, of_inspection(findings="papers lack")),
    ("quality:inspection_void", REVIEWER, of_inspection()),
)
