"""What the services about complaints and audits take: see services_table."""

from __future__ import annotations

from typing import Any

from quality.complaint_life import Step
from quality.services import complaining, self_inspections
from tests import make, told

Facts = dict[str, Any]


def amended_facts(crew: make.Crew) -> Facts:
    """What was told, and what should have been written."""
    row = told.opened(crew)
    facts = told.complaint_facts(crew, nature="colour")
    return {**facts, "row": row, "reason": "misheard"}


def step_facts(crew: make.Crew) -> Facts:
    """A reply to a complaint."""
    complaint = told.opened(crew).complaint
    return {
        "by": crew.maker,
        "complaint": complaint,
        "kind": Step.REPLY,
        "text": "rang back",
    }


def amended_step_facts(crew: make.Crew) -> Facts:
    """A reply, and what was really said."""
    row = complaining.add_step(**step_facts(crew))
    return {"by": crew.maker, "row": row, "text": "wrote", "reason": "not by telephone"}


def closing_facts(crew: make.Crew) -> Facts:
    """A complaint of which all stands."""
    complaint = told.answered(crew, told.opened(crew))
    return {"by": crew.reviewer, "complaint": complaint, "text": "they are content"}


def reopening_facts(crew: make.Crew) -> Facts:
    """A closed complaint about which they wrote again."""
    complaint = told.closed(crew, told.opened(crew))
    return {"by": crew.maker, "complaint": complaint, "reason": "they wrote again"}


def drawing_facts(crew: make.Crew) -> Facts:
    """A draw out of what there is: a filling, and what is in it."""
    make.filled(crew, count=1)
    return {"by": crew.reviewer}


def inspection_facts(crew: make.Crew) -> Facts:
    """An audit of what there is: a filling, and what is in it."""
    make.filled(crew, count=1)
    number = told.drawn(crew.reviewer)
    return {"by": crew.reviewer, "number": number, "findings": "nothing yet"}


def amended_inspection_facts(crew: make.Crew) -> Facts:
    """An audit, and what should have been written."""
    make.filled(crew, count=1)
    row = told.inspected(crew.reviewer)
    return {
        "by": crew.reviewer,
        "row": row,
        "findings": "the papers lack",
        "reason": "left out",
    }


SERVICES = {
    complaining.open_complaint: told.complaint_facts,
    complaining.amend_complaint: amended_facts,
    complaining.add_step: step_facts,
    complaining.amend_step: amended_step_facts,
    complaining.close_complaint: closing_facts,
    complaining.reopen_complaint: reopening_facts,
    self_inspections.draw_audit: drawing_facts,
    self_inspections.record_inspection: inspection_facts,
    self_inspections.amend_inspection: amended_inspection_facts,
}
