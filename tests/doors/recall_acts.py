"""Valid forms about a recall: see acts_table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quality.models import Recall, RecallContact
from quality.services import recalling
from tests import hands, make
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


def opening_of(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A certificate that is not what it says."""
    certificate = world.lot.certificates.get()
    fields = {**WHY, "hazard_class": "2", "public_notice": "Bring it back."}
    return ("certificate", str(certificate.pk)), fields


def evaluating(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """How bad it could be."""
    return (world.recall.code,), hands.HAZARD


def looking_again(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A charge that never went in, as was found since."""
    return (hands.corrected(crew).code,), {"note": "it was another can"}


def clearing(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """Somebody who was alarmed for nothing."""
    fields = {"who": "the neighbour", "means": "in_person"}
    return (hands.cleared(crew).code,), fields


ROWS: tuple[tuple[str, str, Where], ...] = (
    ("quality:recall_open", REVIEWER, opening),
    ("quality:recall_open_by", REVIEWER, opening_of),
    ("quality:recall_hazard_new", REVIEWER, evaluating),
    ("quality:recall_look_again", REVIEWER, looking_again),
    ("quality:recall_all_clear", MAKER, clearing),
    ("quality:recall_advance", REVIEWER, telling),
    ("quality:recall_close", REVIEWER, closing),
    ("quality:recall_contact_new", MAKER, calling),
    ("quality:recall_contact_amend", REVIEWER, of_attempt(outcome="not_reached")),
    ("quality:recall_contact_void", MAKER, of_attempt()),
)

# The pages and files about recalls that everybody with an account may read.
OF_RECALLS = tuple(
    f"quality:{name}"
    for name in (
        "affected",
        "affected_pdf",
        "affected_csv",
        "affected_json",
        "affected_bottles_pdf",
        "affected_bottles",
        "affected_by",
        "affected_pdf_by",
        "affected_csv_by",
        "affected_json_by",
        "affected_bottles_pdf_by",
        "affected_bottles_by",
        "recalls",
        "recall",
        "recall_pdf",
        "recall_csv",
        "recall_window",
        "recall_notices",
        "recall_notices_pdf",
        "recall_json",
        "recall_bottles_pdf",
        "recall_bottles",
        "recall_report",
        "recall_report_pdf",
    )
)
