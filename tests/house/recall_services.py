"""What the services about a recall take: see services_table."""

from __future__ import annotations

from typing import Any

from quality.services import (
    recall_clearing,
    recall_closing,
    recall_contacts,
    recall_hazard,
    recall_revising,
    recalling,
)
from tests import hands, make

Facts = dict[str, Any]


def recall_facts(crew: make.Crew) -> Facts:
    """A lot that something is wrong with."""
    return {
        "by": crew.reviewer,
        "root": make.filled(crew).batch.stock,
        "hazard_class": "3",
        "reason": "a smell",
        "public_notice": "Bring it back.",
    }


def advancing_facts(crew: make.Crew) -> Facts:
    """A recall whose holders were told."""
    recall = recalling.open_recall(**recall_facts(crew))
    return {"by": crew.reviewer, "recall": recall, "note": "told them"}


def closing_facts(crew: make.Crew) -> Facts:
    """A recall that is over."""
    facts = advancing_facts(crew)
    recall_hazard.evaluate(by=crew.reviewer, recall=facts["recall"], **hands.HAZARD)
    recalling.advance(**facts)
    return {**facts, "note": "all back", "password": make.PASSWORD}


def contact_facts(crew: make.Crew) -> Facts:
    """A shop that answered the telephone."""
    lot = make.released_lot(crew, make.water(crew.maker))
    return {
        "by": crew.maker,
        "recall": hands.recall(crew, lot.stock),
        "consignee": make.consignee(crew.maker),
        "means": "telephone",
        "outcome": "reached",
        "said": "keeps them in the back room",
        "held": 2,
    }


def amended_contact_facts(crew: make.Crew) -> Facts:
    """An attempt, and what it should have said."""
    facts = contact_facts(crew)
    row = recall_contacts.record_contact(**facts)
    del facts["recall"]
    return {**facts, "row": row, "held": 3, "reason": "counted again"}


def revising_facts(crew: make.Crew) -> Facts:
    """A recall of a lot that never went in, as was found then."""
    return {"by": crew.reviewer, "recall": hands.corrected(crew), "note": "wrong can"}


def hazard_facts(crew: make.Crew) -> Facts:
    """How bad it could be."""
    recall = recalling.open_recall(**recall_facts(crew))
    return {"by": crew.reviewer, "recall": recall, **hands.HAZARD}


def all_clear_facts(crew: make.Crew) -> Facts:
    """A shop that was alarmed for nothing."""
    facts = revising_facts(crew)
    recall_revising.look_again(**facts)
    return {
        "by": crew.maker,
        "recall": facts["recall"],
        "consignee": make.consignee(crew.maker),
        "means": "telephone",
    }


SERVICES = {
    recalling.open_recall: recall_facts,
    recalling.advance: advancing_facts,
    recall_closing.close: closing_facts,
    recall_revising.look_again: revising_facts,
    recall_hazard.evaluate: hazard_facts,
    recall_clearing.give_all_clear: all_clear_facts,
    recall_contacts.record_contact: contact_facts,
    recall_contacts.amend_contact: amended_contact_facts,
}
