"""A deviation: opened, looked into, decided by somebody else, and then it stands."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils import timezone

from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises, Right, User
from producer.services import people
from quality.models import Deviation, DeviationStep
from quality.services import deviating, deviations, finding, today
from quality.services.record import part, sha256
from tests import make
from tests.database import run, while_uncommitted, without_triggers
from tests.quality import faulty

pytestmark = pytest.mark.django_db


def test_a_deviation_goes_from_what_happened_to_a_signed_decision(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="11")
    found = faulty.deviation(crew.maker, batch.stock, "ph")
    assert found.code.startswith("V")
    faulty.looked_into(crew.maker, found)
    deviating.add_step(
        by=crew.reviewer,
        deviation=found,
        kind="class",
        text="it can burn",
        classification="critical",
    )
    closing = faulty.close(crew.reviewer, found, "rejected")

    standing = deviations.standing(found)
    assert [step.kind for step in standing.steps] == [
        "cause",
        "action",
        "test",
        "class",
        "closed",
    ]
    assert not standing.is_open
    assert standing.words == "to be rejected"
    assert standing.classification == "critical"
    assert closing.printed_name == "Rasmus Lind"
    assert closing.record_sha256 == sha256(closing.record)
    assert part(closing.record, "decision")["decision"] == "rejected"
    assert len(part(closing.record, "facts")["steps"]) == 4
    assert list(deviating.faults()) == []
    acts = JournalEntry.objects.filter(subject_kind="deviation").order_by("sequence")
    assert [entry.act for entry in acts] == [
        "deviation opened",
        "deviation: cause",
        "deviation: action",
        "deviation: further test",
        "deviation: class",
        "deviation closed: rejected",
    ]
    last = acts[5]
    assert last.before_values["class"] == last.after_values["class"] == "critical"
    assert last.after_values["record_sha256"] == closing.record_sha256
    assert acts[4].before_values == {"class": "major"}
    assert make.fresh(batch).status == "awaiting_review"  # it rejects nothing itself


def test_a_deviation_can_be_of_a_lot_or_an_instrument_and_of_one_thing_only(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    scale = make.scale(crew.maker)
    assert deviations.name_of(faulty.deviation(crew.maker, lot.stock)) == (
        f"raw lot {lot.code}"
    )
    of_scale = faulty.deviation(crew.reviewer, instrument=scale)
    assert deviations.name_of(of_scale).startswith("instrument bench scale")
    for wrong in ({}, {"stock": lot.stock, "instrument": scale}):
        with pytest.raises(ValidationError, match="a raw lot, a batch or an"):
            faulty.deviation(crew.maker, **wrong)  # type: ignore[arg-type]
    with pytest.raises(ValidationError):
        faulty.deviation(crew.maker, instrument=scale, characteristic="ph")


def test_nobody_else_opens_one_or_adds_to_it_and_only_a_reviewer_decides(
    crew: make.Crew, owner: User, auditor: User
) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.looked_into(crew.maker, faulty.deviation(crew.maker, batch.stock))
    for by in (owner, auditor):
        with pytest.raises(PermissionDenied):
            faulty.deviation(by, batch.stock)
        with pytest.raises(PermissionDenied):
            faulty.looked_into(by, found)
    for by in (owner, auditor, crew.maker):
        with pytest.raises(PermissionDenied):
            faulty.close(by, found, "mended")


@pytest.mark.parametrize(
    ("kinds", "said"),
    [
        ((), "cause and the action first"),
        (("cause",), "Write down the action first"),
        (("action", "test"), "Write down the cause first"),
    ],
)
def test_nothing_is_decided_without_a_cause_and_an_action(
    crew: make.Crew, kinds: tuple[str, ...], said: str
) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    for kind in kinds:
        deviating.add_step(
            by=crew.maker, deviation=found, kind=kind, text="seen at the rim"
        )
    with pytest.raises(Refusal, match=said):
        faulty.close(crew.reviewer, found, "mended")
    assert deviations.standing(found).is_open


def test_a_step_says_what_it_is_and_something(crew: make.Crew) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    add = functools.partial(deviating.add_step, by=crew.maker, deviation=found)
    for kind, text, classification, said in (
        ("closed", "done", "", "Choose what this step is"),
        ("guess", "done", "", "Choose what this step is"),
        ("cause", "  ", "", "Write what was found"),
        ("cause", "as above", "", "somebody else can judge by"),
        ("action", ". . . . . . . . .", "", "somebody else can judge by"),
        ("cause", "wind", "minor", "Only a step that changes the class"),
    ):
        with pytest.raises(Refusal, match=said):
            add(kind=kind, text=text, classification=classification)
    add(kind="test", text="pH 9.8")  # a result says enough
    with pytest.raises(ValidationError, match="Choose the class"):
        add(kind="class", text="worse than it looked")
    assert [step.text for step in DeviationStep.objects.all()] == ["pH 9.8"]
    faulty.looked_into(crew.maker, found)
    with pytest.raises(Refusal, match="somebody else can judge by"):
        faulty.close(crew.reviewer, found, "no_effect", text="fine")


@pytest.mark.parametrize("decision", ["mended", "not_confirmed"])
def test_what_rests_on_a_further_test_is_not_decided_without_one(
    crew: make.Crew, decision: str
) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock, "ph")
    for kind in ("cause", "action"):
        deviating.add_step(
            by=crew.maker, deviation=found, kind=kind, text="seen at the rim"
        )
    with pytest.raises(Refusal, match="rests on a further test") as refusal:
        faulty.close(crew.reviewer, found, decision)
    assert refusal.value.field == "decision"
    deviating.add_step(by=crew.maker, deviation=found, kind="test", text="pH 9.8")
    faulty.close(crew.reviewer, found, decision)


def test_no_concession_while_it_can_harm_and_only_a_reviewer_lowers_the_class(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    found = faulty.deviation(crew.maker, batch.stock, "ph", classification="critical")
    faulty.looked_into(crew.maker, found)
    lower = functools.partial(
        deviating.add_step,
        deviation=found,
        kind="class",
        text="diluted it cannot burn",
    )
    assert "concession" not in deviating.possible(found)
    with pytest.raises(Refusal, match="the class is critical"):
        faulty.close(crew.reviewer, found, "concession")
    with pytest.raises(Refusal, match="Only a reviewer lowers") as refusal:
        lower(by=crew.maker, classification="minor")
    assert refusal.value.field == "classification"
    lower(by=crew.reviewer, classification="major")
    lower(by=crew.maker, classification="critical")  # the worse one is for anybody
    assert "concession" not in deviating.possible(found)
    lower(by=crew.reviewer, classification="major")
    faulty.close(crew.reviewer, found, "concession")


def test_nobody_decides_by_their_own_explanation(crew: make.Crew, owner: User) -> None:
    found = faulty.deviation(crew.reviewer, make.cooked_batch(crew).stock, "ph")
    faulty.looked_into(crew.reviewer, found)
    with pytest.raises(Refusal, match="You made this explanation"):
        faulty.close(crew.reviewer, found, "not_confirmed")
    other = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    assert not faulty.close(other, found, "not_confirmed").self_reviewed
    again = faulty.deviation(crew.reviewer, make.cooked_batch(crew).stock, "ph")
    faulty.looked_into(crew.reviewer, again)
    faulty.close(crew.reviewer, again, "rejected")  # the careful one


@pytest.mark.parametrize("kind", ["cause", "test", "action"])
def test_one_step_of_the_explanation_is_enough_to_be_in_it(
    crew: make.Crew, kind: str
) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    faulty.looked_into(crew.maker, found)
    deviating.add_step(
        by=crew.reviewer, deviation=found, kind=kind, text="looked again at noon"
    )
    with pytest.raises(Refusal, match="You made this explanation"):
        faulty.close(crew.reviewer, found, "no_effect")


def test_who_noticed_it_and_explained_nothing_may_decide(crew: make.Crew) -> None:
    found = faulty.deviation(crew.reviewer, make.cooked_batch(crew).stock)
    faulty.looked_into(crew.maker, found)
    assert not faulty.close(crew.reviewer, found, "no_effect").self_reviewed


def test_a_wrong_password_or_a_stale_page_signs_nothing(crew: make.Crew) -> None:
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    seen = deviating.digest_of(found)
    faulty.looked_into(crew.maker, found)
    with pytest.raises(Refusal, match="not your password"):
        faulty.close(crew.reviewer, found, "mended", password="guessed")
    with pytest.raises(Conflict, match="changed since you read it"):
        faulty.close(crew.reviewer, found, "mended", seen=seen)
    with pytest.raises(Refusal, match="Choose how it ends"):
        faulty.close(crew.reviewer, found, "forgotten")
    again = deviating.digest_of(found)
    faulty.close(crew.reviewer, found, "mended", seen=again)  # control


def test_what_is_closed_stays_closed(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.closed(crew, batch, "ph", "not_confirmed")
    attempts: list[Callable[[], object]] = [
        lambda: faulty.looked_into(crew.maker, found),
        lambda: faulty.close(crew.reviewer, found, "rejected"),
    ]
    for attempt in attempts:
        with pytest.raises(Conflict, match="is closed and signed"):
            attempt()


@pytest.mark.django_db(transaction=True)
def test_of_two_decisions_at_once_one_counts(crew: make.Crew, owner: User) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    found = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    faulty.looked_into(crew.maker, found)
    first, second = while_uncommitted(
        functools.partial(faulty.close, crew.reviewer, found, "mended"),
        functools.partial(faulty.close, other, found, "rejected"),
    )
    assert isinstance(first, DeviationStep)
    assert isinstance(second, Conflict)


def test_scenario_19_who_made_the_batch_does_not_decide_with_another_account(
    crew: make.Crew, owner: User
) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.looked_into(crew.maker, faulty.deviation(crew.maker, batch.stock))
    second = make.account(
        by=owner,
        name="",
        username="mirja.reviews",
        rights=["reviewer"],
        person=crew.maker.person,
    )
    with pytest.raises(Refusal, match="somebody else must review it"):
        faulty.close(second, found, "no_effect")
    faulty.close(second, found, "rejected")  # the careful decision needs no other


def test_who_booked_a_lot_in_does_not_decide_about_it(
    crew: make.Crew, owner: User
) -> None:
    crew.maker.is_reviewer = True
    crew.maker.save()
    lot = make.held_lot(crew, make.water(crew.maker))
    found = faulty.looked_into(crew.maker, faulty.deviation(crew.maker, lot.stock))
    with pytest.raises(Refusal, match="entry of the raw lot"):
        faulty.close(crew.maker, found, "no_effect")
    assert not faulty.close(crew.reviewer, found, "no_effect").self_reviewed


def test_scenario_18_alone_after_the_pause_and_the_decision_says_so(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    people.change_rights(
        by=owner, user=crew.reviewer, rights=[Right.AUDITOR], reason="moved"
    )
    crew.maker.is_reviewer = True
    crew.maker.save()
    Premises.objects.update(one_person=True, self_review_pause_hours=12)
    now, ahead = timezone.now, datetime.timedelta(hours=13)
    monkeypatch.setattr(timezone, "now", lambda: now() + ahead)
    found = faulty.looked_into(crew.maker, faulty.deviation(crew.maker, batch.stock))
    with pytest.raises(Refusal, match="fresh eyes"):  # the steps are new
        faulty.close(crew.maker, found, "no_effect")
    monkeypatch.setattr(timezone, "now", lambda: now() + 2 * ahead)
    closing = faulty.close(crew.maker, found, "no_effect")
    assert closing.self_reviewed
    assert part(closing.record, "decision")["self_reviewed"] is True
    entry = JournalEntry.objects.get(act__startswith="deviation closed")
    assert entry.after_values["self_reviewed"] is True


@pytest.mark.parametrize("of", ["lot", "instrument", "no result", "clarity"])
def test_a_concession_is_for_one_result_of_one_batch_and_never_for_clarity(
    crew: make.Crew, of: str
) -> None:
    batch = make.cooked_batch(crew)
    lot = make.held_lot(crew, make.potash(crew.maker))
    found = {
        "lot": lambda: faulty.deviation(crew.maker, lot.stock, "assay"),
        "instrument": lambda: faulty.deviation(
            crew.maker, instrument=make.scale(crew.maker)
        ),
        "no result": lambda: faulty.deviation(crew.maker, batch.stock),
        "clarity": lambda: faulty.deviation(crew.maker, batch.stock, "clarity"),
    }[of]()
    faulty.looked_into(crew.maker, found)
    assert "concession" not in deviating.possible(found)
    with pytest.raises(Refusal, match="concession") as refusal:
        faulty.close(crew.reviewer, found, "concession")
    assert refusal.value.field == "decision"
    allowed = faulty.deviation(crew.maker, batch.stock, "ph")
    assert "concession" in deviating.possible(allowed)


def test_of_which_result_fits_what_it_is_about(crew: make.Crew) -> None:
    water = make.held_lot(crew, make.water(crew.maker))
    potash = make.held_lot(crew, make.potash(crew.maker))
    oil = make.held_lot(crew, make.sunflower(crew.maker))
    cook = make.cooked_batch(crew)
    blend = make.open_batch(crew, make.blend_version(crew))
    assert [deviations.results_of(one.stock) for one in (water, potash, oil)] == [
        [],
        ["assay"],
        ["saponification_value"],
    ]
    assert "clarity" in deviations.results_of(cook.stock)
    assert "clarity" not in deviations.results_of(blend.stock)
    assert "assay" not in deviations.results_of(cook.stock)
    for stock, wrong in ((water.stock, "assay"), (cook.stock, "assay")):
        with pytest.raises(Refusal, match="has no such result") as refused:
            faulty.deviation(crew.maker, stock, wrong)
        assert refused.value.field == "characteristic"


def test_open_ones_stand_first_and_are_found_by_code_and_words(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    old = faulty.deviation(crew.maker, batch.stock)
    faulty.closed(crew, batch, "ph", "not_confirmed")
    assert deviations.listed()[0] == old
    assert [row.pk for row in deviations.found("", "open")] == [old.pk]
    assert list(deviations.found("nothing of the kind")) == []
    assert old in deviations.found(batch.number)
    hit = finding.by_code(old.code.lower())
    assert hit is not None
    assert (hit.page, hit.keys) == ("quality:deviation", (old.code,))
    groups = finding.by_words("the strip said")
    assert (old.code,) in [one.keys for group in groups for one in group.hits]
    due = {one.slug: one.rows for one in today.due(make.TODAY)}
    assert [row.name for row in due["deviation"]] == [old.code]


BEHIND_ITS_BACK = [
    ("UPDATE quality_deviation SET what = 'nothing'", "no longer what was signed"),
    ("UPDATE quality_deviation SET classification = 'minor'", "no longer what was"),
    (
        "UPDATE quality_deviationstep SET text = 'wind' WHERE kind = 'cause'",
        "a step of it is no longer",
    ),
    ("DELETE FROM quality_deviationstep WHERE kind = 'action'", "a step of it is no"),
    (
        "UPDATE quality_deviationstep SET decision = 'mended' WHERE kind = 'closed'",
        "name, decision or conditions",
    ),
    (
        "UPDATE quality_deviationstep SET printed_name = 'X' WHERE kind = 'closed'",
        "name, decision or conditions",
    ),
    (
        "UPDATE quality_deviationstep SET record = record || ' ' WHERE kind = 'closed'",
        "the signed text was altered",
    ),
    ("DELETE FROM quality_deviationstep WHERE kind = 'closed'", "is missing"),
]


@pytest.mark.parametrize(("sql", "said"), BEHIND_ITS_BACK)
def test_a_deviation_changed_behind_the_programs_back_is_found(
    crew: make.Crew, sql: str, said: str
) -> None:
    found = faulty.closed(crew, make.cooked_batch(crew), "ph", "not_confirmed")
    assert list(deviating.faults()) == []
    with transaction.atomic():
        with without_triggers():
            assert run(sql) == 1
            faults = list(deviating.faults())
        transaction.set_rollback(True)
    assert len(faults) == 1
    assert found.code in faults[0]
    assert said in faults[0]


def test_a_decision_with_a_new_hash_is_unknown_to_the_journal(crew: make.Crew) -> None:
    found = faulty.closed(crew, make.cooked_batch(crew), "ph", "not_confirmed")
    record = found.steps.get(kind="closed").record.replace("floors", "faces")
    with without_triggers():
        assert (
            run(
                "UPDATE quality_deviationstep SET record = %s, record_sha256 = %s"
                " WHERE kind = 'closed'",
                record,
                sha256(record),
            )
            == 1
        )
        faults = list(deviating.faults())
    assert any("the journal knows of no decision" in fault for fault in faults)
    assert any("is missing" in fault for fault in faults)


def test_codes_of_deviations_are_not_those_of_dispatches(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    codes = {faulty.deviation(crew.maker, lot.stock).code for _ in range(3)}
    assert len(codes) == 3
    assert Deviation.objects.count() == 3
    assert {code[0] for code in codes} == {"V"}
