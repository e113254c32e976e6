"""A weighing entered wrongly is taken back: it stays, and counts for nothing."""

from __future__ import annotations

import datetime
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import FillingLot
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from quality.models import FillCheck, FillCheckTakenBack
from quality.services import (
    filling_checks,
    filling_release,
    weighing_back,
    weighings,
)
from quality.services.charting import formulas
from quality.services.export_tables.goods import FILL_CHECKS
from tests import bottling, hands, lab, leaving, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
WHY = "these are the masses of the other crate"


def back(by: User, check: FillCheck) -> FillCheckTakenBack:
    return weighing_back.take_back(by=by, check=check, reason=WHY)


def statuses(lot: FillingLot) -> set[str]:
    return set(lot.bottles.values_list("status", flat=True))


def test_it_counts_for_nothing_and_stays_on_record(crew: make.Crew) -> None:
    lot = bottling.labelled(crew, make.filled(crew))
    check = bottling.weighed(crew, lot)
    assert filling_release.looked_at(lot).is_checked
    back(crew.maker, check)
    assert weighings.newest_check(lot) is None
    assert weighings.newest_of([lot.pk]) == {}
    (words,) = filling_release.in_the_way(
        filling_release.looked_at(lot), note=bottling.NO_SAMPLE
    )
    assert words == "No bottle was weighed against its label yet."
    assert FillCheck.objects.get() == check
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.reason) == ("net content check taken back", WHY)
    assert entry.before_values["net_mg"] == check.net_mg


def test_the_weighing_before_it_counts_again(crew: make.Crew) -> None:
    lot = make.filled(crew)
    first = bottling.weighed(crew, lot)
    second = bottling.weighed(crew, lot, share="0.9")
    assert weighings.newest_check(lot) == second
    back(crew.reviewer, second)
    assert weighings.newest_check(lot) == first


def test_what_it_held_stays_on_hold_until_a_reviewer_frees_it(
    crew: make.Crew,
) -> None:
    lot = lab.short_bottles(crew)
    assert statuses(lot) == {"on_hold"}
    back(crew.reviewer, lot.fill_checks.get())
    assert statuses(lot) == {"on_hold"}
    assert not filling_checks.newest_stops(lot)
    filling_checks.free_bottles(by=crew.reviewer, filling_lot=lot, reason="mixed up")
    assert statuses(lot) == {"filled"}


def test_where_the_one_before_stops_them_they_are_held_again(crew: make.Crew) -> None:
    lot = lab.topped_up_bottles(crew)
    filling_checks.free_bottles(by=crew.reviewer, filling_lot=lot, reason="topped up")
    assert statuses(lot) == {"filled"}
    back(crew.maker, lot.fill_checks.latest("pk"))
    assert statuses(lot) == {"on_hold"}
    assert filling_checks.held_by_weighing(lot)
    written = JournalEntry.objects.latest("sequence").after_values
    assert written["bottles_held"] == lot.count


def test_a_failed_one_is_taken_back_by_a_reviewer(crew: make.Crew) -> None:
    lot = make.filled(crew)
    check = bottling.weighed(crew, lot, share="0.9")
    assert not check.accepted
    with pytest.raises(PermissionDenied):
        back(crew.maker, check)
    assert weighings.newest_check(lot) == check
    back(crew.reviewer, check)


