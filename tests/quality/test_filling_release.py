"""The release of a filling lot: what stands in its way, and who may."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import (
    BottleEvent,
    FillingBalance,
    FillingLot,
    FillingRelease,
    LabelDecision,
)
from batches.services import bottle_doubts, label_texts, labelling
from batches.services.filling_state import why_not_leaving
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises, Right, User
from producer.services import people
from quality.services import filling_release
from tests import bottling, make
from tests.database import without_triggers
from tests.quality import faulty


def obstacles(lot: FillingLot, note: str = "") -> list[str]:
    return list(filling_release.in_the_way(filling_release.looked_at(lot), note=note))


def filled_24(crew: make.Crew) -> FillingLot:
    """Return two dozen small bottles, weighed, with a jar kept."""
    lot = make.filled(crew, count=24, nominal_ul=50_000, sample_mg=5_000)
    bottling.weighed(crew, lot)
    bottling.jar(crew, lot)
    return lot


def counted(crew: make.Crew, lot: FillingLot, kind: str, count: int) -> None:
    labelling.count_labels(by=crew.maker, filling_lot=lot, kind=kind, count=count)


@pytest.mark.django_db
def test_scenario_17_released_only_when_24_applied_and_1_spoiled_are_25(
    crew: make.Crew,
) -> None:
    lot = filled_24(crew)
    bottling.labels_issued(crew, lot)
    bottling.labels_issued(crew, lot, [7], reason="smeared by a wet hand")
    counted(crew, lot, "applied", 24)
    with pytest.raises(Refusal, match="1 of 25 labels is not accounted for"):
        bottling.released(crew, lot)
    assert why_not_leaving([lot]).keys() == {lot.pk}
    counted(crew, lot, "spoiled", 1)
    row = bottling.released(crew, lot)
    assert why_not_leaving([lot]) == {}
    assert row.facts["labels"] == {
        "issued": 25,
        "applied": 24,
        "spoiled": 1,
        "returned": 0,
        "specimen": 0,
    }


@pytest.mark.django_db
def test_labels_that_add_up_and_are_on_no_bottle_do_not_do(crew: make.Crew) -> None:
    lot = filled_24(crew)
    bottling.labels_issued(crew, lot)
    counted(crew, lot, "applied", 20)
    counted(crew, lot, "spoiled", 4)
    (sentence,) = obstacles(lot)
    assert "24 bottles are here to leave, and 20 labels are counted" in sentence


@pytest.mark.django_db
def test_all_that_stands_in_the_way_is_said_at_once(crew: make.Crew) -> None:
    lot = make.filled(crew)
    with pytest.raises(Refusal) as caught:
        bottling.released(crew, lot)
    for words in (
        "No label was printed yet.",
        "No bottle was weighed against its label yet.",
        "No sample of it is kept.",
    ):
        assert words in caught.value.message
    assert not FillingRelease.objects.exists()


@pytest.mark.django_db
def test_the_release_keeps_what_was_looked_at_and_one_row_of_the_journal(
    crew: make.Crew,
) -> None:
    lot = bottling.ready(crew)
    before = JournalEntry.objects.count()
    row = bottling.released(crew, lot, " all as ever ")
    assert JournalEntry.objects.count() == before + 1
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.subject_label) == ("filling lot released", lot.code)
    check = lot.fill_checks.get()
    assert row.facts["check"] == {"id": check.pk, "sentence": check.sentence}
    assert row.facts["samples"] == [lot.samples.get().pk]
    mass = row.facts["mass"]
    assert mass["before_mg"] == FillingBalance.objects.get().before_mg
    assert (mass["filled_mg"], mass["sample_mg"]) == (lot.filled_mg, 5_000)
    assert (row.note, row.self_reviewed, row.facts["bottles"]) == (
        "all as ever",
        False,
        2,
    )


@pytest.mark.django_db
def test_without_a_sample_the_note_says_why(crew: make.Crew) -> None:
    lot = make.filled(crew)
    bottling.labelled(crew, lot)
    bottling.weighed(crew, lot)
    with pytest.raises(Refusal, match="No sample of it is kept") as caught:
        bottling.released(crew, lot, "  ")
    assert caught.value.field == "note"
    assert bottling.released(crew, lot, "only two bottles").note == "only two bottles"


def _short(crew: make.Crew, lot: FillingLot) -> None:
    bottling.weighed(crew, lot, share="0.9")


def _held(crew: make.Crew, lot: FillingLot) -> None:
    make.sign(crew.reviewer, lot.batch, "hold")


def _deviating(crew: make.Crew, lot: FillingLot) -> None:
    faulty.deviation(crew.maker, lot.batch.stock, "ph")


def _doubted(crew: make.Crew, lot: FillingLot) -> None:
    bottle_doubts.report(
        by=crew.maker,
        bottle=make.bottles_of(lot)[0],
        kind="duplicate",
        found="at the stall",
    )


def _withdrawn(crew: make.Crew, lot: FillingLot) -> None:
    label = bottling.text(crew, lot.batch.formula_version.formula)
    label_texts.withdraw(by=crew.reviewer, label=label, reason="a wrong dose")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_short, "The newest weighing of the bottles was not accepted"),
        (_held, "is on hold."),
        (_deviating, "is open. It is decided before anything is released."),
        (_doubted, "is in doubt: two bottles with one code."),
        (_withdrawn, "which was withdrawn"),
    ],
)
def test_what_was_in_order_and_is_no_more_stands_in_the_way(
    crew: make.Crew, spoil: Callable[[make.Crew, FillingLot], None], words: str
) -> None:
    lot = bottling.ready(crew)
    assert obstacles(lot) == []  # control
    spoil(crew, lot)
    with pytest.raises(Refusal) as caught:
        bottling.released(crew, lot)
    assert words in caught.value.message
    assert not FillingRelease.objects.exists()


@pytest.mark.django_db
def test_a_bottle_labelled_anew_carries_the_text_that_is_approved(
    crew: make.Crew,
) -> None:
    lot = bottling.ready(crew)
    _withdrawn(crew, lot)
    formula = lot.batch.formula_version.formula
    label = label_texts.write_label(
        by=crew.maker,
        formula=formula,
        language="en",
        product_name="Laundry liquid, new words",
        reason="a wrong dose",
    )
    label_texts.approve(by=crew.reviewer, label=label)
    bottling.labels_issued(crew, lot, reason="text withdrawn")
    counted(crew, lot, "spoiled", 2)
    assert LabelDecision.objects.filter(kind="withdrawn").exists()
    assert obstacles(lot) == []


@pytest.mark.django_db
def test_only_a_reviewer_who_had_no_hand_in_it(crew: make.Crew, owner: User) -> None:
    lot = bottling.ready(crew)
    with pytest.raises(PermissionDenied):
        filling_release.release(by=crew.maker, filling_lot=lot)
    people.change_rights(
        by=owner,
        user=crew.maker,
        rights=[Right.MAKER, Right.REVIEWER],
        reason="helps out",
    )
    maker = User.objects.get(pk=crew.maker.pk)
    with pytest.raises(Refusal, match="somebody else must review"):
        filling_release.release(by=maker, filling_lot=lot)
    bottling.released(crew, lot)


@pytest.mark.django_db
def test_alone_after_the_pause_and_it_says_so_for_ever(
    crew: make.Crew, owner: User, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = bottling.ready(crew)
    people.change_rights(
        by=owner,
        user=crew.maker,
        rights=[Right.MAKER, Right.REVIEWER],
        reason="alone now",
    )
    alone = User.objects.get(pk=crew.maker.pk)
    Premises.objects.update(one_person=True, self_review_pause_hours=12)
    User.objects.filter(pk=crew.reviewer.pk).update(is_active=False)
    with pytest.raises(Refusal, match="fresh eyes"):
        filling_release.release(by=alone, filling_lot=lot)
    later = timezone.now() + datetime.timedelta(hours=12, minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    row = filling_release.release(by=alone, filling_lot=lot)
    assert row.self_reviewed
    assert row.facts["pause_hours"] == 12
    monkeypatch.undo()
    client.force_login(alone)
    for name in ("batches:filling_lot", "quality:fill_release"):
        text = client.get(reverse(name, args=[lot.code])).content.decode()
        assert "self-reviewed" in text, name


@pytest.mark.django_db
def test_a_lot_is_released_once(crew: make.Crew) -> None:
    lot = bottling.bottled(crew)
    with pytest.raises(Conflict):
        bottling.released(crew, lot)


@pytest.mark.django_db
def test_a_lot_from_before_needs_no_release(crew: make.Crew) -> None:
    lot, new = make.filled(crew, count=1), make.filled(crew, count=1)
    with without_triggers():
        FillingBalance.objects.filter(filling_lot=lot).delete()
    assert why_not_leaving([lot, new]) == {
        new.pk: f"Filling lot {new.code} is not released yet. Its page says what is"
        " still to do."
    }
    with pytest.raises(Refusal, match="before releases were asked for"):
        bottling.released(crew, lot)


@pytest.mark.django_db
def test_who_may_leave_is_one_query(crew: make.Crew) -> None:
    lots = [make.filled(crew, count=1), bottling.bottled(crew, count=1)]
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert set(why_not_leaving(lots)) == {lots[0].pk}
    assert len(asked) == 1


@pytest.mark.django_db
def test_the_page_says_what_is_next_and_releases(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew, sample_mg=5_000)
    here = reverse("batches:filling_lot", args=[lot.code])
    client.force_login(crew.maker)

    def next_step() -> str:
        text = client.get(here).content.decode()
        return text.split('<p class="kicker">Next</p>')[1].split("</h2>")[0]

    assert "Print labels" in next_step()
    bottling.labels_issued(crew, lot)
    assert "Weigh bottles" in next_step()
    bottling.weighed(crew, lot)
    assert "Keep a sample" in next_step()
    bottling.jar(crew, lot)
    assert "Count labels" in next_step()
    counted(crew, lot, "applied", 2)
    assert "Release" in next_step()
    client.force_login(crew.reviewer)
    address = reverse("quality:fill_release", args=[lot.code])
    page = client.get(address)
    fields = {"submission": page.context["form"]["submission"].value()}
    done = client.post(address, fields, follow=True)
    assert "Its bottles may leave." in done.content.decode()
    assert "Next</p>" not in client.get(here).content.decode()
    assert FillingRelease.objects.get().entered_by == crew.reviewer
    assert BottleEvent.objects.count() == 2  # a release moves no bottle
