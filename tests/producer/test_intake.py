"""Goods in: a lot is held until somebody with the right decides about it."""

from __future__ import annotations

import datetime
import functools
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from batches.chemistry.constants import KOH_PER_K2CO3
from batches.chemistry.errors import OutOfRangeError
from batches.chemistry.potash import usable_fraction
from producer.errors import Conflict, Refusal
from producer.models import (
    Attachment,
    Certificate,
    JournalEntry,
    LotStatusChange,
    RawLot,
    Stock,
    StockMovement,
    User,
)
from producer.services import intake
from tests import make, uploads
from tests.database import run, together, while_uncommitted

DAY = datetime.timedelta(days=1)


@pytest.mark.django_db
def test_what_comes_in_is_held_and_counted(crew: make.Crew) -> None:
    lot = make.held_lot(
        crew,
        make.potash(crew.maker),
        quantity_mg=5_000_000,
        received_on=datetime.date(2026, 3, 2),
        supplier_lot="  FL-77 ",
    )
    lot.refresh_from_db()
    assert lot.status == RawLot.Status.QUARANTINE
    assert lot.get_status_display() == "held"
    assert lot.code.startswith("L26-0001-")
    assert lot.supplier_lot == "FL-77"
    movement = StockMovement.objects.get()
    assert (movement.kind, movement.amount_mg) == ("receipt", 5_000_000)
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 5_000_000


@pytest.mark.django_db
@pytest.mark.parametrize("quantity_mg", [0, -1])
def test_an_empty_delivery_is_refused(crew: make.Crew, quantity_mg: int) -> None:
    with pytest.raises(Refusal) as refusal:
        make.held_lot(crew, make.potash(crew.maker), quantity_mg=quantity_mg)
    assert refusal.value.field == "quantity_mg"
    assert not Stock.objects.exists()


@pytest.mark.django_db
def test_goods_past_their_date_are_refused_at_the_door(crew: make.Crew) -> None:
    with pytest.raises(ValidationError, match="refused at the door"):
        make.held_lot(crew, make.potash(crew.maker), expires_on=make.TODAY - DAY)
    lot = make.held_lot(crew, make.potash(crew.maker), expires_on=make.TODAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        RawLot.objects.filter(pk=lot.pk).update(expires_on=make.TODAY - DAY)


@pytest.mark.django_db
def test_potash_is_not_released_without_its_assay(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    with pytest.raises(Refusal, match="Record the certificate"):
        intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="fine")
    values = make.certificate_values(lot.material)
    intake.record_certificate(
        by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
    )
    lot = intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="fine")
    lot.refresh_from_db()
    assert lot.status == RawLot.Status.RELEASED
    change = LotStatusChange.objects.get()
    assert (change.old, change.new) == ("quarantine", "released")
    assert change.entered_by == crew.reviewer
    entry = JournalEntry.objects.get(act="raw lot released")
    assert entry.after_values == {"status": "released", "certificate": 1}


