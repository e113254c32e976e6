"""A recall as it was believed, and as it is after the book was corrected."""

from __future__ import annotations

import uuid
from typing import Any

import pypdfium2
import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from batches.models import Bottle, Charge, FillingLot
from producer.errors import Conflict, Refusal
from producer.models import Consignee, JournalEntry, RawLot, User
from producer.services import intake
from quality.documents import recalls as documents
from quality.models import (
    AllClear,
    HazardEvaluation,
    Recall,
    RecallChange,
    RecallContact,
    RecallItem,
    RecallRevision,
    RecallRoot,
)
from quality.services import (
    changing,
    recall_clearing,
    recall_closing,
    recall_contacts,
    recall_hazard,
    recall_notices,
    recall_revising,
    recall_scope,
    recalling,
)
from quality.services.recall_holders import holders_of
from quality.services.recall_status import standing_of
from quality.services.today import urgent
from quality.services.verification import states
from tests import hands, leaving, make
from tests.once import once

pytestmark = pytest.mark.django_db


def look(crew: make.Crew, recall: Recall, note: str = "another can") -> RecallRevision:
    return recall_revising.look_again(by=crew.reviewer, recall=recall, note=note)


def batches_of(recall: Recall) -> list[str]:
    """Return the codes of the batches that were found when it was opened."""
    items = RecallItem.objects.filter(recall=recall, stock__kind="batch")
    return list(items.order_by("pk").values_list("stock__code", flat=True))


def faults() -> list[str]:
    return list(states.recall_faults())


def test_what_the_book_says_now_is_shown_beside_what_was_kept(crew: make.Crew) -> None:
    recall = hands.corrected(crew)
    assert "Look at the recall again" in " ".join(standing_of(recall).next_steps)
    drift = recall_revising.drift_of(recall)
    assert drift
    assert list(drift.added) == []
    cleared = set(
        RecallItem.objects.filter(recall=recall).values_list("stock", flat=True)
    )
    assert set(drift.cleared) == cleared - {recall.root_id}
    # A maker's correction ends no warning: what was found is recalled until a look.
    for bottle in Bottle.objects.listed():
        assert hands.recalls_reaching(bottle) == [recall]
    (holder,) = holders_of(recall)
    assert holder.out == 2
    assert recall_notices.all_clears_of(recall) == []
    look(crew, recall)
    for bottle in Bottle.objects.listed():
        assert hands.recalls_reaching(bottle) == []
    assert holders_of(recall)[0].out == 0


def test_looking_again_keeps_both_and_what_is_cleared_may_be_decided_about(
    crew: make.Crew,
) -> None:
    recall = hands.corrected(crew)
    believed = batches_of(recall)
    assert len(believed) == 2
    revision = look(crew, recall)
    assert revision.facts["cleared"] == believed
    assert revision.facts["added"] == []
    assert batches_of(recall) == believed  # as believed stays on record
    standing = RecallItem.objects.standing().filter(recall=recall)
    assert list(standing.values_list("stock", flat=True)) == [recall.root_id]
    entry = JournalEntry.objects.get(act="recall looked at again")
    assert (entry.after_values["cleared"], entry.reason) == (believed, "another can")
    assert not recall_revising.drift_of(recall)
    with pytest.raises(Refusal, match="Nothing has changed"):
        look(crew, recall)
    assert faults() == []


def test_the_notices_that_were_sent_stay_and_the_shop_gets_an_all_clear(
    crew: make.Crew,
) -> None:
    recall = hands.corrected(crew)
    shop = make.consignee(crew.maker)
    look(crew, recall)
    (one,) = recall_clearing.all_clear_list(recall)
    assert (one.name, one.count, one.was_told, one.told) == (shop.name, 2, True, None)
    assert list(one.ranges.values()) == ["1–2"]
    assert not one.keeps_others
    assert "Alarmed for nothing: 1." in " ".join(standing_of(recall).next_steps)
    recall_clearing.give_all_clear(
        by=crew.maker, recall=recall, consignee=shop, means="telephone"
    )
    (one,) = recall_clearing.all_clear_list(recall)
    assert one.told is not None
    assert "Alarmed" not in " ".join(standing_of(recall).next_steps)
    # What was recorded of telling them before is as it was.
    attempt = RecallContact.objects.get(recall=recall)
    assert attempt.outcome == "reached"
    assert AllClear.objects.get().consignee == shop
    entry = JournalEntry.objects.latest("sequence")
    assert shop.name not in str(entry.after_values)


