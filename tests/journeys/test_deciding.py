"""What is refused at the review page, and what a premises of one person may do."""

from __future__ import annotations

import datetime

import pytest
from django.utils import timezone

from producer.models import User
from tests import make
from tests.journeys.hands import House, Screen

pytestmark = pytest.mark.browser


@pytest.fixture
def solo(owner: User) -> User:
    """Return somebody who holds every right that matters."""
    return make.account(
        by=owner, name="Sanna Berg", rights=["owner", "maker", "reviewer"]
    )


@pytest.fixture
def own_batch(crew: make.Crew, solo: User) -> str:
    """Return a good batch, made by the one who could also review it."""
    make.paste_version(crew)
    for material in (make.sunflower, make.coconut, make.water, make.potash):
        make.released_lot(crew, material(crew.maker))
    return make.cooked_batch(make.Crew(solo, crew.reviewer)).number


def try_to_release(screen: Screen, batch: str) -> None:
    screen.open(f"/review/{batch}/")
    screen.follow("Sign a decision")
    screen.tick("reviewed and released")
    screen.enter({"Your password again": make.PASSWORD})
    screen.press("Sign")


def test_a_failed_batch_cannot_be_released(house: House, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    make.meter(crew.maker)
    maker, reviewer = house.person(crew.maker), house.person(crew.reviewer)
    maker.open(f"/batches/{batch.number}/read/ph/")
    maker.enter({"pH": "12"})
    maker.press("Record", says="The reading is recorded.")
    maker.go_on("Finish")
    maker.press("Finish it", says="The batch is finished")

    reviewer.open("/")
    reviewer.link("Review it").first.click()
    reviewer.sees("What stands in the way of a release")
    verdict = reviewer.row("ILAC-G8").filter(has_text="pH 12").inner_text()
    assert "fail" in verdict
    assert "pass" not in verdict
    try_to_release(reviewer, batch.number)
    reviewer.sees(f"Batch {batch.number} cannot be released.")
    assert make.fresh(batch).status == "awaiting_review"

    reviewer.tick("reviewed and rejected")
    reviewer.enter({"Why": "far too alkaline", "Your password again": make.PASSWORD})
    reviewer.press("Sign", says="Signed: reviewed and rejected.")
    liquid = make.open_batch(crew, make.liquid_version(crew))
    maker.open(f"/batches/{liquid.number}/lots/")
    assert batch.number not in maker.text("main")


def test_the_maker_cannot_release_their_own_batch(
    house: House, solo: User, crew: make.Crew, own_batch: str
) -> None:
    maker, reviewer = house.person(solo), house.person(crew.reviewer)
    try_to_release(maker, own_batch)
    maker.sees("You made this batch or entered something in it")
    maker.open(f"/review/{own_batch}/")
    maker.sees("awaiting review")
    maker.sees("Nobody has signed yet.")
    try_to_release(reviewer, own_batch)
    reviewer.sees("Signed: reviewed and released.", within=".messages")


def test_one_person_premises_signs_as_self_reviewed(
    house: House,
    solo: User,
    reviewer: User,
    own_batch: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    person = house.person(solo)
    person.open("/premises/")
    person.tick("One-person premises")
    person.press("Save", says="The premises is changed.")
    try_to_release(person, own_batch)
    person.sees("Another reviewer has an account here")
    person.open(f"/people/{reviewer.pk}/")
    person.follow("Close this account")
    person.enter({"Why": "has moved away"})
    person.press("Close this account for good", says="The account is closed.")
    try_to_release(person, own_batch)
    person.sees("Look again with fresh eyes")
    person.sees("12 hours after its last entry")
    person.open("/premises/")
    person.enter({"Pause before self-review (hours)": "0"})
    person.press("Save")
    person.sees("without a pause nobody looks with fresh eyes")
    person.enter({"Pause before self-review (hours)": "1"})
    person.press("Save", says="The premises is changed.")
    now, later = timezone.now, datetime.timedelta(hours=1, minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: now() + later)
    try_to_release(person, own_batch)
    person.sees("self-reviewed, no independent check", within=".messages")
    assert "self-reviewed, no independent check" in person.signed_by("Sanna Berg")