@pytest.mark.django_db
def test_a_potash_certificate_states_an_assay_and_its_basis(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))

    def record(*, values: intake.CertificateValues) -> Certificate:
        return intake.record_certificate(
            by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
        )

    with pytest.raises(Refusal, match="states an assay"):
        record(values=intake.CertificateValues())
    with pytest.raises(ValidationError, match="needs its basis"):
        record(values=intake.CertificateValues(assay_percent=Decimal(90)))
    with pytest.raises(Refusal, match="Only oils"):
        record(
            values=make.certificate_values(
                lot.material, saponification_value=Decimal(190)
            )
        )
    assert not Certificate.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("assay_percent", "0"),
        ("assay_percent", "100.5"),
        ("carbonate_percent", "-0.1"),
        ("carbonate_percent", "101"),
    ],
)
def test_an_impossible_percentage_is_refused(
    crew: make.Crew, field: str, value: str
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    values = make.certificate_values(lot.material, **{field: Decimal(value)})
    with pytest.raises((Refusal, ValidationError), match=r"\d %"):
        intake.record_certificate(
            by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
        )
    assert not Certificate.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("assay", "basis", "carbonate", "said"),
    [
        ("90.2", "total_alkali", "95", "more than 100 %"),
        ("99", "hydroxide", "1.1", "more than 100 %"),
        ("50", "total_alkali", "62", "no hydroxide left"),
    ],
)
def test_figures_no_potash_can_have_are_refused_when_they_are_typed(
    crew: make.Crew, assay: str, basis: str, carbonate: str, said: str
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    with pytest.raises(Refusal, match=said) as refused:
        intake.record_certificate(
            by=crew.maker,
            lot=lot,
            values=intake.CertificateValues(
                assay_percent=Decimal(assay),
                assay_basis=basis,
                carbonate_percent=Decimal(carbonate),
            ),
            upload=uploads.pdf(),
        )
    assert refused.value.field == "carbonate_percent"
    with pytest.raises(OutOfRangeError):  # so says the computation too
        usable_fraction(
            assay_percent=Decimal(assay),
            basis=basis,
            carbonate_percent=Decimal(carbonate),
        )
    assert not Certificate.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("assay", "basis", "carbonate"),
    [("99", "hydroxide", "1"), ("50", "total_alkali", "61"), ("41", "hydroxide", "59")],
)
def test_figures_a_potash_can_have_are_taken_and_computed_with(
    crew: make.Crew, assay: str, basis: str, carbonate: str
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=intake.CertificateValues(
            assay_percent=Decimal(assay),
            assay_basis=basis,
            carbonate_percent=Decimal(carbonate),
        ),
        upload=uploads.pdf(),
    )
    assert usable_fraction(
        assay_percent=Decimal(assay), basis=basis, carbonate_percent=Decimal(carbonate)
    )


def test_carbonate_counts_as_the_computation_counts_it() -> None:
    assert intake.KOH_PER_K2CO3 == KOH_PER_K2CO3


@pytest.mark.django_db
@pytest.mark.parametrize("of", ["assay", "saponification"])
def test_a_half_width_of_nothing_is_to_be_left_empty(crew: make.Crew, of: str) -> None:
    material = (make.potash if of == "assay" else make.sunflower)(crew.maker)
    lot = make.held_lot(crew, material)
    field = f"{of}_half_width"
    values = make.certificate_values(material, **{field: Decimal(0)})
    with pytest.raises(Refusal, match="leave it empty when none is stated") as refused:
        intake.record_certificate(
            by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
        )
    assert refused.value.field == field


