"""Complaints: taken down, looked into, answered, closed, and what they lead to."""

from __future__ import annotations

import datetime
from typing import Any, NamedTuple

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from batches.models import Bottle, FillingLot
from producer.errors import Conflict, Refusal
from producer.models import Consignee, JournalEntry
from producer.models.journal import WRITTEN
from quality.complaint_life import Step
from quality.models import Complaint, ComplaintAccount, ComplaintStep
from quality.services import (
    complaining,
    complaint_leads,
    complaint_todo,
    complaints,
    today,
)
from quality.services.complaints import standing
from tests import bottling, hands, make, told
from tests.database import run, without_triggers
from tests.once import once

pytestmark = pytest.mark.django_db


class Scene(NamedTuple):
    """A filling with a sample, of which a shop has two bottles."""

    crew: make.Crew
    lot: FillingLot
    bottles: list[Bottle]
    shop: Consignee


@once
def scene_of(crew: make.Crew) -> Scene:
    """Four bottles: two at a shop, one kept as a sample, one here."""
    lot = bottling.bottled(crew, count=4, nominal_ul=100_000)
    shop = make.consignee(crew.maker)
    hands.dispatched(crew, make.bottles_of(lot)[:2], shop)
    return Scene(crew, lot, make.bottles_of(lot), shop)


@pytest.fixture
def scene(crew: make.Crew) -> Scene:
    return scene_of(crew)


def words_of(row: ComplaintAccount) -> str:
    """Return all that is to be done next, as the page says it."""
    now = standing(row.complaint)
    steps = complaint_todo.next_steps(now, complaint_leads.leads_of(now))
    return " ".join(one.words for one in steps)


def test_a_complaint_has_a_code_of_its_own_and_keeps_what_was_told(
    scene: Scene,
) -> None:
    row = told.about(scene.crew, scene.bottles[0], who="", consignee=scene.shop)
    now = standing(row.complaint)
    assert now.code.startswith("C")
    assert now.is_open
    assert now.account.bottle == scene.bottles[0]
    entry = JournalEntry.objects.latest("sequence")
    assert entry.subject_label == now.code
    assert entry.after_values["consignee"] == scene.shop.reference


def test_the_facts_of_the_journal_hold_neither_a_name_nor_what_was_told(
    scene: Scene,
) -> None:
    told.about(scene.crew, scene.bottles[0], words="Old Hilde coughed", who="Hilde")
    entry = JournalEntry.objects.latest("sequence")
    facts = {name: told for name, told in entry.after_values.items() if name != WRITTEN}
    assert facts["nature"] == "smell"
    assert "Hilde" not in f"{facts}{entry.before}{entry.reason}"


@pytest.mark.parametrize(
    "wrong",
    [
        {"said_of_it": ""},  # about nothing
        {"who": ""},  # by nobody
        {"words": " "},
        {"nature": "boredom"},
        {"means": "dream"},
    ],
)
def test_a_complaint_about_nothing_or_by_nobody_is_refused(
    crew: make.Crew, wrong: dict[str, str]
) -> None:
    with pytest.raises(ValidationError):
        told.opened(crew, **wrong)
    assert not Complaint.objects.exists()


def test_a_complaint_is_about_one_thing_only(scene: Scene) -> None:
    with pytest.raises(ValidationError, match="Give the code"):
        told.opened(scene.crew, bottle=scene.bottles[0], filling_lot=scene.lot)


def test_who_complains_is_in_the_register_or_a_word_never_both(scene: Scene) -> None:
    with pytest.raises(ValidationError, match="not both"):
        told.opened(scene.crew, consignee=scene.shop)


def test_an_injury_is_never_told_of_with_nobody_hurt(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="somebody was hurt"):
        told.opened(crew, nature="injury")
    assert told.opened(crew, nature="injury", was_hurt=True).was_hurt


def test_a_complaint_does_not_come_before_its_bottle_was_filled(scene: Scene) -> None:
    early = timezone.now() - datetime.timedelta(days=900)
    with pytest.raises(Refusal, match="cannot be before that"):
        told.about(scene.crew, scene.bottles[0], observed_at=early)
    with pytest.raises(Refusal, match="no such batch yet"):
        told.opened(scene.crew, batch=scene.lot.batch, observed_at=early)
    assert told.opened(scene.crew, observed_at=early).observed_at == early


