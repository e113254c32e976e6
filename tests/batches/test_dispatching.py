"""Bottles leave whole, once, for somebody who may have them."""

from __future__ import annotations

import datetime
import functools

import pytest
from django.db import IntegrityError
from django.utils import timezone

from batches.models import Bottle, BottleEvent, Dispatch
from batches.services import dispatching
from producer.codes import grouped
from producer.errors import Conflict, Refusal
from producer.models import Consignee
from producer.services.checks import local_day
from quality.services import supplying
from tests import bottling, hands, leaving, make
from tests.database import while_uncommitted


def dispatch(
    crew: make.Crew,
    bottles: list[Bottle],
    consignee: Consignee | None = None,
    observed_at: datetime.datetime | None = None,
) -> Dispatch:
    return supplying.dispatch(
        by=crew.maker,
        bottles=bottles,
        consignee=consignee or make.consignee(crew.maker),
        observed_at=observed_at,
    )


@pytest.mark.django_db
def test_a_dispatch_says_who_has_which_bottle(crew: make.Crew) -> None:
    first, second = make.bottles_of(leaving.filled(crew))
    row = dispatch(crew, [first])
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.status == "dispatched"
    assert first.consignee == row.consignee
    assert second.status == "filled"
    assert second.consignee is None
    event = BottleEvent.objects.latest("pk")
    assert (event.bottle, event.dispatch, event.new) == (first, row, "dispatched")


@pytest.mark.django_db
def test_scenario_28_spray_to_neighbour(crew: make.Crew) -> None:
    spray = make.released_liquid(crew, make.spray_version(crew))
    bottles = make.bottles_of(leaving.filled(crew, spray))
    for name, kind in (("neighbour at number 4", "private"), ("Shop", "reseller")):
        with pytest.raises(Refusal, match="own use on the premises only") as refusal:
            dispatch(crew, bottles, make.consignee(crew.maker, name, kind))
        assert refusal.value.field == "consignee"
        assert "Rules differ by place and change" in refusal.value.message
    assert not Dispatch.objects.exists()
    own = make.consignee(crew.maker, "our own garden", "own_use")
    assert dispatch(crew, bottles, own).consignee == own


@pytest.mark.django_db
def test_scenario_28_spray_to_neighbour_with_the_authoritys_number(
    crew: make.Crew,
) -> None:
    with pytest.raises(Exception, match="day you last checked the rules"):
        make.spray_version(crew, authority_reference="PPP 12/2026")
    version = make.spray_version(
        crew, authority_reference="PPP 12/2026", authority_checked_on=make.TODAY
    )
    spray = make.released_liquid(crew, version)
    neighbour = make.consignee(crew.maker, "neighbour at number 4", "private")
    row = dispatch(crew, make.bottles_of(leaving.filled(crew, spray)), neighbour)
    assert row.consignee == neighbour


@pytest.mark.django_db
def test_control_a_wash_may_go_to_a_neighbour(crew: make.Crew) -> None:
    neighbour = make.consignee(crew.maker, "neighbour at number 4", "private")
    assert dispatch(crew, make.bottles_of(leaving.filled(crew)), neighbour)


@pytest.mark.django_db
def test_all_leave_or_none(crew: make.Crew) -> None:
    first, second = make.bottles_of(leaving.filled(crew))
    dispatch(crew, [first])
    first.refresh_from_db()
    with pytest.raises(Refusal, match="is dispatched and cannot leave"):
        dispatch(crew, [second, first])
    with pytest.raises(Refusal, match="at least one"):
        dispatch(crew, [])
    with pytest.raises(Refusal, match="scanned twice"):
        dispatch(crew, [second, second])
    second.refresh_from_db()
    assert second.status == "filled"
    assert Dispatch.objects.count() == 1