@pytest.mark.django_db
@pytest.mark.parametrize("value", ["136", "159.9", "280.1"])
def test_a_saponification_value_on_the_sodium_basis_is_refused(
    crew: make.Crew, value: str
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    with pytest.raises(ValidationError, match="sodium basis"):
        intake.record_certificate(
            by=crew.maker,
            lot=lot,
            values=intake.CertificateValues(saponification_value=Decimal(value)),
            upload=uploads.pdf(),
        )


@pytest.mark.django_db
def test_the_first_version_needs_the_paper_and_the_second_a_reason(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    values = make.certificate_values(lot.material)
    record = functools.partial(intake.record_certificate, by=crew.maker, lot=lot)
    with pytest.raises(Refusal) as refusal:
        record(values=values, upload=None)
    assert refusal.value.field == "file"
    first = record(values=values, upload=uploads.pdf())
    revised = make.certificate_values(lot.material, assay_percent=Decimal(87))
    with pytest.raises(ValidationError, match="Say why there is a new version"):
        record(values=revised, upload=None)
    second = record(values=revised, upload=None, reason="supplier corrected it")
    assert (first.version, second.version) == (1, 2)
    assert second.attachment == first.attachment
    assert intake.current_certificate(lot) == second
    first.refresh_from_db()
    assert first.assay_percent == Decimal(90)
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.before_values["assay_percent"] == "90"
    assert entry.after_values["assay_percent"] == "87"


MOVES = {
    ("quarantine", "released"),
    ("quarantine", "rejected"),
    ("released", "on_hold"),
    ("on_hold", "released"),
    ("on_hold", "rejected"),
}


@pytest.mark.django_db
@pytest.mark.parametrize("old", RawLot.Status.values)
@pytest.mark.parametrize("new", RawLot.Status.values)
def test_a_lot_moves_only_as_the_plan_of_record_says(
    crew: make.Crew, old: str, new: str
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    RawLot.objects.filter(pk=lot.pk).update(status=old)
    lot.refresh_from_db()
    if (old, new) in MOVES:
        intake.decide_lot(by=crew.reviewer, lot=lot, new=new, reason="looked at")
        assert RawLot.objects.get().status == new
        RawLot.objects.filter(pk=lot.pk).update(status=old)
        again = RawLot.objects.get()
        with pytest.raises(PermissionDenied):
            intake.decide_lot(by=crew.maker, lot=again, new=new, reason="mine")
    else:
        with pytest.raises(Conflict):
            intake.decide_lot(by=crew.reviewer, lot=lot, new=new, reason="looked at")
        assert RawLot.objects.get().status == old


@pytest.mark.django_db
def test_a_decision_needs_a_reason(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal) as refusal:
        intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="  ")
    assert refusal.value.field == "reason"


@pytest.mark.django_db(transaction=True)
def test_of_two_opposite_decisions_at_once_only_one_counts(
    crew: make.Crew, owner: User
) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["reviewer"])
    lot = make.held_lot(crew, make.water(crew.maker))
    # both have the page open, so each has the lot as it was
    first, second = RawLot.objects.get(pk=lot.pk), RawLot.objects.get(pk=lot.pk)
    results = while_uncommitted(
        functools.partial(
            intake.decide_lot, by=crew.reviewer, lot=first, new="rejected", reason="bad"
        ),
        functools.partial(
            intake.decide_lot, by=other, lot=second, new="released", reason="good"
        ),
    )
    assert isinstance(results[0], RawLot)
    assert isinstance(results[1], Conflict)
    assert RawLot.objects.get().status == "rejected"
    assert LotStatusChange.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_control_saving_the_lot_one_has_open_loses_the_decision(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    first, second = RawLot.objects.get(pk=lot.pk), RawLot.objects.get(pk=lot.pk)
    first.status, second.status = "rejected", "released"
    first.save()
    second.save()
    assert RawLot.objects.get().status == "released"


@pytest.mark.django_db(transaction=True)
def test_versions_recorded_at_once_get_two_numbers(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))

    def record() -> Certificate:
        return intake.record_certificate(
            by=crew.maker,
            lot=lot,
            values=intake.CertificateValues(reference="A"),
            upload=uploads.pdf(),
            reason="another page",
        )

    results = together(record, record)
    numbers = sorted(r.version for r in results if isinstance(r, Certificate))
    assert numbers == [1, 2]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("dates", "state"),
    [
        ({}, "usable"),
        ({"expires_on": make.TODAY}, "usable"),
        ({"retest_on": make.TODAY}, "usable"),
        ({"expires_on": make.TODAY + DAY}, "usable"),
        ({"retest_on": make.TODAY - DAY}, "retest due"),
    ],
)
def test_a_lot_is_usable_to_the_end_of_its_day(
    crew: make.Crew, dates: dict[str, Any], state: str
) -> None:
    usable = state == "usable"
    lot = make.released_lot(crew, make.water(crew.maker), **dates)
    assert RawLot.objects.usable(make.TODAY).filter(pk=lot.pk).exists() is usable
    assert not lot.is_expired(make.TODAY)
    assert lot.is_retest_due(make.TODAY) is not usable


@pytest.mark.django_db
def test_what_expires_first_is_offered_first(crew: make.Crew) -> None:
    water = make.water(crew.maker)
    forever = make.released_lot(crew, water)
    later = make.released_lot(crew, water, expires_on=make.TODAY + 9 * DAY)
    soon = make.released_lot(crew, water, expires_on=make.TODAY + DAY)
    make.held_lot(crew, water)
    empty = make.released_lot(crew, water, quantity_mg=1)
    make.charge(crew, make.open_batch(crew), empty.stock, 1)
    assert list(RawLot.objects.usable(make.TODAY)) == [soon, later, forever]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "table", ["producer_certificate", "producer_attachment", "producer_lotstatuschange"]
)
def test_papers_and_decisions_stay_as_they_were(crew: make.Crew, table: str) -> None:
    make.released_lot(crew, make.potash(crew.maker))
    assert Attachment.objects.exists()
    with pytest.raises(Exception, match="never changed or deleted"):
        run(f"DELETE FROM {table}")  # noqa: S608
