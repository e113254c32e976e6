"""Undo at the pot: the last entry, its own, at once; later only with a reason."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge, Loss, Reading, WeighingStart
from batches.services import cooking, half_weighings, hold_points, losses, undoing
from batches.services.excursions import excursions_of
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Stock, User
from tests import lab, make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def pot(crew: make.Crew) -> Batch:
    """Return a batch with some water in it, and oil that can be weighed."""
    batch = make.open_batch(crew)
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, water.stock, 100_000)
    return make.fresh(batch)


def charge(crew: make.Crew, batch: Batch) -> Charge:
    line = make.line_of(batch, "distilled water")
    return make.charge(crew, batch, make.stock_of(crew, line), 5_000)


def read(crew: make.Crew, batch: Batch) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(60),
        instrument=make.thermometer(crew.maker),
    )


def lose(crew: make.Crew, batch: Batch) -> Loss:
    return losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=3_000)


def look_again(crew: make.Crew, batch: Batch) -> None:
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[hold_points.Look(point=hold_points.Point.LINE_CLEARANCE)],
    )


def begin(crew: make.Crew, batch: Batch) -> WeighingStart:
    return lab.half_weighing(crew, batch)


ENTRIES: list[tuple[Callable[[make.Crew, Batch], Any], str]] = [
    (charge, "charge of L"),
    (read, "temperature 60"),
    (lose, "loss of 3 g"),
    (begin, "half weighing of L"),
]


@pytest.mark.parametrize(("enter", "words"), ENTRIES)
def test_the_last_entry_is_taken_back_as_a_row_that_says_so(
    crew: make.Crew, enter: Callable[..., Any], words: str
) -> None:
    batch = pot(crew)
    row = enter(crew, batch)
    assert undoing.last_undoable(batch, crew.maker) == row
    assert undoing.words_of(row).startswith(words)
    written = JournalEntry.objects.count()
    void = undoing.undo(by=crew.maker, batch=batch, entry=undoing.key_of(row))
    assert (type(void), void.supersedes, void.is_void) == (type(row), row, True)
    assert void.reason == "undone at the pot"
    assert JournalEntry.objects.count() == written + 1
    # What takes back is not itself undone, and what it took back is gone for good.
    assert undoing.last_undoable(batch, crew.maker) is None
    with pytest.raises(Conflict):
        undoing.undo(by=crew.maker, batch=batch)


def peak(crew: make.Crew, batch: Batch, value: str) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(value),
        instrument=make.thermometer(crew.maker),
    )


def test_one_tap_does_not_take_a_reading_above_the_limit_back(
    crew: make.Crew, browser: Client
) -> None:
    batch = pot(crew)
    limit = batch.formula_version.temperature_limit
    at_it = peak(crew, batch, str(limit))
    assert undoing.last_undoable(batch, crew.maker) == at_it
    row = peak(crew, batch, str(limit + Decimal("0.1")))
    assert undoing.last_undoable(batch, crew.maker) is None
    with pytest.raises(Refusal, match="above the limit of the formula"):
        undoing.undo(by=crew.maker, batch=batch, entry=undoing.key_of(row))
    assert [one.peak for one in excursions_of(batch)] == [row.value]
    # Every page that offers to undo says so, and the way that asks for a reason.
    mend = reverse("batches:reading_amend", args=[batch.number, row.pk])
    for name in ("batches:batch", "batches:pot"):
        page = browser.get(reverse(name, args=[batch.number]))
        assert f'href="{mend}"' in page.content.decode()
        assert "orrect it with a reason" in page_of(page).words
        assert reverse("batches:undo", args=[batch.number]) not in (
            page.content.decode()
        )
    ask = browser.get(reverse("batches:undo", args=[batch.number]))
    assert undoing.ABOVE in page_of(ask).words
    # With a reason it is taken back, like any other.
    cooking.amend_reading(
        by=crew.maker, reading=row, void=True, reason="the probe touched the flame"
    )
    assert excursions_of(batch) == []


def test_what_a_charge_drew_goes_back(crew: make.Crew) -> None:
    batch = pot(crew)
    before = {stock.pk: stock.on_hand_mg for stock in Stock.objects.all()}
    charge(crew, batch)
    undoing.undo(by=crew.maker, batch=batch)
    assert {stock.pk: stock.on_hand_mg for stock in Stock.objects.all()} == before


@pytest.mark.parametrize(
    "after",
    [
        read,
        charge,
        look_again,
        lab.free_alkali,
        make.weigh_bulk,
    ],
)
def test_nothing_is_undone_that_something_was_entered_after(
    crew: make.Crew, after: Callable[..., Any]
) -> None:
    batch = pot(crew)
    row = lose(crew, batch)
    after(crew, batch)
    assert undoing.last_undoable(batch, crew.maker) != row
    with pytest.raises(Conflict, match="Correct it with a reason"):
        undoing.undo(by=crew.maker, batch=batch, entry=undoing.key_of(row))


def test_somebody_elses_entry_is_not_undone(crew: make.Crew, owner: User) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["maker"])
    batch = pot(crew)
    read(crew, batch)
    assert undoing.last_undoable(batch, other) is None
    with pytest.raises(Conflict):
        undoing.undo(by=other, batch=batch)
    assert undoing.undo(by=crew.maker, batch=batch)  # control


@pytest.mark.parametrize(("minutes", "can"), [(9, True), (11, False)])
def test_after_ten_minutes_it_takes_a_reason(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch, minutes: int, *, can: bool
) -> None:
    batch = pot(crew)
    row = read(crew, batch)
    later = timezone.now() + datetime.timedelta(minutes=minutes)
    monkeypatch.setattr(timezone, "now", lambda: later)
    found = undoing.last_undoable(batch, crew.maker)
    assert (found == row) is can


def test_an_amendment_is_not_undone(crew: make.Crew) -> None:
    batch = pot(crew)
    row = lose(crew, batch)
    losses.amend_loss(by=crew.maker, loss=row, mass_mg=2_000, reason="weighed")
    assert undoing.last_undoable(batch, crew.maker) is None


def test_a_finished_batch_gives_no_charge_back(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch)
    assert undoing.last_undoable(make.fresh(batch), crew.maker) is None
    cooking.finish(by=crew.maker, batch=make.fresh(batch))
    row = read(crew, make.fresh(batch))
    assert undoing.last_undoable(make.fresh(batch), crew.maker) == row
    make.signed(crew.reviewer, batch, "reject")
    assert undoing.last_undoable(make.fresh(batch), crew.maker) is None
    with pytest.raises(Refusal):
        undoing.undo(by=crew.maker, batch=batch)


def test_undoing_what_finished_a_half_weighing_leaves_no_half_open(
    crew: make.Crew,
) -> None:
    batch = pot(crew)
    start = begin(crew, batch)
    cooking.charge(
        by=crew.maker,
        batch=batch,
        line=start.line,
        source=start.source,
        scale=start.scale,
        gross_mg=900_000,
        tare_mg=start.first_mg,
        how=cooking.How(start=start),
        unusual=make.SCENE,
    )
    undoing.undo(by=crew.maker, batch=batch)
    assert half_weighings.open_starts(batch) == []


def test_the_button_undoes_what_its_page_showed_and_nothing_else(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    row = charge(crew, batch)
    page = reverse("batches:batch", args=[batch.number])
    shown = page_of(browser.get(page))
    assert "Just entered: charge of" in shown.words
    form = {"submission": str(uuid.uuid4()), "entry": undoing.key_of(row)}
    address = reverse("batches:undo", args=[batch.number])
    read(crew, batch)  # on another device, after that page was shown
    before = row_counts()
    assert "cannot be undone any more" in page_of(browser.post(address, form)).words
    assert row_counts() == before
    undoing.undo(by=crew.maker, batch=batch)
    assert "Just entered" not in page_of(browser.get(page)).words
    row = charge(crew, batch)
    form = {"submission": str(uuid.uuid4()), "entry": undoing.key_of(row)}
    assert browser.post(address, form).status_code == 302
    again = page_of(browser.post(address, form, follow=True)).words
    assert "recorded already" in again
    assert Charge.objects.filter(supersedes=row, is_void=True).count() == 1


def test_who_may_only_read_sees_no_button(crew: make.Crew, auditor: User) -> None:
    batch = pot(crew)
    client = Client()
    client.force_login(auditor)
    words = page_of(client.get(reverse("batches:batch", args=[batch.number]))).words
    assert "Just entered" not in words
