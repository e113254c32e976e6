"""The maker is told: at once, before opening, and before finishing."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, FormulaVersion, Reading
from batches.services import cooking as at_the_pot
from batches.services import formulas
from producer.errors import Refusal
from producer.models import User
from quality.models import Judgement
from quality.services import reviewing, signing
from quality.services.at_once import outside_now, said_of
from tests import lab, make
from tests.doors.pages import page_of
from tests.quality.test_signing import hours_later, one_person

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


def cooking(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def told(client: Client, batch: Batch, of: str, **fields: str) -> str:
    """Enter a reading on its page; return the words of the page that follows."""
    sent = {"submission": str(uuid.uuid4()), **fields}
    address = reverse("batches:read", args=[batch.number, of])
    return page_of(client.post(address, sent, follow=True)).words


def ph(crew: make.Crew, batch: Batch, value: str, method: str = "") -> dict[str, str]:
    return {
        "value": value,
        "instrument": str(make.meter(crew.maker).pk),
        "method": method or batch.formula_version.ph_method,
    }


def test_a_reading_outside_its_limit_says_so_at_once_with_what_to_do(
    crew: make.Crew, client: Client
) -> None:
    batch = cooking(crew)
    client.force_login(crew.maker)
    words = told(client, batch, "ph", **ph(crew, batch, "10.9"))
    assert "The reading is recorded. 10.9 with this meter is too high" in words
    assert "cook on or correct the alkali, then test again" in words
    assert "If it stays so, open a deviation of pH" in words
    assert "Outside its limit pH:" in words
    way = reverse("quality:deviation_open", args=[batch.number]) + "?of=ph"
    page = client.get(reverse("batches:batch", args=[batch.number]))
    assert f'href="{way}"' in page.content.decode()
    words = told(client, batch, "clarity", clarity="cloudy")
    assert "There is oil left in it" in words


def test_a_reading_inside_says_only_that_it_is_recorded(
    crew: make.Crew, client: Client
) -> None:
    batch = cooking(crew)
    client.force_login(crew.maker)
    words = told(client, batch, "ph", **ph(crew, batch, "9.2"))
    assert "The reading is recorded." in words
    assert "too high" not in words
    assert "Outside its limit" not in words
    assert outside_now(batch) == []


def test_a_titration_outside_says_so_of_a_batch_and_of_a_lot(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    said = said_of(lab.free_alkali(crew, batch, "6.2"))
    assert "fail" in said
    assert "titrate again. If it stays so, open a deviation of free alkali" in said
    assert said_of(lab.free_alkali(crew, batch, "0.2")) == ""
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="95")
    lot = make.held_lot(crew, material)
    assert "too low" in said_of(lab.titration(crew, lot.stock))


# ------------------------------------------------------------------ finishing


def test_the_page_of_finishing_lists_every_obstacle_of_the_release(
    crew: make.Crew, client: Client
) -> None:
    batch = cooking(crew)
    make.read_ph(crew, batch, "11.6")
    make.read_ph(crew, batch, "9.4")
    make.weigh_bulk(crew, batch)
    client.force_login(crew.maker)
    address = reverse("batches:finish", args=[batch.number])
    words = page_of(client.get(address)).words
    obstacles = reviewing.review_of(batch, by=crew.maker).obstacles
    assert any("an earlier result lies outside the limit" in one for one in obstacles)
    for sentence in obstacles:
        assert sentence in words


# ------------------------------------------------------------------ limits


def without_limits(crew: make.Crew) -> FormulaVersion:
    """Return a paste as it is written, before anybody set a limit."""
    return formulas.write_formula(
        by=crew.maker,
        name="Unlimited paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=365),
        lines=make.paste_lines(crew.maker),
    )


def test_opening_warns_of_limits_without_which_nothing_is_released(
    crew: make.Crew, client: Client
) -> None:
    make.paste_version(crew)
    client.force_login(crew.maker)
    address = reverse("batches:batch_open")
    assert "Without these limits" not in page_of(client.get(address)).words
    version = without_limits(crew)
    words = page_of(client.get(address)).words
    assert "Without these limits no batch can be released" in words
    assert "Unlimited paste, version 1 lacks: pH, clarity, yield variance (%)" in words
    assert "Kitchen paste, version 1 lacks" not in words
    lab.limit(crew, version, "clarity")
    batch = make.open_batch(crew, version)
    page = client.get(reverse("batches:batch", args=[batch.number]))
    assert "version 1 lacks: pH, yield variance (%)" in page_of(page).words
    way = reverse("quality:limits", args=[version.pk])
    assert f'href="{way}"' in page.content.decode()


def late_batch(crew: make.Crew, by: User) -> Batch:
    """Return a batch whose limits ``by`` set after it was opened."""
    version = without_limits(crew)
    batch = make.open_batch(crew, version)
    make.set_limits(by, version)
    make.charge_all(crew, batch)
    return make.complete(crew, batch)


def test_where_nobody_else_is_a_late_limit_needs_a_reason_and_is_said_for_ever(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = one_person(crew, owner)
    batch = late_batch(crew, alone)
    review = reviewing.review_of(batch, by=alone)
    assert review.obstacles == []
    assert review.needs_reason
    assert any("nobody else is here" in note for note in review.notes)
    hours_later(monkeypatch, 13)
    with pytest.raises(Refusal, match="Say why"):
        make.sign(alone, batch, reason="")
    make.sign(alone, batch)
    for judgement in Judgement.objects.all():
        assert judgement.sentence.endswith(
            " The limit was set after the batch was opened, by somebody who made it;"
            " nobody else is here."
        )
    assert list(signing.faults()) == []


def test_where_somebody_else_is_a_late_limit_of_a_maker_stops_the_release(
    crew: make.Crew,
) -> None:
    both = crew.maker
    both.is_reviewer = True
    both.save()
    batch = late_batch(crew, both)
    with pytest.raises(Refusal, match="Another reviewer sets a limit"):
        make.sign(crew.reviewer, batch)


def test_a_late_limit_of_somebody_else_stops_nothing(crew: make.Crew) -> None:
    batch = late_batch(crew, crew.reviewer)
    make.sign(crew.reviewer, batch)


# ------------------------------------------------------------------ reasons


def test_a_release_with_something_to_weigh_needs_a_reason(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    at_the_pot.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(120),
        instrument=make.thermometer(crew.maker),
    )
    batch = make.complete(crew, batch)
    review = reviewing.review_of(batch, by=crew.reviewer)
    assert any("the formula allows" in note for note in review.notes)
    assert review.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")


def test_a_corrected_entry_alone_is_told_and_needs_none(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    row = Reading.objects.get(batch=batch, characteristic="ph")
    at_the_pot.amend_reading(
        by=crew.maker,
        reading=row,
        value=Decimal("9.3"),
        method=row.method,
        reason="copied wrongly",
    )
    review = reviewing.review_of(batch, by=crew.reviewer)
    assert "Corrected entries: 1." in review.notes
    assert not review.needs_reason
    make.sign(crew.reviewer, batch, reason="")