def test_what_was_told_is_corrected_by_a_new_row_and_stays_legible(
    crew: make.Crew,
) -> None:
    row = told.opened(crew)
    facts = told.complaint_facts(crew, nature="colour", words="It is brown.")
    with pytest.raises(Refusal, match="Say why"):
        complaining.amend_complaint(row=row, reason=" ", **facts)
    new = complaining.amend_complaint(row=row, reason="misheard", **facts)
    now = standing(row.complaint)
    assert now.account == new
    assert list(now.earlier) == [row]
    assert now.account.observed_at == row.observed_at
    with pytest.raises(Conflict):
        complaining.amend_complaint(row=row, reason="again", **facts)


def test_that_somebody_was_hurt_is_taken_back_by_a_reviewer_only(
    crew: make.Crew,
) -> None:
    row = told.opened(crew, was_hurt=True)
    facts = told.complaint_facts(crew)
    with pytest.raises(PermissionDenied):
        complaining.amend_complaint(row=row, reason="it was paint", **facts)
    facts["by"] = crew.reviewer
    assert not complaining.amend_complaint(
        row=row, reason="it was paint", **facts
    ).was_hurt


def test_a_maker_does_not_write_the_conclusion(crew: make.Crew) -> None:
    complaint = told.opened(crew).complaint
    with pytest.raises(PermissionDenied):
        told.stepped(crew.maker, complaint, Step.CONCLUSION, conclusion="justified")
    step = told.stepped(
        crew.reviewer, complaint, Step.CONCLUSION, conclusion="justified"
    )
    with pytest.raises(PermissionDenied):
        complaining.amend_step(by=crew.maker, row=step, void=True, reason="mistake")


def test_a_conclusion_says_which_and_only_an_authority_has_a_number(
    crew: make.Crew,
) -> None:
    complaint = told.opened(crew).complaint
    with pytest.raises(ValidationError, match="Choose the conclusion"):
        told.stepped(crew.reviewer, complaint, Step.CONCLUSION)
    with pytest.raises(Refusal, match="Leave it empty here"):
        told.stepped(crew.maker, complaint, Step.AUTHORITY, conclusion="justified")
    with pytest.raises(ValidationError, match="Only an authority"):
        told.stepped(crew.maker, complaint, Step.REPLY, reference="A/17")
    told.stepped(crew.maker, complaint, Step.AUTHORITY, reference="A/17")


def test_a_closing_is_no_step_to_be_added_or_corrected(crew: make.Crew) -> None:
    row = told.opened(crew)
    with pytest.raises(Refusal, match="Choose what"):
        told.stepped(crew.reviewer, row.complaint, Step.CLOSED)
    told.closed(crew, row)
    complaining.reopen_complaint(
        by=crew.maker, complaint=row.complaint, reason="wrote again"
    )
    end = ComplaintStep.objects.get(kind=Step.CLOSED)
    with pytest.raises(Refusal, match="stays on record"):
        complaining.amend_step(by=crew.reviewer, row=end, void=True, reason="no")


def test_a_complaint_is_closed_when_all_that_is_asked_for_stands(
    crew: make.Crew,
) -> None:
    row = told.opened(crew)
    facts: dict[str, Any] = {
        "by": crew.reviewer,
        "complaint": row.complaint,
        "text": "content",
    }
    with pytest.raises(Refusal, match="Reply, or write down why"):
        complaining.close_complaint(**facts)
    told.answered(crew, row)
    with pytest.raises(PermissionDenied):
        complaining.close_complaint(**{**facts, "by": crew.maker})
    complaining.close_complaint(**facts)
    assert not standing(row.complaint).is_open
    with pytest.raises(Refusal, match="is closed"):
        complaining.close_complaint(**facts)


