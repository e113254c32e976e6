"""Complaints and self-inspections, through the services."""

from __future__ import annotations

from typing import Any

from batches.models import Bottle
from producer.models import User
from quality.complaint_life import Conclusion, Step
from quality.models import Complaint, ComplaintAccount, ComplaintStep, SelfInspection
from quality.services import complaining, self_inspections
from tests import make


def complaint_facts(crew: make.Crew, **about: Any) -> dict[str, Any]:
    """Return a smell that somebody at the market told of; of an unknown bottle."""
    if not {"bottle", "filling_lot", "batch"} & set(about):
        about.setdefault("said_of_it", "half a litre, from the open day")
    return {
        "by": crew.maker,
        "means": "telephone",
        "nature": "smell",
        "words": "It smells of old fat.",
        "was_hurt": False,
        "who": "a visitor of the open day",
        **about,
    }


def opened(crew: make.Crew, **about: Any) -> ComplaintAccount:
    """Take a complaint down; return its account."""
    return complaining.open_complaint(**complaint_facts(crew, **about))


def stepped(
    by: User, complaint: Complaint, kind: str, text: str = "as it was", **more: Any
) -> ComplaintStep:
    """Add a step."""
    return complaining.add_step(
        by=by, complaint=complaint, kind=kind, text=text, **more
    )


def answered(
    crew: make.Crew, told: ComplaintAccount, conclusion: str = "not_found_out"
) -> Complaint:
    """Add all steps that a complaint needs where nobody was hurt."""
    complaint = told.complaint
    stepped(crew.maker, complaint, Step.REPLY, "rang back and thanked")
    stepped(crew.maker, complaint, Step.FOUND, "the sample smells of nothing")
    if conclusion == Conclusion.JUSTIFIED:
        stepped(crew.maker, complaint, Step.CAUSE, "an old oil")
    stepped(
        crew.reviewer,
        complaint,
        Step.CONCLUSION,
        "nothing was found",
        conclusion=conclusion,
    )
    return complaint


def closed(crew: make.Crew, told: ComplaintAccount) -> Complaint:
    """Answer a complaint and close it."""
    complaint = answered(crew, told)
    complaining.close_complaint(
        by=crew.reviewer, complaint=complaint, text="they are content"
    )
    return complaint


def drawn(by: User) -> str:
    """Draw an audit, which is on record then; return its number."""
    return self_inspections.draw_audit(by=by).number


def inspected(by: User, findings: str = "all in order", **more: Any) -> SelfInspection:
    """Hold an audit of a fresh draw."""
    return self_inspections.record_inspection(
        by=by, number=drawn(by), findings=findings, **more
    )


def about(crew: make.Crew, bottle: Bottle, **more: Any) -> ComplaintAccount:
    """Take a complaint about a bottle down."""
    return opened(crew, bottle=bottle, **more)
