"""Many bottles move at once: all or none, each with its reason, past no gate."""

from __future__ import annotations

import datetime
import json

import pytest
from django.core.exceptions import PermissionDenied

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent
from batches.services import back_in_stock, bottle_doubts, bottle_moves, places
from producer.errors import Refusal
from producer.models import JournalEntry, User
from quality.services import supplying
from tests import bottling, hands, leaving, make

SEEN = "seal whole, level right, clear"


def sent(crew: make.Crew) -> list[Bottle]:
    """Return bottles that a shop has."""
    bottles = leaving.bottles(crew)
    supplying.dispatch(
        by=crew.maker, bottles=bottles, consignee=make.consignee(crew.maker)
    )
    return make.bottles_of(bottles[0].filling_lot)


def move(by: User, bottles: list[Bottle], new: str, **changes: object) -> int:
    facts = {"reason": "the shop closes", **changes}
    return bottle_moves.move_bottles(by=by, bottles=bottles, new=new, **facts)  # type: ignore[arg-type]


def states() -> list[str]:
    return list(Bottle.objects.order_by("number").values_list("status", flat=True))


@pytest.mark.django_db
def test_a_box_comes_back_in_one_act(crew: make.Crew) -> None:
    bottles = sent(crew)
    before = JournalEntry.objects.count()
    assert move(crew.maker, bottles, "returned") == 2
    assert states() == ["returned"] * 2
    events = BottleEvent.objects.filter(new="returned")
    assert {(event.old, event.reason) for event in events} == {
        ("dispatched", "the shop closes")
    }
    entry = JournalEntry.objects.latest("pk")
    assert JournalEntry.objects.count() == before + 1
    assert entry.act == "bottles returned"
    assert entry.subject_label == bottles[0].filling_lot.code
    # Who had them stays, by a reference that is no name.
    shop = make.consignee(crew.maker)
    codes = [bottle.code for bottle in bottles]
    assert json.loads(entry.before)["had"] == {shop.reference: codes}
    assert shop.name not in entry.before
    with_shop = BottleEvent.objects.filter(dispatch__consignee=shop)
    assert with_shop.count() == 2


@pytest.mark.django_db
def test_what_was_out_goes_back_only_after_a_look(crew: make.Crew) -> None:
    bottles = sent(crew)
    move(crew.maker, bottles, "returned")
    for blank in ("", "  "):
        with pytest.raises(Refusal, match="was out of your hands") as told:
            move(crew.reviewer, bottles, "filled", inspection=blank)
        assert told.value.field == "inspection"
    with pytest.raises(PermissionDenied):
        move(crew.maker, bottles, "filled", inspection=SEEN)
    assert states() == ["returned"] * 2
    assert move(crew.reviewer, bottles, "filled", inspection=SEEN) == 2
    assert set(Bottle.objects.values_list("consignee", flat=True)) == {None}
    event = BottleEvent.objects.latest("pk")
    assert event.reason == f"the shop closes. Inspection: {SEEN}"
    assert SEEN in JournalEntry.objects.latest("pk").after