def test_where_somebody_was_hurt_an_authority_step_must_stand(crew: make.Crew) -> None:
    row = told.opened(crew, was_hurt=True)
    told.answered(crew, row)
    facts: dict[str, Any] = {
        "by": crew.reviewer,
        "complaint": row.complaint,
        "text": "content",
    }
    with pytest.raises(Refusal, match="which authority was asked"):
        complaining.close_complaint(**facts)
    step = told.stepped(
        crew.maker, row.complaint, Step.AUTHORITY, "asked", reference="A/17"
    )
    complaining.amend_step(by=crew.maker, row=step, void=True, reason="of another case")
    with pytest.raises(Refusal, match="which authority was asked"):
        complaining.close_complaint(**facts)
    told.stepped(crew.maker, row.complaint, Step.AUTHORITY, "none: a sneeze")
    complaining.close_complaint(**facts)


def test_a_justified_complaint_needs_its_root_cause(crew: make.Crew) -> None:
    row = told.opened(crew)
    told.answered(crew, row)
    concluded = ComplaintStep.objects.get(kind=Step.CONCLUSION)
    complaining.amend_step(
        by=crew.reviewer,
        row=concluded,
        text="it is ours",
        conclusion="justified",
        reason="looked again",
    )
    with pytest.raises(Refusal, match="write the root cause"):
        complaining.close_complaint(
            by=crew.reviewer, complaint=row.complaint, text="content"
        )


def concluded_twice(crew: make.Crew) -> tuple[ComplaintAccount, ComplaintStep]:
    """Answer a complaint, then conclude it justified; return the first conclusion."""
    row = told.opened(crew)
    told.answered(crew, row)
    first = ComplaintStep.objects.get(kind=Step.CONCLUSION)
    told.stepped(crew.reviewer, row.complaint, Step.CONCLUSION, conclusion="justified")
    return row, first


def amended(crew: make.Crew, step: ComplaintStep, **more: Any) -> ComplaintStep:
    facts = {"text": "nobody knows", "conclusion": "not_found_out", **more}
    return complaining.amend_step(by=crew.reviewer, row=step, reason="x", **facts)


def test_a_corrected_older_conclusion_does_not_become_the_newest(
    crew: make.Crew,
) -> None:
    row, first = concluded_twice(crew)
    again = amended(crew, amended(crew, first))
    now = standing(row.complaint)
    assert now.steps.index(again) < len(now.steps) - 1
    assert now.conclusion == "justified"
    (listed,) = complaints.found()
    assert complaints.conclusion_of(listed) == "justified"
    with pytest.raises(Refusal, match="write the root cause"):
        complaining.close_complaint(
            by=crew.reviewer, complaint=row.complaint, text="content"
        )


def test_of_a_newer_conclusion_taken_back_the_older_one_counts(crew: make.Crew) -> None:
    row, first = concluded_twice(crew)
    amended(crew, first, conclusion="not_justified")
    newest = ComplaintStep.objects.get(kind=Step.CONCLUSION, conclusion="justified")
    amended(crew, newest, void=True)
    assert standing(row.complaint).conclusion == "not_justified"
    (listed,) = complaints.found()
    assert complaints.conclusion_of(listed) == "not_justified"


def test_nothing_is_added_to_a_closed_complaint_until_it_is_opened_again(
    crew: make.Crew,
) -> None:
    row = told.opened(crew)
    complaint = told.closed(crew, row)
    with pytest.raises(Refusal, match="Open it again first"):
        told.stepped(crew.maker, complaint, Step.REPLY)
    with pytest.raises(Refusal, match="Open it again first"):
        complaining.amend_complaint(row=row, reason="x", **told.complaint_facts(crew))
    complaining.reopen_complaint(
        by=crew.maker, complaint=complaint, reason="they wrote again"
    )
    with pytest.raises(Refusal, match="is open"):
        complaining.reopen_complaint(by=crew.maker, complaint=complaint, reason="x")
    told.stepped(crew.maker, complaint, Step.REPLY)


def test_a_step_is_not_dated_before_the_complaint_came(crew: make.Crew) -> None:
    complaint = told.opened(crew).complaint
    early = timezone.now() - datetime.timedelta(days=2)
    with pytest.raises(Refusal, match="cannot be before that"):
        told.stepped(crew.maker, complaint, Step.REPLY, observed_at=early)


def test_an_account_is_never_taken_back_and_stands_once(crew: make.Crew) -> None:
    row = told.opened(crew)
    again = ComplaintAccount.objects.get(pk=row.pk)
    again.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        again.save(force_insert=True)
    again.supersedes, again.is_void, again.reason = row, True, "never was"
    with pytest.raises(IntegrityError), transaction.atomic():
        again.save(force_insert=True)