def test_an_all_clear_is_for_a_real_recall_that_was_looked_at_again(
    crew: make.Crew,
) -> None:
    recall = hands.corrected(crew)
    facts: dict[str, Any] = {
        "consignee": make.consignee(crew.maker),
        "means": "email",
    }
    with pytest.raises(Refusal, match="Nothing was cleared"):
        recall_clearing.give_all_clear(by=crew.maker, recall=recall, **facts)
    look(crew, recall)
    with pytest.raises(ValidationError, match="not both"):
        recall_clearing.give_all_clear(
            by=crew.maker, recall=recall, who="the neighbour", **facts
        )
    mock = hands.of_a_time(crew, is_mock=True)
    with pytest.raises(Refusal, match="nobody was alarmed"):
        recall_clearing.give_all_clear(by=crew.maker, recall=mock, **facts)


@once
def found_late(crew: make.Crew) -> Recall:
    """Return a recall of a time, in which a second filling was entered since.

    The shop was told of the first; bottles of both are with it.
    """
    liquid = make.released_liquid(crew)
    first = make.filled(crew, liquid, count=2, nominal_ul=100_000)
    second = make.filled(crew, liquid, count=3, nominal_ul=100_000)
    shop = make.consignee(crew.maker)
    leaving.sent(crew, make.bottles_of(first)[:1], shop)
    leaving.sent(crew, make.bottles_of(second)[:2], shop)
    recall = hands.of_a_time(crew, during="filled")
    # As if it had been opened before the second was entered.
    root = RecallRoot.objects.get(recall=recall, filling_lot=second)
    look_away(recall, root)
    recall_contacts.record_contact(
        by=crew.maker,
        recall=recall,
        consignee=shop,
        means="email",
        outcome="reached",
        said="keeps them shut",
    )
    return recall


def look_away(recall: Recall, root: RecallRoot) -> None:
    """Clear a root by a look, so that the next one finds it anew."""
    revision = RecallRevision.objects.create(
        recall=recall,
        note="entered for the scene",
        facts={
            "added": [],
            "cleared": [],
            "filling_lots_added": [],
            "filling_lots_cleared": [],
        },
        observed_at=recall.opened_at,
        entered_by=User.objects.order_by("pk")[0],
    )
    RecallChange.objects.create(revision=revision, root=root, is_affected=False)


def test_who_was_told_before_more_was_found_is_to_be_told_anew(
    crew: make.Crew,
) -> None:
    recall = found_late(crew)
    (holder,) = holders_of(recall)
    assert (holder.out, holder.is_reached) == (1, True)
    drift = recall_revising.drift_of(recall)
    assert [one.why for one in drift.new_roots] == ["filled in that time"]
    look(crew, recall, "the second filling was entered late")
    (holder,) = holders_of(recall)
    assert (holder.out, holder.is_reached) == (3, False)
    assert holder.is_to_be_told_anew
    steps = " ".join(standing_of(recall).next_steps)
    assert "Told before more of theirs was found: 1 holder." in steps
    recall_contacts.record_contact(
        by=crew.maker,
        recall=recall,
        consignee=make.consignee(crew.maker),
        means="telephone",
        outcome="reached",
        said="keeps them shut",
    )
    (holder,) = holders_of(recall)
    assert holder.is_reached
    assert not holder.is_to_be_told_anew
    assert len(holder.attempts) == 2