@pytest.mark.django_db
def test_past_its_use_by_date_nothing_goes_back_to_stock(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    bottles = sent(crew)
    move(crew.maker, bottles, "returned")
    last = bottles[0].filling_lot.use_by
    today = [last + datetime.timedelta(days=1)]
    monkeypatch.setattr(back_in_stock, "local_day", lambda _: today[0])
    with pytest.raises(Refusal, match=r"use-by date of .* is past\. Destroy"):
        move(crew.reviewer, bottles, "filled", inspection=SEEN)
    today[0] = last
    assert move(crew.reviewer, bottles, "filled", inspection=SEEN) == 2


@pytest.mark.django_db
def test_of_a_batch_on_hold_nothing_goes_back_to_stock(crew: make.Crew) -> None:
    bottles = sent(crew)
    move(crew.maker, bottles, "returned")
    make.sign(crew.reviewer, bottles[0].filling_lot.batch, "hold")
    with pytest.raises(Refusal, match="is on hold, so no bottle of it"):
        move(crew.reviewer, bottles, "filled", inspection=SEEN)


@pytest.mark.django_db
def test_what_was_held_before_the_release_is_freed_to_be_labelled_and_stays_here(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    bottles = make.bottles_of(lot)
    move(crew.reviewer, bottles, "on_hold")
    with pytest.raises(Refusal, match=r"is on hold\. Labels"):
        bottling.labels_issued(crew, lot)
    move(crew.reviewer, bottles, "filled")
    with pytest.raises(Refusal, match="is not released yet"):
        supplying.dispatch(
            by=crew.maker,
            bottles=make.bottles_of(lot),
            consignee=make.consignee(crew.maker),
        )
    bottling.may_leave(crew, lot)


@pytest.mark.django_db
def test_in_doubt_a_bottle_stays_out(crew: make.Crew) -> None:
    bottles = leaving.bottles(crew)
    bottle_doubts.report(
        by=crew.maker, bottle=bottles[0], kind="elsewhere", found="at the stall"
    )
    with pytest.raises(Refusal, match="is in doubt"):
        move(crew.reviewer, bottles[:1], "filled")


@pytest.mark.django_db
def test_all_move_or_none_and_each_once(crew: make.Crew) -> None:
    one, other = sent(crew)
    move(crew.maker, [one], "destroyed")
    with pytest.raises(Refusal, match="destroyed cannot become returned") as told:
        move(crew.maker, [other, one], "returned")
    assert told.value.field == "codes"
    assert states() == ["destroyed", "dispatched"]
    with pytest.raises(Refusal, match="scanned twice"):
        move(crew.maker, [other, other], "returned")
    with pytest.raises(Refusal, match="at least one"):
        move(crew.maker, [], "returned")
    with pytest.raises(Refusal, match="Say why"):
        move(crew.maker, [other], "returned", reason=" ")
    for new in ("dispatched", "retained", "nonsense"):
        with pytest.raises(Refusal):
            move(crew.maker, [other], new)
    assert states() == ["destroyed", "dispatched"]


@pytest.mark.django_db
def test_which_right_it_needs_depends_on_where_a_bottle_is(
    crew: make.Crew, auditor: User
) -> None:
    bottles = leaving.bottles(crew)
    with pytest.raises(PermissionDenied):
        move(auditor, bottles, "destroyed")
    with pytest.raises(
        Refusal, match="Only a reviewer can record what is filled"
    ) as told:
        move(crew.maker, bottles, "on_hold")
    assert told.value.field == "codes"
    assert move(crew.reviewer, bottles, "on_hold") == 2
    with pytest.raises(Refusal, match="Only a reviewer can record what is on hold"):
        move(crew.maker, bottles, "destroyed")
    with pytest.raises(PermissionDenied):
        move(crew.maker, bottles, "filled")
    assert states() == ["on_hold"] * 2
    assert move(crew.reviewer, bottles, "destroyed") == 2


@pytest.mark.django_db
@pytest.mark.parametrize("new", ["on_hold", "destroyed"])
@pytest.mark.parametrize("who", ["maker", "reviewer"])
def test_what_came_back_either_sets_aside_or_does_away_with(
    crew: make.Crew, who: str, new: str
) -> None:
    bottles = sent(crew)
    move(crew.maker, bottles, "returned")
    assert move(getattr(crew, who), bottles, new) == 2
    assert states() == [new] * 2


@pytest.mark.django_db
def test_a_hold_does_not_bring_what_was_out_to_stock_without_a_look(
    crew: make.Crew,
) -> None:
    bottles = sent(crew)
    move(crew.maker, bottles, "returned")
    move(crew.maker, bottles, "on_hold")
    with pytest.raises(Refusal, match="was out of your hands"):
        move(crew.reviewer, bottles, "filled")
    assert move(crew.reviewer, bottles, "filled", inspection=SEEN) == 2
    move(crew.reviewer, bottles, "on_hold")  # it was looked at, and nobody had it since
    assert move(crew.reviewer, bottles, "filled") == 2


@pytest.mark.django_db
def test_a_batch_that_is_freed_leaves_what_came_back_on_hold(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    here, out, *_ = make.bottles_of(lot)
    hands.dispatched(crew, [out], make.consignee(crew.maker))
    hands.moved(crew.maker, out, "returned", "wrong size")
    make.sign(crew.reviewer, make.fresh(lot.batch), "hold")
    hands.moved(crew.maker, out, "on_hold", "a strange smell")
    make.sign(crew.reviewer, make.fresh(lot.batch), "unhold")
    assert {one.pk: one.status for one in make.bottles_of(lot)} == {
        here.pk: "filled",
        out.pk: "on_hold",
    }


@pytest.mark.django_db
def test_a_bottle_with_a_hold_of_its_own_keeps_it_on_whatever_shelf_it_stands(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=4, nominal_ul=250_000)
    own, own_moved, of_batch, of_batch_moved = make.bottles_of(lot)
    move(crew.reviewer, [own, own_moved], "on_hold", reason="seal broken")
    make.sign(crew.reviewer, make.fresh(lot.batch), "hold")
    shelf = hands.place(crew, "Quarantine shelf")
    places.put(by=crew.maker, bottles=[own_moved, of_batch_moved], place=shelf)
    make.sign(crew.reviewer, make.fresh(lot.batch), "unhold")
    assert {one.pk: one.status for one in make.bottles_of(lot)} == {
        own.pk: "on_hold",
        own_moved.pk: "on_hold",
        of_batch.pk: "filled",
        of_batch_moved.pk: "filled",
    }


@pytest.mark.django_db
def test_where_they_stand_is_kept(crew: make.Crew) -> None:
    bottles = sent(crew)
    shelf = hands.place(crew, "Returns shelf")
    move(crew.maker, bottles, "returned", place=shelf)
    assert set(Bottle.objects.values_list("place", flat=True)) == {shelf.pk}
    with pytest.raises(Refusal, match="stands nowhere"):
        move(crew.maker, bottles, "destroyed", place=shelf)


@pytest.mark.django_db
def test_two_filling_lots_are_one_act(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    bottles = [
        *make.bottles_of(make.filled(crew, liquid, count=1)),
        *make.bottles_of(make.filled(crew, liquid, count=1)),
    ]
    assert move(crew.maker, bottles, "destroyed", reason="frozen") == 2
    entry = JournalEntry.objects.latest("pk")
    assert entry.subject_label == f"{bottles[0].filling_lot.code} and 1 more"


def test_what_somebody_may_choose_follows_the_table_of_lives() -> None:
    class Maker:
        def may(self, right: str) -> bool:
            return right == "maker"

    choices = [new for new, _ in bottle_moves.choices_for(Maker())]  # type: ignore[arg-type]
    assert choices == ["returned", "recovered", "destroyed", "on_hold"]
    assert bottle_moves.choices_for(Maker(), "returned") == [  # type: ignore[arg-type]
        ("destroyed", "destroyed or emptied"),
        ("on_hold", "put on hold"),
    ]
    assert bottle_moves.states_before("returned") == ["dispatched"]
    assert bottle_moves.states_before("on_hold") == ["filled", "returned"]
    assert bottle_moves.states_before("on_hold", Maker()) == [  # type: ignore[arg-type]
        "returned"
    ]
    assert set(bottle_moves.CHOICES) <= set(BottleStatus)