# ------------------------------------------------------------------ where it leads


def test_the_siblings_of_a_bottle_are_those_of_its_filling_and_of_its_batch(
    scene: Scene,
) -> None:
    other = make.filled(
        scene.crew, make.fresh(scene.lot.batch), count=3, nominal_ul=100_000
    )
    row = told.about(scene.crew, scene.bottles[0])
    leads = complaint_leads.leads_of(standing(row.complaint))
    assert sum(one.count for one in leads.sisters) == 4
    assert {one.lot.code for one in leads.filled} == {scene.lot.code, other.code}
    assert leads.out == 2
    assert [one.filling_lot for one in leads.samples] == [scene.lot]


def test_without_a_code_nothing_is_led_to_but_the_question_for_it(
    crew: make.Crew,
) -> None:
    row = told.opened(crew)
    assert complaint_leads.leads_of(standing(row.complaint)) is complaint_leads.NOTHING
    assert "The code is not known" in words_of(row)
    assert "sample" not in words_of(row)


def test_another_complaint_is_told_of_with_what_both_have_in_common(
    scene: Scene,
) -> None:
    crew, batch = scene.crew, scene.lot.batch
    row = told.about(crew, scene.bottles[0])
    sister = told.opened(crew, filling_lot=scene.lot)
    cousin = told.opened(crew, batch=batch)
    shared = make.released_liquid(
        crew, paste=batch.charges.order_by("pk")[0].source.batch
    )
    distant = told.opened(crew, batch=shared)
    told.opened(crew)  # of an unknown bottle
    others = complaint_leads.leads_of(standing(row.complaint)).others
    said = {one.account.pk: one.words for one in others}
    assert said[sister.pk] == "the same filling lot"
    assert said[cousin.pk] == "the same batch"
    assert said[distant.pk].endswith("in both")
    assert len(said) == 3
    assert sister.complaint.code in words_of(row)
    assert distant.complaint.code not in words_of(row)


def test_the_lot_that_is_in_all_complaints_is_counted_as_a_root_of_a_recall(
    scene: Scene,
) -> None:
    crew, batch = scene.crew, scene.lot.batch
    paste = batch.charges.order_by("pk")[0].source
    other = make.released_liquid(crew, paste=paste.batch)
    row = told.about(crew, scene.bottles[0])
    told.opened(crew, batch=other)
    roots = complaint_leads.leads_of(standing(row.complaint)).roots
    counts = {code: count for code, _, count in roots}
    assert roots[0][0] == batch.number
    assert counts[batch.number] == 1
    assert counts[paste.code] == 2


def test_where_somebody_was_hurt_help_comes_first_and_then_the_bottles(
    scene: Scene,
) -> None:
    row = told.about(scene.crew, scene.bottles[0], was_hurt=True, nature="injury")
    words = words_of(row)
    assert words.startswith("Somebody was hurt. Ask how they are")
    assert "whether an authority must be told" in words
    assert "2 bottles of it are with somebody else. See if a recall is due" in words
    assert "are here and may leave" in words
    assert "No deviation of" in words
    hands.recall(scene.crew, scene.lot.batch.stock)
    words = words_of(row)
    assert "See if a recall is due" not in words
    assert "because: “too much alkali”. Does it cover" in words
    assert "are here and may leave" not in words


def test_where_nobody_was_hurt_nothing_is_said_of_authorities_and_holds(
    scene: Scene,
) -> None:
    words = words_of(told.about(scene.crew, scene.bottles[0]))
    assert "authority" not in words
    assert "recall" not in words


def test_the_retained_sample_is_to_be_looked_at_until_somebody_did(
    scene: Scene,
) -> None:
    row = told.about(scene.crew, scene.bottles[0])
    assert "Look at the retained" in words_of(row)
    bottling.looked_at(scene.crew, scene.lot)
    assert "Look at the retained" not in words_of(row)


def test_a_look_from_before_the_complaint_says_nothing_of_it(scene: Scene) -> None:
    bottling.looked_at(scene.crew, scene.lot)
    row = told.about(scene.crew, scene.bottles[0])
    assert "Look at the retained" in words_of(row)