def test_a_closed_recall_stays_as_it_was_closed(crew: make.Crew) -> None:
    recall = hands.corrected(crew)
    now = standing_of(recall)
    assert (
        "The book was corrected since, and the recall was not looked at again."
        in recall_closing.in_the_way(now)
    )
    hands.closed(crew, recall)
    with pytest.raises(Conflict, match="Open another one"):
        look(crew, recall)


def test_of_a_mock_recall_nothing_is_held_by_a_look(crew: make.Crew) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=potash.stock,
        hazard_class="3",
        reason="tried out",
        public_notice="",
        is_mock=True,
    )
    charge = Charge.objects.current().get(batch=paste, source=potash.stock)
    changing.change_charge(by=crew.maker, charge=charge, void=True, reason="not this")
    look(crew, recall)
    assert JournalEntry.objects.filter(act="mock recall looked at again").exists()
    assert RawLot.objects.get(pk=potash.pk).frozen_by == ""


def test_a_look_needs_a_note_a_reviewer_and_a_form_is_carried_out_once(
    crew: make.Crew,
) -> None:
    recall = hands.corrected(crew)
    with pytest.raises(Refusal, match="Write what was corrected"):
        look(crew, recall, "  ")
    with pytest.raises(PermissionDenied):
        recall_revising.look_again(by=crew.maker, recall=recall, note="x")
    assert not RecallRevision.objects.exists()


def test_a_lot_cleared_by_a_look_may_be_decided_about(crew: make.Crew) -> None:
    """A recall of a time held the lots that were weighed in it only as batches."""
    recall = hands.corrected(crew)
    look(crew, recall)
    potash = RawLot.objects.get(pk=recall.root_id)
    with pytest.raises(Refusal, match="Close it first"):  # the root is affected still
        intake.decide_lot(by=crew.reviewer, lot=potash, new="released", reason="x")


# ------------------------------------------------------- hazard, and notices


def test_a_hazard_is_evaluated_again_and_the_first_one_stays(crew: make.Crew) -> None:
    recall = hands.corrected(crew)
    assert "Write down how bad it could be" in " ".join(standing_of(recall).next_steps)
    facts = {**hands.HAZARD, "hazard_class": "1"}
    recall_hazard.evaluate(by=crew.reviewer, recall=recall, **hands.HAZARD)
    recall_hazard.evaluate(by=crew.reviewer, recall=recall, **facts)
    recall.refresh_from_db()
    assert (recall.hazard_class, recall.depth) == ("1", "consumer")
    classes = HazardEvaluation.objects.order_by("pk").values_list("hazard_class")
    assert [one for (one,) in classes] == ["2", "1"]
    now = standing_of(recall)
    assert now.evaluation is not None
    assert "Write down how bad" not in " ".join(now.next_steps)
    with pytest.raises(ValidationError):
        recall_hazard.evaluate(
            by=crew.reviewer, recall=recall, **{**facts, "harm": " "}
        )
    with pytest.raises(PermissionDenied):
        recall_hazard.evaluate(by=crew.maker, recall=recall, **facts)
    hands.closed(crew, recall)
    with pytest.raises(Conflict, match="stays as it was"):
        recall_hazard.evaluate(by=crew.reviewer, recall=recall, **facts)
    assert faults() == []


def test_a_notice_names_product_size_lot_numbers_and_what_to_do(
    crew: make.Crew, client: Client
) -> None:
    recall = found_late(crew)
    shop = make.consignee(crew.maker)
    (letter,) = recall_notices.letters_of(recall)
    assert (letter.name, letter.count, letter.anew) == (shop.name, 1, False)
    look(crew, recall)
    (letter,) = recall_notices.letters_of(recall)
    assert (letter.count, letter.anew, letter.tells_on) == (3, True, True)
    assert [one.numbers for one in letter.goods] == ["1", "1–2"]
    poster = recall_notices.poster_of(recall)
    assert (poster.name, poster.count) == ("", 3)
    client.force_login(crew.reviewer)
    page = client.get(reverse("quality:recall_notices", args=[recall.code]))
    words = page.content.decode()
    for said in (*(one.batch for one in letter.goods), "100 ml", shop.name):
        assert said in words
    assert "Do not use it; call us." in words
    assert "the water was brown" not in words  # why, is for inside
    paper = documents.notices_pdf(recall, printed_by="R")
    assert len(pypdfium2.PdfDocument(paper)) == 2  # one to post, one to the shop