@pytest.mark.django_db
def test_nothing_leaves_from_a_batch_on_hold(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    bottles = make.bottles_of(lot)
    make.sign(crew.reviewer, lot.batch, "hold")
    held = make.bottles_of(lot)
    with pytest.raises(Refusal, match="is on hold"):
        dispatch(crew, held)
    # a page opened before the hold still shows the bottles as filled
    with pytest.raises((Refusal, Conflict)):
        dispatch(crew, bottles)
    assert not Dispatch.objects.exists()


@pytest.mark.django_db
def test_a_bottle_past_its_use_by_date_does_not_leave(crew: make.Crew) -> None:
    version = make.liquid_version(crew, name="Short-lived")
    long_ago = timezone.now() - datetime.timedelta(days=182)
    lot = bottling.may_leave(crew, bottling.filled_of(crew, long_ago, version))
    # 180 days later, on the calendar of the premises; clocks may have been changed.
    assert lot.use_by == local_day(long_ago) + datetime.timedelta(days=180)
    assert lot.use_by < make.TODAY
    with pytest.raises(Refusal, match="past its use-by date"):
        dispatch(crew, make.bottles_of(lot))
    # nor does a date typed help: today counts as well
    on_time = long_ago + datetime.timedelta(days=180)
    with pytest.raises(Refusal, match="past its use-by date"):
        dispatch(crew, make.bottles_of(lot), observed_at=on_time)
    # control: on the last day it leaves
    last_day = timezone.now() - datetime.timedelta(days=180)
    good = bottling.may_leave(crew, bottling.filled_of(crew, last_day, version))
    assert good.use_by == local_day(timezone.now())  # midnight may have passed
    assert dispatch(crew, make.bottles_of(good))


@pytest.mark.django_db
def test_nothing_leaves_before_it_was_filled(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    early = lot.observed_at - datetime.timedelta(minutes=2)
    with pytest.raises(Refusal, match=r"were filled on .* cannot be before") as told:
        dispatch(crew, make.bottles_of(lot), observed_at=early)
    assert told.value.field == "observed_at"
    assert not Dispatch.objects.exists()
    assert dispatch(crew, make.bottles_of(lot), observed_at=lot.observed_at)


@pytest.mark.django_db(transaction=True)
def test_of_two_dispatches_of_one_bottle_at_once_one_is_told(crew: make.Crew) -> None:
    bottles = make.bottles_of(leaving.filled(crew))
    shops = [make.consignee(crew.maker, name) for name in ("North shop", "South shop")]
    results = while_uncommitted(
        *(functools.partial(dispatch, crew, bottles, shop) for shop in shops)
    )
    assert isinstance(results[0], Dispatch)
    assert isinstance(results[1], Refusal)
    assert set(Bottle.objects.values_list("consignee__name", flat=True)) == {
        "North shop"
    }
    assert BottleEvent.objects.filter(new="dispatched").count() == 2


@pytest.mark.django_db(transaction=True)
def test_a_bottle_held_a_moment_ago_does_not_leave(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    bottles = make.bottles_of(lot)
    make.consignee(crew.maker)
    results = while_uncommitted(
        lambda: hands.moved(crew.reviewer, Bottle.objects.all()[0], "on_hold", "odd"),
        lambda: dispatch(crew, bottles),
    )
    assert isinstance(results[0], Bottle)
    assert isinstance(results[1], Refusal)
    assert not Bottle.objects.filter(status="dispatched").exists()


@pytest.mark.django_db(transaction=True)
def test_a_bottle_of_a_batch_held_a_moment_ago_does_not_leave(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    bottles = make.bottles_of(lot)
    make.consignee(crew.maker)
    results = while_uncommitted(
        lambda: make.sign(crew.reviewer, lot.batch, "hold"),
        lambda: dispatch(crew, bottles),
    )
    assert isinstance(results[1], Refusal)
    assert set(Bottle.objects.values_list("status", flat=True)) == {"on_hold"}


@pytest.mark.django_db(transaction=True)
def test_control_looking_first_and_sending_later_sends_a_held_bottle(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    make.consignee(crew.maker)
    seen_filled = [bottle.pk for bottle in make.bottles_of(lot)]
    make.sign(crew.reviewer, lot.batch, "hold")
    sent = Bottle.objects.filter(pk__in=seen_filled).update(
        status="dispatched", consignee=Consignee.objects.get()
    )
    assert sent == 2


@pytest.mark.django_db
def test_bottles_are_found_by_number_and_by_code_or_address(crew: make.Crew) -> None:
    lot = leaving.filled(crew, count=4, nominal_ul=100_000)
    bottles = make.bottles_of(lot)
    assert dispatching.bottles_by_range(lot, 2, 3) == bottles[1:3]
    for first, last in ((0, 2), (3, 2), (2, 5)):
        with pytest.raises(Refusal, match="bottles 1 to 4"):
            dispatching.bottles_by_range(lot, first, last)
    text = "\n".join(
        [
            grouped(bottles[2].code).lower(),
            f"https://soap.example/b/{bottles[0].code}/",
        ]
    )
    assert dispatching.bottles_by_codes(text) == [bottles[2], bottles[0]]


@pytest.mark.django_db
def test_a_code_that_came_twice_may_be_two_bottles(crew: make.Crew) -> None:
    one, other = make.bottles_of(leaving.filled(crew))
    again = f"{one.code}\n{other.code}\nhttps://soap.example/b/{one.code}/"
    with pytest.raises(Refusal, match="if these are two bottles, report it") as told:
        dispatching.bottles_by_codes(again)
    assert grouped(one.code) in told.value.message
    assert grouped(other.code) not in told.value.message


@pytest.mark.django_db
def test_an_unknown_or_mistyped_code_is_told_apart(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="a character is wrong"):
        dispatching.bottles_by_codes("2222-2222-2225")
    with pytest.raises(Refusal, match="not issued by this premises"):
        dispatching.bottles_by_codes("2222-2222-2224")


@pytest.mark.django_db
def test_the_database_has_no_bottle_that_left_for_nobody(crew: make.Crew) -> None:
    leaving.filled(crew)
    with pytest.raises(IntegrityError):
        Bottle.objects.update(status="dispatched")
