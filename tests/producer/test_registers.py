"""Registers: edited in place, but never over somebody else's edit."""

from __future__ import annotations

import functools
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from producer.errors import Conflict
from producer.models import (
    Consignee,
    Instrument,
    JournalEntry,
    Material,
    Premises,
    Supplier,
    User,
)
from producer.services import registers
from tests import make
from tests.database import while_uncommitted


@pytest.mark.django_db
def test_a_change_keeps_the_former_value_in_the_journal(crew: make.Crew) -> None:
    entry = make.supplier(crew.maker)
    former = entry.phone
    entry.phone = "555 0177"
    registers.save(by=crew.maker, entry=entry)
    row = JournalEntry.objects.get(act="supplier changed")
    assert row.before_values["phone"] == former
    assert row.after_values["phone"] == "555 0177"


def edited(field: str, value: str) -> tuple[Supplier, str]:
    """Return a supplier as a page loaded it, with an edit, and what the page saw."""
    entry = Supplier.objects.get()
    seen = registers.fingerprint(entry)
    setattr(entry, field, value)
    return entry, seen


@pytest.mark.django_db
def test_an_entry_somebody_changed_meanwhile_is_not_overwritten(
    crew: make.Crew,
) -> None:
    make.supplier(crew.maker)
    mine, seen_by_me = edited("phone", "555 0111")
    theirs, seen_by_them = edited("note", "shut on Mondays")
    registers.save(by=crew.maker, entry=theirs, seen=seen_by_them)
    with pytest.raises(Conflict, match="while you had it open"):
        registers.save(by=crew.maker, entry=mine, seen=seen_by_me)
    stored = Supplier.objects.get()
    assert (stored.phone, stored.note) == ("555 0110", "shut on Mondays")
    # having looked again, the change goes through
    mine, seen_by_me = edited("phone", "555 0111")
    registers.save(by=crew.maker, entry=mine, seen=seen_by_me)
    stored = Supplier.objects.get()
    assert (stored.phone, stored.note) == ("555 0111", "shut on Mondays")


@pytest.mark.django_db
def test_control_without_the_fingerprint_the_other_change_is_lost(
    crew: make.Crew,
) -> None:
    make.supplier(crew.maker)
    mine, _ = edited("phone", "555 0111")
    theirs, _ = edited("note", "shut on Mondays")
    theirs.save()
    mine.save()
    assert Supplier.objects.get().note == ""


@pytest.mark.django_db(transaction=True)
def test_of_two_edits_at_once_one_is_told(crew: make.Crew) -> None:
    make.supplier(crew.maker)
    mine, seen_by_me = edited("phone", "555 0111")
    theirs, seen_by_them = edited("note", "shut on Mondays")
    save = functools.partial(registers.save, by=crew.maker)
    results = while_uncommitted(
        functools.partial(save, entry=theirs, seen=seen_by_them),
        functools.partial(save, entry=mine, seen=seen_by_me),
    )
    assert isinstance(results[0], Supplier)
    assert isinstance(results[1], Conflict)
    assert Supplier.objects.get().note == "shut on Mondays"


@pytest.mark.django_db
def test_a_fingerprint_changes_with_every_field(crew: make.Crew) -> None:
    entry = make.supplier(crew.maker)
    seen = {registers.fingerprint(entry)}
    for field in ("name", "address", "phone", "email", "note"):
        setattr(entry, field, "something new")
        seen.add(registers.fingerprint(entry))
    assert len(seen) == 6


@pytest.mark.django_db
def test_a_fingerprint_is_the_same_after_a_round_trip(crew: make.Crew) -> None:
    for entry in (
        make.sunflower(crew.maker),
        make.meter(crew.maker),
        make.consignee(crew.maker),
    ):
        stored = type(entry)._default_manager.get(pk=entry.pk)
        again = type(entry)._default_manager.get(pk=entry.pk)
        assert registers.fingerprint(stored) == registers.fingerprint(again)


@pytest.mark.django_db
def test_makers_keep_the_registers_and_the_owner_the_premises(
    crew: make.Crew, owner: User, auditor: User
) -> None:
    premises = Premises.objects.get()
    premises.phone = "555 0101"
    for by in (crew.maker, crew.reviewer, auditor):
        with pytest.raises(PermissionDenied):
            registers.save(by=by, entry=premises)
    registers.save(by=owner, entry=premises)
    for by in (owner, crew.reviewer, auditor):
        with pytest.raises(PermissionDenied):
            registers.save(by=by, entry=Supplier(name="Elsewhere"))
    assert registers.save(by=crew.maker, entry=Supplier(name="Elsewhere")).pk


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (Material(name="Olive oil", kind="oil"), "published range"),
        (
            Material(
                name="Olive oil",
                kind="oil",
                saponification_low=Decimal(134),
                saponification_high=Decimal(140),
            ),
            "sodium hydroxide basis",
        ),
        (
            Material(
                name="Olive oil",
                kind="oil",
                saponification_low=Decimal(196),
                saponification_high=Decimal(184),
            ),
            "lower one first",
        ),
        (Consignee(name="Shop", kind="reseller"), "reachable in a recall"),
        (
            Instrument(name="scale", kind="scale", resolution=Decimal(0)),
            "above zero",
        ),
        (
            Instrument(
                name="scale",
                kind="scale",
                resolution=Decimal(1),
                bias_half_width=Decimal(-1),
            ),
            "without a sign",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(
    crew: make.Crew,
    entry: Any,  # of several kinds
    said: str,
) -> None:
    with pytest.raises(ValidationError, match=said):
        registers.save(by=crew.maker, entry=entry)


@pytest.mark.django_db
def test_a_private_person_need_not_be_reachable(crew: make.Crew) -> None:
    entry = Consignee(name="neighbour at number 4", kind="private")
    assert registers.save(by=crew.maker, entry=entry).pk


@pytest.mark.django_db
def test_a_name_stands_in_a_register_once(crew: make.Crew) -> None:
    make.supplier(crew.maker, "Fenwick")
    with pytest.raises(ValidationError):
        registers.save(by=crew.maker, entry=Supplier(name="Fenwick"))


def test_the_uncertainty_of_a_reading_adds_step_and_bias_in_quadrature() -> None:
    # 0.5/√12 and 0.5/√3 worked by hand: 0.1443², 0.2887² → √0.104167 = 0.322749
    strips = Instrument(
        resolution=Decimal("0.5"), bias_half_width=Decimal("0.5"), kind="ph_strips"
    )
    assert strips.standard_uncertainty() == Decimal("0.322749")
    strips.bias_half_width = Decimal(0)
    assert strips.standard_uncertainty() == Decimal("0.144338")