def test_to_whom_a_recall_is_carried_decides_whether_they_tell_it_on(
    crew: make.Crew,
) -> None:
    recall = found_late(crew)
    facts = {**hands.HAZARD, "depth": "retail"}
    recall_hazard.evaluate(by=crew.reviewer, recall=recall, **facts)
    recall.refresh_from_db()
    (letter,) = recall_notices.letters_of(recall)
    assert not letter.tells_on


def test_an_all_clear_letter_says_what_is_clear(
    crew: make.Crew, client: Client
) -> None:
    recall = hands.corrected(crew)
    look(crew, recall)
    (letter,) = recall_notices.all_clears_of(recall)
    assert (letter.is_clear, letter.count, letter.keeps_others) == (True, 2, False)
    client.force_login(crew.maker)
    page = client.get(reverse("quality:recall_notices", args=[recall.code]))
    assert "All clear: these bottles are not recalled" in page.content.decode()


def test_a_mock_notice_says_so_and_is_not_to_be_sent(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew, count=2)
    leaving.sent(crew, make.bottles_of(lot)[:1])
    recall = hands.of_a_time(crew, during="filled", is_mock=True)
    client.force_login(crew.maker)
    page = client.get(reverse("quality:recall_notices", args=[recall.code]))
    words = page.content.decode()
    assert words.count("MOCK RECALL – do not send this to anybody") == 2


def test_the_page_of_a_recall_shows_it_all(crew: make.Crew, client: Client) -> None:
    recall = hands.corrected(crew)
    client.force_login(crew.reviewer)
    address = reverse("quality:recall", args=[recall.code])
    again = reverse("quality:recall_look_again", args=[recall.code])
    assert again in client.get(address).content.decode()
    shown = client.get(again).content.decode()
    for code in batches_of(recall):
        assert code in shown
    answer = client.post(again, {"note": "it was K-17", "submission": uuid.uuid4()})
    assert answer["Location"] == address
    page = client.get(address).content.decode()
    assert "As believed, and as corrected" in page
    assert "it was K-17" in page
    assert "All-clear list" in page
    assert again not in page
    assert reverse("quality:recall_all_clear", args=[recall.code]) in page
    report = client.get(reverse("quality:recall_report", args=[recall.code]))
    assert "it was K-17" in report.content.decode()


