"""A dispatch recorded by mistake is taken back: its bottles never left."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    BottleDiscrepancy,
    BottleEvent,
    Dispatch,
    DispatchTakenBack,
)
from batches.services import bottle_doubts, bottle_moves, dispatch_back
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from quality.documents import delivery_note
from quality.services import dispatch_back as taking
from quality.services import filling_checks, recalling, suppliers
from quality.services.export_tables import TABLES
from quality.services.recall_holders import holders_of, listed
from quality.services.today import tools
from quality.services.verification import states, taken_back
from tests import hands, leaving, make
from tests.database import while_uncommitted
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
WHY = "meant for the other shop in the street"


def sent(crew: make.Crew, count: int | None = None) -> tuple[Dispatch, list[Bottle]]:
    """Send bottles of a filling lot to a shop; all of them, or the first so many."""
    bottles = leaving.bottles(crew)[:count]
    return hands.dispatched(crew, bottles, make.consignee(crew.maker)), bottles


def back(by: User, row: Dispatch) -> DispatchTakenBack:
    return taking.take_back(by=by, dispatch=row, reason=WHY)


def statuses(bottles: list[Bottle]) -> set[str]:
    rows = Bottle.objects.filter(pk__in=[one.pk for one in bottles])
    return set(rows.values_list("status", flat=True))


def last_event(bottle: Bottle) -> BottleEvent:
    return bottle.events.latest("pk")


def faults() -> list[str]:
    return [*taken_back.faults(), *states.status_faults()]


def days_later(monkeypatch: pytest.MonkeyPatch, days: float) -> None:
    later = timezone.now() + datetime.timedelta(days=days)
    monkeypatch.setattr(timezone, "now", lambda: later)


def test_its_bottles_are_in_stock_and_with_nobody_and_both_moves_stay(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    back(crew.maker, row)
    for bottle in Bottle.objects.filter(pk__in=[one.pk for one in bottles]):
        assert (bottle.status, bottle.consignee) == ("filled", None)
        moves = list(bottle.events.order_by("pk").values_list("old", "new"))
        assert moves[-2:] == [("filled", "dispatched"), ("dispatched", "filled")]
        assert last_event(bottle).reason == (
            f"Dispatch {row.code} was recorded by mistake: {WHY}"
        )
    assert Dispatch.objects.get() == row
    assert faults() == []


def test_they_can_leave_for_the_right_one_with_no_inspection_in_between(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    back(crew.maker, row)
    right = make.consignee(crew.maker, "The other shop")
    again = hands.dispatched(crew, list(Bottle.objects.all()), right)
    assert statuses(bottles) == {"dispatched"}
    assert set(Bottle.objects.values_list("consignee", flat=True)) == {right.pk}
    assert faults() == []
    back(crew.maker, again)
    assert statuses(bottles) == {"filled"}
    assert faults() == []


def test_the_journal_names_the_bottles_and_the_consignee_by_reference(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    back(crew.maker, row)
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.reason) == ("dispatch taken back", WHY)
    assert entry.before_values["consignee"] == row.consignee.reference
    assert set(entry.before_values["bottles"]) == {one.code for one in bottles}
    assert entry.after_values["back_in_stock"] == len(bottles)
    assert entry.after_values["bottles_held"] == 0
    assert row.consignee.name not in entry.before + entry.after


@pytest.mark.parametrize("new", ["returned", "recovered", "destroyed"])
def test_nothing_is_taken_back_once_one_of_its_bottles_has_moved(
    crew: make.Crew, new: str
) -> None:
    row, (first, *rest) = sent(crew)
    if new == "recovered":
        hands.recall(crew, first.filling_lot.batch.stock)
    hands.moved(crew.maker, first, new, "said so")
    with pytest.raises(Refusal, match="Nothing was taken back") as why:
        back(crew.maker, row)
    assert grouped(first.code) in why.value.message
    assert f"recorded as {new}" in why.value.message
    assert "Record each of the others as returned" in why.value.message
    assert statuses(rest) == {"dispatched"}
    assert not DispatchTakenBack.objects.exists()


def test_an_older_dispatch_is_not_taken_back_by_the_way_of_a_newer_one(
    crew: make.Crew,
) -> None:
    row, (first, *_) = sent(crew, 1)
    hands.moved(crew.maker, first, "returned", "unsold")
    hands.moved(crew.reviewer, first, "filled", "whole", inspection="seal whole")
    hands.dispatched(crew, [first], make.consignee(crew.maker, "The other shop"))
    with pytest.raises(Refusal, match="it has moved on since"):
        back(crew.maker, row)
    assert statuses([first]) == {"dispatched"}


def test_it_is_taken_back_once(crew: make.Crew) -> None:
    row, _ = sent(crew)
    back(crew.maker, row)
    with pytest.raises(Conflict, match="a moment ago"):
        back(crew.maker, row)
    assert DispatchTakenBack.objects.count() == 1


@pytest.mark.parametrize("empty", ["", "  "])
def test_it_needs_a_reason(crew: make.Crew, empty: str) -> None:
    row, bottles = sent(crew)
    with pytest.raises(Refusal, match="Say why"):
        taking.take_back(by=crew.maker, dispatch=row, reason=empty)
    with pytest.raises(IntegrityError), transaction.atomic():
        DispatchTakenBack.objects.create(
            dispatch=row, reason="", observed_at=timezone.now(), entered_by=crew.maker
        )
    assert statuses(bottles) == {"dispatched"}


def test_a_maker_does_it_for_two_days_and_a_reviewer_after(
    crew: make.Crew, auditor: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    row, bottles = sent(crew)
    with pytest.raises(PermissionDenied):
        back(auditor, row)
    days_later(monkeypatch, 1.9)
    assert dispatch_back.may_take_back(crew.maker, row)
    days_later(monkeypatch, 0.2)
    assert not dispatch_back.may_take_back(crew.maker, row)
    with pytest.raises(PermissionDenied):
        back(crew.maker, row)
    assert statuses(bottles) == {"dispatched"}
    back(crew.reviewer, row)
    assert statuses(bottles) == {"filled"}


def test_a_reviewer_may_do_it_at_once(crew: make.Crew) -> None:
    row, bottles = sent(crew)
    back(crew.reviewer, row)
    assert statuses(bottles) == {"filled"}


def test_of_a_batch_on_hold_they_come_back_on_hold_and_are_freed_with_it(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    batch = bottles[0].filling_lot.batch
    make.sign(crew.reviewer, batch, "hold")
    back(crew.maker, row)
    assert statuses(bottles) == {"on_hold"}
    event = last_event(bottles[0])
    assert (event.old, event.new) == ("filled", "on_hold")
    assert event.reason == f"Batch {batch.number} is on hold"
    assert JournalEntry.objects.latest("sequence").after_values["bottles_held"] == len(
        bottles
    )
    assert faults() == []


def test_what_something_within_holds_comes_back_on_hold(crew: make.Crew) -> None:
    row, bottles = sent(crew)
    batch = bottles[0].filling_lot.batch
    paste = next(
        one.source for one in batch.inputs.all() if one.source.kind == "batch"
    ).batch
    paste.status = "on_hold"
    paste.save(update_fields=["status"])
    back(crew.maker, row)
    assert statuses(bottles) == {"on_hold"}
    assert f"{paste.number} in it is on hold" in last_event(bottles[0]).reason


def test_what_a_weighing_holds_comes_back_held_by_it(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    row, bottles = sent(crew)
    lot = bottles[0].filling_lot
    monkeypatch.setattr(filling_checks, "newest_stops", lambda asked: asked == lot)
    back(crew.maker, row)
    assert statuses(bottles) == {"on_hold"}
    monkeypatch.undo()
    held = filling_checks.held_by_weighing(lot)
    assert {one.pk for one in held} == {one.pk for one in bottles}


def test_a_bottle_in_doubt_comes_back_on_hold_and_its_sisters_to_stock(
    crew: make.Crew,
) -> None:
    row, (first, *rest) = sent(crew)
    doubt = bottle_doubts.report(
        by=crew.maker,
        bottle=first,
        kind=BottleDiscrepancy.Kind.ELSEWHERE,
        found="on our own shelf",
    )
    back(crew.maker, row)
    assert statuses([first]) == {"on_hold"}
    assert last_event(first).reason == doubt.get_kind_display()
    assert statuses(rest) == {"filled"}


def test_an_open_recall_that_lists_them_refuses_and_says_what_to_do(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    recall = hands.recall(crew, bottles[0].filling_lot.batch.stock)
    with pytest.raises(Refusal, match=f"is in recall {recall.code}, which is") as why:
        back(crew.reviewer, row)
    assert "record it as recovered when you have it" in why.value.message
    assert statuses(bottles) == {"dispatched"}
    hands.closed(crew, recall)
    back(crew.reviewer, row)
    assert statuses(bottles) == {"on_hold"}  # its batch stays on hold
    assert faults() == []


def test_a_mock_recall_stands_in_no_way_and_does_not_list_them_as_out(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    root = bottles[0].filling_lot.batch.stock
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=root,
        hazard_class="3",
        reason="once a year",
        public_notice="",
        is_mock=True,
    )
    back(crew.maker, row)
    assert listed(holders_of(recall)) == []


@pytest.mark.django_db(transaction=True)
def test_a_return_at_the_same_moment_stops_it(crew: make.Crew) -> None:
    row, (first, *rest) = sent(crew)
    results = while_uncommitted(
        lambda: hands.moved(
            crew.maker, Bottle.objects.get(pk=first.pk), "returned", "x"
        ),
        lambda: back(crew.reviewer, row),
    )
    assert isinstance(results[0], Bottle)
    assert isinstance(results[1], Refusal)
    assert statuses([first]) == {"returned"}
    assert statuses(rest) == {"dispatched"}


def test_nobody_chooses_the_way_back_for_one_bottle(crew: make.Crew) -> None:
    _, (first, *_) = sent(crew)
    with pytest.raises(Refusal, match="cannot become filled"):
        hands.moved(crew.reviewer, first, "filled", "x", inspection="whole")
    assert "filled" not in dict(bottle_moves.choices_for(crew.reviewer, "dispatched"))


def test_what_a_consignee_holds_and_had_says_it(
    crew: make.Crew, client: Client
) -> None:
    row, _ = sent(crew)
    assert suppliers.held_by(row.consignee)
    back(crew.maker, row)
    assert suppliers.held_by(row.consignee) == []
    assert suppliers.came_back_from(row.consignee) == []
    client.force_login(crew.maker)
    shown = page_of(
        client.get(reverse("quality:consignee", args=[row.consignee_id]))
    ).words
    assert f"Taken back, never sent: {WHY} ({crew.maker.person.name}" in shown
    assert "Nothing came back from them" in shown


def test_the_mock_recall_of_the_year_begins_at_what_really_left(
    crew: make.Crew,
) -> None:
    row, bottles = sent(crew)
    assert tools._left_last() == bottles[0].filling_lot.batch.number
    back(crew.maker, row)
    assert tools._left_last() is None


def test_pages_lists_and_papers_say_by_whom_and_why(
    crew: make.Crew, client: Client
) -> None:
    row, (first, *_) = sent(crew)
    client.force_login(crew.maker)
    page = reverse("quality:dispatch_take_back", args=[row.code])
    home = reverse("batches:dispatch", args=[row.code])
    assert page in str(client.get(home).content)
    answer = client.post(
        page, {"submission": str(uuid.uuid4()), "reason": WHY}, follow=True
    )
    shown = page_of(answer).words
    assert f"Dispatch {row.code} is taken back. Its bottles are in stock again" in shown
    assert "Taken back: it was recorded by mistake" in shown
    assert page not in str(client.get(home).content)
    name = crew.maker.person.name
    pages = [
        home,
        "/dispatches/",
        reverse("quality:bottle", args=[first.code]),
        reverse("quality:affected", args=[first.filling_lot.batch.number]),
    ]
    for one in pages:
        shown = page_of(client.get(one)).words
        assert WHY in shown, one
        assert name in shown, one
    assert f"taken back by {name}" in page_of(client.get(pages[2])).words
    rows = list(delivery_note.list_csv(Dispatch.objects.get()))
    assert all(WHY in one and name in one for one in rows[1:])


def test_a_late_one_is_asked_of_a_reviewer(
    crew: make.Crew, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    row, _ = sent(crew)
    monkeypatch.setattr(dispatch_back, "BY_ITS_MAKER_FOR", datetime.timedelta(0))
    page = reverse("quality:dispatch_take_back", args=[row.code])
    home = reverse("batches:dispatch", args=[row.code])
    client.force_login(crew.maker)
    assert page not in str(client.get(home).content)
    assert "a reviewer does this" in page_of(client.get(page)).words
    client.force_login(crew.reviewer)
    assert page in str(client.get(home).content)


def test_bottles_that_come_back_on_hold_are_said_as_a_warning(
    crew: make.Crew, client: Client
) -> None:
    row, bottles = sent(crew)
    make.sign(crew.reviewer, bottles[0].filling_lot.batch, "hold")
    client.force_login(crew.maker)
    page = reverse("quality:dispatch_take_back", args=[row.code])
    answer = client.post(
        page, {"submission": str(uuid.uuid4()), "reason": WHY}, follow=True
    )
    assert f"{len(bottles)} of its bottles are on hold" in page_of(answer).words


def test_the_delivery_note_printed_after_it_is_not_valid(
    crew: make.Crew, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from django.template.loader import render_to_string  # noqa: PLC0415

    from producer import prints  # noqa: PLC0415

    def as_text(template: str, context: dict[str, object], **_: str) -> bytes:
        return render_to_string(template, context).encode()

    monkeypatch.setattr(prints, "pdf", as_text)
    row, _ = sent(crew)
    client.force_login(crew.maker)
    page = reverse("quality:dispatch_note", args=[row.code])
    assert "NOT VALID" not in client.get(page).content.decode()
    back(crew.maker, row)
    told = client.get(page).content.decode()
    assert f"NOT VALID: Delivery note {row.code}" in told
    assert WHY in told
    assert crew.maker.person.name in told


def test_the_export_has_it(crew: make.Crew) -> None:
    row, bottles = sent(crew, 1)
    other = hands.dispatched(
        crew, make.bottles_of(bottles[0].filling_lot)[1:2], row.consignee
    )
    back(crew.maker, row)
    (table,) = (one for one in TABLES if one.name == "dispatches")
    rows = [
        dict(zip(table.head, cells, strict=True))
        for cells in table.rows(bottles[0].filling_lot.batch)
    ]
    assert [one["dispatch"] for one in rows] == [row.code, other.code]
    assert [one["bottles"] for one in rows] == [1, 1]
    assert [one["is_taken_back"] for one in rows] == [True, False]
    assert rows[0]["taken_back_because"] == WHY
    assert rows[0]["taken_back_by"] == crew.maker.person.name


def by_hand(bottle: Bottle, old: str, new: str, by: User) -> None:
    """Write a move of a bottle past the services."""
    BottleEvent.objects.create(
        bottle=bottle, old=old, new=new, observed_at=timezone.now(), entered_by=by
    )


def into_stock_by_hand(crew: make.Crew, row: Dispatch, bottle: Bottle) -> str:
    by_hand(bottle, "dispatched", "filled", crew.maker)
    return f"Bottle {bottle.code} went from its consignee straight into stock"


def row_without_moves(crew: make.Crew, row: Dispatch, bottle: Bottle) -> str:
    DispatchTakenBack.objects.create(
        dispatch=row, reason="x", observed_at=timezone.now(), entered_by=crew.maker
    )
    return f"Bottle {bottle.code} is of dispatch {row.code}, which was taken back, and"


def returned_all_the_same(crew: make.Crew, row: Dispatch, bottle: Bottle) -> str:
    hands.moved(crew.maker, bottle, "returned", "x")
    return row_without_moves(crew, row, bottle)


def held_while_out(crew: make.Crew, _row: Dispatch, bottle: Bottle) -> str:
    by_hand(bottle, "dispatched", "on_hold", crew.maker)
    return f"Bottle {bottle.code} became on hold, and was dispatched before"


@pytest.mark.parametrize(
    "hand",
    [into_stock_by_hand, row_without_moves, returned_all_the_same, held_while_out],
)
def test_verify_finds_what_was_moved_in_another_way(
    crew: make.Crew, hand: Callable[[make.Crew, Dispatch, Bottle], str]
) -> None:
    row, (bottle, *_) = sent(crew, 1)
    assert list(taken_back.faults()) == []
    expected = hand(crew, row, bottle)
    (fault,) = taken_back.faults()
    assert expected in fault


def test_control_a_bottle_put_on_another_shelf_is_no_fault(crew: make.Crew) -> None:
    from batches.services import places  # noqa: PLC0415

    bottles = leaving.bottles(crew)
    places.put(by=crew.maker, bottles=bottles, place=hands.place(crew))
    assert BottleStatus(last_event(bottles[0]).old) == last_event(bottles[0]).new
    assert list(taken_back.faults()) == []