def test_a_filling_without_a_sample_is_said_to_have_none(crew: make.Crew) -> None:
    lot = make.filled(crew, count=2)
    words = words_of(told.opened(crew, filling_lot=lot))
    assert "No sample was kept" in words


def test_a_closed_complaint_asks_for_nothing(crew: make.Crew) -> None:
    row = told.opened(crew)
    told.closed(crew, row)
    assert words_of(row).startswith("Nothing: it is closed.")


# ------------------------------------------------------------------ lists, trend, today


def test_the_list_is_narrowed_by_status_nature_and_words(scene: Scene) -> None:
    crew = scene.crew
    smell = told.about(crew, scene.bottles[0])
    mould = told.opened(crew, nature="mould", words="Something grows.")
    told.closed(crew, mould)
    assert list(complaints.found()) == [smell, mould]
    assert list(complaints.found(status="open")) == [smell]
    assert list(complaints.found(status="closed")) == [mould]
    assert list(complaints.found(nature="mould")) == [mould]
    assert list(complaints.found(nature="boredom")) == [smell, mould]
    for text in (
        scene.lot.code,
        scene.lot.batch.number,
        scene.bottles[0].code.lower(),
        "old FAT",
        smell.complaint.code,
    ):
        assert list(complaints.found(text)) == [smell], text
    assert list(complaints.found("grows")) == [mould]


def test_a_corrected_complaint_is_in_the_list_and_the_trend_once(
    crew: make.Crew,
) -> None:
    row = told.opened(crew)
    complaining.amend_complaint(
        row=row, reason="misheard", **told.complaint_facts(crew, nature="colour")
    )
    (one,) = complaints.found()
    assert one.nature == "colour"
    trend = complaints.trend()
    assert trend.count == 1
    assert [name for name, _ in trend.rows] == ["colour"]


def test_the_trend_counts_by_nature_and_year(crew: make.Crew) -> None:
    last_year = timezone.now() - datetime.timedelta(days=366)
    told.opened(crew, observed_at=last_year)
    told.opened(crew)
    told.opened(crew, nature="leak")
    trend = complaints.trend()
    years = [str(timezone.localtime(at).year) for at in (last_year, timezone.now())]
    assert trend.heads == [*years, "in all"]
    assert dict(trend.rows)["smell"] == [(years[0], 1), (years[1], 1), ("in all", 2)]
    assert dict(trend.rows)["leak or broken bottle"] == [
        (years[0], 0),
        (years[1], 1),
        ("in all", 1),
    ]
    assert list(trend.total) == [(years[0], 1), (years[1], 2), ("in all", 3)]


def test_today_shows_open_complaints_hurt_first_then_the_oldest(
    crew: make.Crew,
) -> None:
    yesterday = timezone.now() - datetime.timedelta(days=1)
    newer, older = told.opened(crew), told.opened(crew, observed_at=yesterday)
    hurt = told.opened(crew, was_hurt=True)
    told.closed(crew, told.opened(crew))
    (kind,) = [
        one for one in today.due(timezone.localdate()) if one.slug == "complaint"
    ]
    assert [row.name for row in kind.rows] == [
        one.complaint.code for one in (hurt, older, newer)
    ]
    assert kind.rows[0].words.startswith("Somebody was hurt.")


# ------------------------------------------------------------------ verify


def test_verify_has_no_fault_of_a_complaint_as_the_services_leave_it(
    crew: make.Crew,
) -> None:
    told.opened(crew)
    told.closed(crew, told.opened(crew))
    assert list(complaints.faults()) == []


def test_verify_finds_a_closed_complaint_of_which_something_lacks(
    crew: make.Crew,
) -> None:
    complaint = told.closed(crew, told.opened(crew))
    with without_triggers():
        run("DELETE FROM quality_complaintstep WHERE kind = 'reply'")
    (fault,) = complaints.faults()
    assert complaint.code in fault
    assert "Reply" in fault


def test_verify_finds_a_complaint_without_an_account(crew: make.Crew) -> None:
    row = told.opened(crew)
    with without_triggers():
        run("DELETE FROM quality_complaintaccount")
    assert list(complaints.faults()) == [
        f"Complaint {row.complaint.code}: 0 accounts stand."
    ]