def test_scenario_13_recalls_of_a_mistyped_lot_and_of_the_true_one_are_redone(
    crew: make.Crew,
) -> None:
    """0071 was written for what was 0017, and once for 0042; 0071 and 0017 are bad."""
    written, true, clean = (
        make.released_lot(crew, make.potash(crew.maker), supplier_lot=f"OL-{number}")
        for number in ("0071", "0017", "0042")
    )
    shops = [make.consignee(crew.maker, name=f"Shop {one}") for one in "ABC"]
    lots = [
        bottled_and_sent(crew, lot, shop)
        for lot, shop in zip((written, true, written), shops, strict=True)
    ]
    of_written, of_true = (hands.recall(crew, one.stock) for one in (written, true))
    for recall, shop in zip((of_written, of_true, of_written), shops, strict=True):
        recall_contacts.record_contact(
            by=crew.maker,
            recall=recall,
            consignee=shop,
            means="email",
            outcome="reached",
            said="keeps them shut",
        )
    charges = Charge.objects.current().filter(source=written.stock).order_by("pk")
    for charge, lot in zip(list(charges), (true, clean), strict=True):
        changing.change_charge(
            by=crew.maker,
            charge=charge,
            source=lot.stock,
            gross_mg=charge.gross_mg,
            tare_mg=charge.tare_mg,
            certain=True,  # the true lot is on hold by its own recall
            reason="the number was misread",
        )
    for recall in (of_written, of_true):
        look(crew, recall, "the number was misread")
    # Of the lot that was written nothing is left. Who has what was of the clean lot
    # gets an all clear; what was of the true lot is recalled with that.
    assert not any(one.is_listed for one in holders_of(of_written))
    (clear,) = recall_clearing.all_clear_list(of_written)
    assert (clear.name, clear.was_told, clear.count) == ("Shop C", True, 1)
    (letter,) = recall_notices.all_clears_of(of_written)
    assert (letter.name, letter.goods[0].filling_lot) == ("Shop C", lots[2].code)
    # Of the true one both are affected: a new notice for the one who was missed.
    by_name = {one.name: one for one in holders_of(of_true)}
    assert {name: one.out for name, one in by_name.items()} == {
        "Shop A": 1,
        "Shop B": 1,
    }
    assert not by_name["Shop A"].is_reached
    assert by_name["Shop B"].is_reached
    letters = {one.name: one for one in recall_notices.letters_of(of_true)}
    assert letters["Shop A"].goods[0].filling_lot == lots[0].code
    assert not letters["Shop A"].anew  # never told of this one
    # Notices already sent stay, as recorded.
    assert RecallContact.objects.count() == len(shops)
    # What is outside says what is so now.
    first, second, third = (make.bottles_of(lot)[0] for lot in lots)
    assert hands.recalls_reaching(first) == [of_true]
    assert hands.recalls_reaching(second) == [of_true]
    assert hands.recalls_reaching(third) == []
    assert recall_scope.scope_of(of_written).made_ids == [written.pk]
    assert faults() == []


def bottled_and_sent(crew: make.Crew, potash: RawLot, shop: Consignee) -> FillingLot:
    """Return two bottles made with a lot of potash, one of them at a shop."""
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    liquid = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, liquid, count=2, nominal_ul=100_000)
    leaving.sent(crew, make.bottles_of(lot)[:1], shop)
    return lot


def test_what_another_open_recall_reaches_is_not_clear(crew: make.Crew) -> None:
    recall = hands.corrected(crew)
    other = hands.recall(crew, FillingLot.objects.get().batch.stock)
    look(crew, recall)
    assert recall_clearing.all_clear_list(recall) == []
    assert recall_notices.all_clears_of(recall) == []
    facts: dict[str, Any] = {
        "recall": recall,
        "consignee": make.consignee(crew.maker),
        "means": "email",
    }
    with pytest.raises(Refusal, match="Nothing of theirs is clear"):
        recall_clearing.give_all_clear(by=crew.maker, **facts)
    hands.closed(crew, other)
    (one,) = recall_clearing.all_clear_list(recall)  # control
    assert one.count == 2
    (letter,) = recall_notices.all_clears_of(recall)
    assert letter.waits  # its batch is on hold for the correction


def test_today_says_that_the_book_has_overtaken_a_recall(crew: make.Crew) -> None:
    recall = hands.corrected(crew)
    (row,) = urgent.overtaken(make.TODAY).rows
    assert (row.name, row.do) == (recall.code, "Look at it again")
    look(crew, recall)
    assert urgent.overtaken(make.TODAY).rows == []


def test_the_words_for_a_person_with_a_bottle_change_with_the_evaluation(
    crew: make.Crew,
) -> None:
    recall = hands.corrected(crew)
    words = "It can burn skin and eyes: rinse with plenty of water, and call us."
    recall_hazard.evaluate(
        by=crew.reviewer, recall=recall, public_notice=words, **hands.HAZARD
    )
    recall.refresh_from_db()
    assert recall.public_notice == words
    entry = JournalEntry.objects.latest("sequence")
    assert entry.before_values["public_notice"] == "Do not use it; call us."
    assert entry.after_values["public_notice"] == words
