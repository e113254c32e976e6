"""Texts of labels: who writes, who approves, and what no label may say."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from batches.models import Classification, LabelDecision, LabelVersion
from batches.services import label_state, label_texts
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises, Right, User
from producer.services import people, rules
from tests import make
from tests.label_texts import AUGEN, EYE_DAMAGE, approved, classified, written

pytestmark = pytest.mark.django_db


def refused_words(crew: make.Crew, label: LabelVersion) -> str:
    """Return why a reviewer may not approve a text; nothing is decided."""
    with pytest.raises(Refusal) as refusal:
        label_texts.approve(by=crew.reviewer, label=label)
    assert not label.decisions.exists()
    assert label_texts.approved(label.formula, label.language) is None
    return refusal.value.message


def test_a_text_is_written_by_a_maker_and_printed_once_a_reviewer_approved_it(
    crew: make.Crew,
) -> None:
    label = written(crew)
    formula = label.formula
    assert (label.version, label.language) == (1, "en")
    assert label_texts.approved(formula, "en") is None
    assert "not approved" in label_state.why_not_print(label)
    decision = label_texts.approve(by=crew.reviewer, label=label)
    assert decision.kind == "approved"
    assert label_texts.approved(formula, "en") == label
    assert label_texts.approved(formula, "de") is None
    assert label_state.why_not_print(label) == ""
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.subject_id) == ("label text approved", str(label.pk))
    assert "self_reviewed" not in entry.after_values


def test_rights(crew: make.Crew, owner: User, auditor: User) -> None:
    label = written(crew)
    for by in (owner, auditor, crew.reviewer):
        with pytest.raises(PermissionDenied):
            label_texts.write_label(
                by=by, formula=label.formula, language="de", product_name="Seife"
            )
        with pytest.raises(PermissionDenied):
            label_texts.classify(
                by=by, formula=label.formula, signal="none", basis="data sheet"
            )
    for by in (owner, auditor, crew.maker):
        with pytest.raises(PermissionDenied):
            label_texts.approve(by=by, label=label)
        with pytest.raises(PermissionDenied):
            label_texts.withdraw(by=by, label=label, reason="x")
    assert not LabelDecision.objects.exists()
    assert LabelVersion.objects.count() == 1


def test_each_language_has_versions_of_its_own(crew: make.Crew) -> None:
    english = approved(crew)
    german = approved(crew, language="de", product_name="Flüssigseife")
    assert (english.version, german.version) == (1, 1)
    assert label_texts.approved_in(english.formula) == {"en": english, "de": german}


def test_a_new_version_needs_a_reason_and_says_something_else(crew: make.Crew) -> None:
    first = approved(crew)
    with pytest.raises(Refusal, match="Say why"):
        written(crew, directions="40 ml for a load.")
    with pytest.raises(Refusal, match="says the same"):
        written(crew, reason="once more")
    second = written(crew, directions="40 ml for a load.", reason="harder water")
    assert second.version == 2
    first.refresh_from_db()
    assert first.directions == "For laundry and floors. 30 ml for a load."
    # Until the second is approved, the first is printed.
    assert label_texts.approved(first.formula, "en") == first
    label_texts.approve(by=crew.reviewer, label=second)
    assert label_texts.approved(first.formula, "en") == second
    assert [one.slug for one in label_state.states(first.formula)] == [
        "approved",
        "former",
    ]
    assert label_state.state_of(second).word == "approved, printed"


def test_only_the_newest_version_is_approved(crew: make.Crew) -> None:
    first = written(crew)
    written(crew, directions="40 ml for a load.", reason="harder water")
    assert "Version 2 is newer" in refused_words(crew, first)


def test_it_is_approved_once(crew: make.Crew) -> None:
    label = approved(crew)
    with pytest.raises(Refusal, match="approved already"):
        label_texts.approve(by=crew.reviewer, label=label)
    assert label.decisions.count() == 1


def test_a_withdrawn_text_is_not_printed_and_may_be_approved_anew(
    crew: make.Crew,
) -> None:
    label = written(crew)
    with pytest.raises(Conflict, match="not approved"):
        label_texts.withdraw(by=crew.reviewer, label=label, reason="a slip")
    label_texts.approve(by=crew.reviewer, label=label)
    with pytest.raises(Refusal, match="Say why"):
        label_texts.withdraw(by=crew.reviewer, label=label, reason=" ")
    label_texts.withdraw(by=crew.reviewer, label=label, reason="a slip")
    assert label_texts.approved(label.formula, "en") is None
    assert label_state.state_of(label).slug == "withdrawn"
    with pytest.raises(Conflict, match="not approved"):
        label_texts.withdraw(by=crew.reviewer, label=label, reason="again")
    label_texts.approve(by=crew.reviewer, label=make_fresh(label))
    assert label_texts.approved(label.formula, "en") == label


def make_fresh(label: LabelVersion) -> LabelVersion:
    return LabelVersion.objects.get(pk=label.pk)


def test_withdrawing_the_newest_brings_an_approved_former_one_back_and_it_is_said(
    crew: make.Crew,
) -> None:
    first = approved(crew)
    assert label_state.printed_without(first) is None
    second = approved(crew, directions="40 ml for a load.", reason="harder water")
    approved(crew, language="de", product_name="Flüssigseife")
    assert label_state.printed_without(second) == first
    label_texts.withdraw(by=crew.reviewer, label=second, reason="wrong dose")
    assert label_texts.approved(first.formula, "en") == first


def test_a_table_of_doses_is_for_a_wash(crew: make.Crew) -> None:
    assert written(crew, doses=True).doses
    spray = make.spray_version(crew).formula
    with pytest.raises(Refusal, match="for a wash") as refusal:
        written(crew, spray, doses=True)
    assert refusal.value.field == "doses"


def test_a_text_needs_a_name_and_a_known_language(crew: make.Crew) -> None:
    with pytest.raises(ValidationError):
        written(crew, product_name="  ")
    with pytest.raises(ValidationError):
        written(crew, language="fr")


# ------------------------------------------------------------------ claims


@pytest.mark.parametrize(
    ("where", "text", "word"),
    [
        ("product_name", "Aphid wash", "Aphid"),
        ("directions", "Wash, and it kills mites too.", "mites"),
        ("cautions", "Keeps insects off.", "Keeps insects off"),
        ("directions", "Auch gegen Blattläuse.", "Blattläuse"),
        ("directions", "Auch gegen Blatt-\nläuse.", "Blatt- läuse"),
    ],
)
@pytest.mark.parametrize("language", ["en", "de"])
def test_scenario_29_a_pest_claim_on_a_wash_label_cannot_be_approved(
    crew: make.Crew, language: str, where: str, text: str, word: str
) -> None:
    changes: dict[str, Any] = {where: text}
    said = refused_words(crew, written(crew, language=language, **changes))
    assert f"“{word}”" in said
    assert "a label for laundry and cleaning" in said
    assert "plant protection or biocidal product before the law" in said
    assert "Rules differ by place and change." in said
    assert "You have not recorded when you last checked." in said


def test_scenario_29_the_refusal_says_when_the_rules_were_last_checked(
    crew: make.Crew,
) -> None:
    rules.record_rules_check(
        by=crew.maker,
        topic="detergent",
        country="Nordmark",
        page="leaflet 7 of the office",
        observed_at=datetime.datetime(2026, 3, 7, 12, tzinfo=datetime.UTC),
    )
    said = refused_words(crew, written(crew, directions="Kills aphids."))
    assert "Last checked on 7 Mar 2026 for Nordmark: leaflet 7 of the office." in said


def test_scenario_29_a_new_version_without_the_claim_is_approved(
    crew: make.Crew,
) -> None:
    label = written(crew, directions="Wash, and it kills mites too.")
    refused_words(crew, label)
    approved(crew, directions="Wash as usual.", reason="no claim")


def test_scenario_29_a_label_of_a_spray_may_name_its_pest(crew: make.Crew) -> None:
    spray = make.spray_version(crew).formula
    label = approved(
        crew, spray, product_name="Greenfly spray", directions="Against aphids."
    )
    assert label_texts.approved(spray, "en") == label


def test_scenario_29_a_paste_may_not(crew: make.Crew) -> None:
    paste = make.paste_version(crew).formula
    assert "aphids" in refused_words(
        crew, written(crew, paste, directions="Against aphids.")
    )


@pytest.mark.parametrize("purpose", ["wash", "spray"])
def test_a_promise_that_nobody_can_answer_for_is_refused_on_every_label(
    crew: make.Crew, purpose: str
) -> None:
    of = make.spray_version if purpose == "spray" else make.liquid_version
    label = written(crew, of(crew).formula, directions="Gentle and skin-friendly.")
    assert "“skin-friendly”" in refused_words(crew, label)


# ------------------------------------------------------------------ hazard class


@pytest.mark.parametrize("text", ["DANGER: caustic", "Read H318.", "Achtung!"])
def test_hazard_words_are_not_typed_but_recorded(crew: make.Crew, text: str) -> None:
    said = refused_words(crew, written(crew, cautions=text))
    assert "record the hazard class with its basis" in said


def test_a_class_is_recorded_with_its_basis_a_row_for_each_language(
    crew: make.Crew,
) -> None:
    rows = classified(crew, identifier=" A1B2 ")
    assert [row.statements for row in rows] == [EYE_DAMAGE, AUGEN]
    assert {row.identifier for row in rows} == {"A1B2"}
    assert label_state.classes_now(rows[0].formula) == rows
    entry = JournalEntry.objects.get(act="hazard class recorded")
    assert entry.after_values["statements"] == [EYE_DAMAGE, AUGEN]
    with pytest.raises(ValidationError, match="basis"):
        classified(crew, basis=" ")
    with pytest.raises(ValidationError, match="stands with its statements"):
        classified(crew, statements=["", " "])
    with pytest.raises(Refusal, match="no statements to print"):
        classified(crew, signal="none")
    with pytest.raises(ValidationError):
        classified(crew, signal="attention")
    assert Classification.objects.count() == 2


def test_a_recorded_class_has_to_stand_in_the_text(crew: make.Crew) -> None:
    rows = classified(crew)
    label = written(crew)
    assert "recorded last is not the one in this text" in refused_words(crew, label)
    with_it = approved(crew, classification=rows[0], reason="with the class")
    assert label_texts.approved(label.formula, "en") == with_it


def test_a_class_of_another_product_is_refused(crew: make.Crew) -> None:
    other = classified(crew, make.paste_version(crew).formula)[0]
    with pytest.raises(Refusal, match="another product") as refusal:
        written(crew, classification=other)
    assert refusal.value.field == "classification"


def test_a_class_recorded_anew_stops_the_texts_that_print_the_former_one(
    crew: make.Crew,
) -> None:
    label = approved(crew)
    classified(crew)
    assert label_texts.approved(label.formula, "en") is None
    assert label_state.state_of(label).slug == "class_changed"
    assert "hazard class recorded since" in label_state.why_not_print(label)
    # The same block recorded once more changes nothing.
    second = approved(
        crew,
        classification=label_state.classes_now(label.formula)[0],
        reason="with the class",
    )
    classified(crew, basis="looked at again, the same")
    assert label_texts.approved(label.formula, "en") == second
    # Other statements do, under the same signal word.
    classified(crew, statements=["Causes skin burns.", AUGEN])
    assert label_texts.approved(label.formula, "en") is None


def test_not_hazardous_prints_nothing_like_nothing_recorded(crew: make.Crew) -> None:
    label = approved(crew)
    row = classified(crew, signal="none", statements=[])[0]
    assert label_texts.approved(label.formula, "en") == label
    assert approved(
        crew, classification=row, directions="50 ml.", reason="named"
    ) == label_texts.approved(label.formula, "en")


# ------------------------------------------------------------------ who approves


def writer_reviews(crew: make.Crew) -> User:
    crew.maker.is_reviewer = True
    crew.maker.save()
    return crew.maker


def test_the_writer_does_not_approve_nor_another_account_of_theirs(
    crew: make.Crew, owner: User
) -> None:
    label = written(crew)
    other = make.account(
        by=owner,
        name="Mirja Aalto",
        username="mirja.two",
        rights=["reviewer"],
        person=crew.maker.person,
    )
    for by in (writer_reviews(crew), other):
        with pytest.raises(Refusal, match="somebody else must review it"):
            label_texts.approve(by=by, label=label)
    assert not label.decisions.exists()


def test_alone_after_the_pause_and_it_is_said(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    label = written(crew)
    alone = writer_reviews(crew)
    Premises.objects.update(one_person=True, self_review_pause_hours=12)
    with pytest.raises(Refusal, match="Another reviewer has an account"):
        label_texts.approve(by=alone, label=label)
    people.change_rights(
        by=owner, user=crew.reviewer, rights=[Right.AUDITOR], reason="moved"
    )
    with pytest.raises(Refusal, match="fresh eyes"):
        label_texts.approve(by=alone, label=label)
    now, later = timezone.now, datetime.timedelta(hours=12.1)
    monkeypatch.setattr(timezone, "now", lambda: now() + later)
    label_texts.approve(by=alone, label=label)
    assert label_state.state_of(label).self_reviewed
    entry = JournalEntry.objects.latest("sequence")
    assert entry.after_values["self_reviewed"] is True
    assert entry.after_values["pause_hours"] == 12


def test_approved_by_somebody_else_is_not_self_reviewed(crew: make.Crew) -> None:
    assert not label_state.state_of(approved(crew)).self_reviewed