def test_the_next_one_after_it_need_not_say_what_was_done_since(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    back(crew.reviewer, bottling.weighed(crew, lot, share="0.9"))
    assert bottling.weighed(crew, lot, since="").accepted


def test_one_of_a_released_lot_is_taken_back_by_a_reviewer_and_nothing_leaves_then(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    check = lot.fill_checks.get()
    with pytest.raises(PermissionDenied):
        back(crew.maker, check)
    back(crew.reviewer, check)
    shop, bottles = make.consignee(crew.maker), make.bottles_of(lot)
    with pytest.raises(Refusal, match="was taken back, and no other stands"):
        hands.dispatched(crew, bottles, shop)
    bottling.weighed(crew, lot)
    hands.dispatched(crew, bottles, shop)
    assert statuses(lot) == {"dispatched"}


def test_after_two_days_a_reviewer_does_it(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    check = bottling.weighed(crew, make.filled(crew))
    now = timezone.now()
    for days, may in ((1.9, True), (2.1, False)):
        later = now + datetime.timedelta(days=days)
        monkeypatch.setattr(timezone, "now", lambda later=later: later)
        assert weighing_back.may_take_back(crew.maker, check) is may
    with pytest.raises(PermissionDenied):
        back(crew.maker, check)
    back(crew.reviewer, check)


def test_it_is_taken_back_once_and_with_a_reason(
    crew: make.Crew, auditor: User
) -> None:
    check = bottling.weighed(crew, make.filled(crew))
    with pytest.raises(PermissionDenied):
        back(auditor, check)
    with pytest.raises(Refusal, match="Say why"):
        weighing_back.take_back(by=crew.maker, check=check, reason=" ")
    with pytest.raises(IntegrityError), transaction.atomic():
        FillCheckTakenBack.objects.create(
            fill_check=check,
            reason="",
            observed_at=timezone.now(),
            entered_by=crew.maker,
        )
    back(crew.maker, check)
    with pytest.raises(Conflict, match="a moment ago"):
        back(crew.maker, check)


def test_bottles_opened_for_it_stay_destroyed(crew: make.Crew) -> None:
    lot = make.filled(crew)
    numbers = list(range(1, lot.count + 1))
    check = bottling.weighed(crew, lot, opened=True, numbers=numbers)
    back(crew.maker, check)
    assert statuses(lot) == {"destroyed"}


def test_the_chart_leaves_it_out(crew: make.Crew) -> None:
    lot = make.filled(crew)
    check = bottling.weighed(crew, lot)
    assert len(list(formulas._fill(None))) == 1
    back(crew.maker, check)
    assert list(formulas._fill(None)) == []


def test_the_page_of_the_lot_says_by_whom_and_why(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew)
    check = bottling.weighed(crew, lot)
    page = reverse("quality:fill_check_take_back", args=[lot.code, check.pk])
    home = reverse("batches:filling_lot", args=[lot.code])
    client.force_login(crew.maker)
    assert page in str(client.get(home).content)
    given = {"submission": str(uuid.uuid4()), "reason": WHY}
    shown = page_of(client.post(page, given, follow=True)).words
    assert "Weigh these bottles before any of them leaves" in shown
    assert "No weighing of these bottles counts any more" in shown
    assert f"Counts for nothing: {WHY} ({crew.maker.person.name}" in shown
    assert page not in str(client.get(home).content)


def test_a_maker_is_not_offered_what_a_reviewer_does(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew)
    check = bottling.weighed(crew, lot, share="0.9")
    page = reverse("quality:fill_check_take_back", args=[lot.code, check.pk])
    home = reverse("batches:filling_lot", args=[lot.code])
    client.force_login(crew.maker)
    assert page not in str(client.get(home).content)
    assert (
        "A reviewer does this: it was not accepted" in page_of(client.get(page)).words
    )
    client.force_login(crew.reviewer)
    assert page in str(client.get(home).content)


def test_a_weighing_of_another_lot_has_no_page_here(
    crew: make.Crew, client: Client
) -> None:
    check = bottling.weighed(crew, make.filled(crew))
    other = make.filled(crew)
    page = reverse("quality:fill_check_take_back", args=[other.code, check.pk])
    client.force_login(crew.maker)
    assert client.get(page).status_code == 404


def test_the_export_has_it(crew: make.Crew) -> None:
    lot = make.filled(crew)
    back(crew.maker, bottling.weighed(crew, lot))
    (cells,) = FILL_CHECKS.rows(lot.batch)
    row = dict(zip(FILL_CHECKS.head, cells, strict=True))
    assert row["is_taken_back"] is True
    assert row["taken_back_because"] == WHY
    assert row["taken_back_by"] == crew.maker.person.name
