"""A certificate revised after batches were signed on it: marked, held, worked out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from batches.models import Batch, Bottle, Charge
from batches.services.entries import Entries
from producer.errors import Refusal
from producer.models import Certificate, JournalEntry, RawLot, User
from producer.services import intake
from quality.models import SignatureMark
from quality.services import marks, reviewing, revising, signing
from quality.services.alkali import alkali_of
from tests import lab, leaving, make, uploads
from tests.database import row_counts


def potash(crew: make.Crew, assay: str = "90") -> RawLot:
    """Return a released lot of potash whose certificate states this assay."""
    material = make.potash(crew.maker)
    lot = make.held_lot(crew, material)
    values = make.certificate_values(material, assay_percent=Decimal(assay))
    intake.record_certificate(
        by=crew.maker, lot=lot, values=values, upload=uploads.pdf(), reason="read again"
    )
    intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="in order")
    return RawLot.objects.listed().get(pk=lot.pk)


def revise(by: User, lot: RawLot, assay: str = "87", **changes: Any) -> Certificate:
    values = make.certificate_values(
        lot.material, assay_percent=Decimal(assay), **changes.pop("values", {})
    )
    facts = {"upload": None, "reason": "the supplier corrected it", **changes}
    return revising.record_certificate(
        by=by, lot=RawLot.objects.listed().get(pk=lot.pk), values=values, **facts
    )


def paste_of(crew: make.Crew, lot: RawLot) -> Batch:
    return make.released_paste(crew, sources={"potash": lot.stock})


def charge_of(batch: Batch, lot: RawLot) -> Charge:
    return Charge.objects.current().get(batch=batch, source_id=lot.pk)


@pytest.mark.django_db
def test_scenario_03_certificate_edited_after_sign_off(crew: make.Crew) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    liquid = make.released_liquid(crew, paste=paste)
    _, sent = make.bottles_of(make.filled(crew, liquid))
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    figure = charge_of(paste, lot).figure
    (signature,) = paste.signatures.all()
    written = JournalEntry.objects.count()

    made = revise(crew.maker, lot)

    assert made.version == lot.certificates.count()
    charge = charge_of(paste, lot)
    assert charge.figure == figure  # the batch keeps the figure of its day
    assert charge.certificate is not None
    assert charge.certificate.assay_percent == 90
    (mark,) = SignatureMark.objects.all()
    assert (mark.signature, mark.kind) == (signature, "basis_revised")
    assert mark.certificate == made
    assert "assay 90 %" in mark.sentence
    assert "assay 87 %" in mark.sentence
    assert mark.reason == "the supplier corrected it"
    assert make.fresh(paste).status == "on_hold"
    assert make.fresh(liquid).status == "on_hold"
    states = Bottle.objects.order_by("number").values_list("status", flat=True)
    assert list(states) == ["on_hold", "dispatched"]
    assert list(signing.faults()) == []

    assert JournalEntry.objects.count() == written + 1
    after = JournalEntry.objects.order_by("-sequence")[0].after_values
    assert after["signatures_revised"] == [signature.pk]
    assert after["batches_held"] == [paste.number, liquid.number]
    assert (after["bottles_held"], after["bottles_out"]) == (1, 1)
    assert after["status"] == "on_hold"  # the lot itself

    found = revising.revision_of(lot)
    (used,) = found.used
    assert (used.batch, used.signature) == (paste, signature)
    (below,) = found.below
    assert below.batch == liquid
    assert below.on_hand == 1
    assert below.out == [marks.Out(holder="Corner Shop Lindqvist", count=1)]
    assert found.bottles_out == 1


@pytest.mark.django_db
def test_scenario_03_e_is_worked_out_anew_beside_the_signed_one(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    known = alkali_of(paste).weighed
    assert known is not None
    before, mass_g = known.budget.value, charge_of(paste, lot).net_mg / 1000

    revise(crew.maker, lot)

    (used,) = revising.revision_of(lot).used
    kept = alkali_of(paste).weighed
    assert kept is not None
    assert kept.budget.value == before
    # 3 % less of what was weighed in, less its carbonate, which is the same in both.
    found, why_not = revising.new_excess(Entries(paste), lot)
    assert why_not == ""
    assert used.new_excess == found
    assert found.endswith("g lacking")
    amount = float(found.split(" ")[0])
    assert before - amount * -1 == pytest.approx(0.03 * mass_g, rel=0.05)
    assert used.signed_excess != used.new_excess


@pytest.mark.django_db
def test_a_batch_held_by_a_revision_waits_for_its_lot_and_then_its_reviewer(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    revise(crew.maker, lot, "89.9")
    with pytest.raises(Refusal, match=f"{lot.code}.*is in it and is on hold"):
        make.sign(crew.reviewer, paste, "unhold")
    intake.decide_lot(
        by=crew.reviewer,
        lot=RawLot.objects.listed().get(pk=lot.pk),
        new="released",
        reason="titrated: it is what the new paper says",
    )
    make.sign(crew.reviewer, paste, "unhold", reason="the difference is small")
    assert make.fresh(paste).status == "released"
    first, again = marks.judging(paste)
    assert [mark.kind for mark in first.marks.all()] == ["basis_revised"]
    assert not again.marks.all()
    assert not marks.is_void(marks.judging(paste)[-1])  # revised is not void
    assert list(signing.faults()) == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "marked"),
    [
        ({"assay": "90"}, 0),
        ({"assay": "90", "values": {"reference": "A-17"}}, 0),
        ({"assay": "90", "values": {"carbonate_percent": Decimal(2)}}, 1),
        ({"assay": "90.5"}, 1),
    ],
)
def test_only_other_figures_mark_and_hold(
    crew: make.Crew, changes: dict[str, Any], marked: int
) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    revise(crew.maker, lot, **changes)
    assert SignatureMark.objects.count() == marked
    assert make.fresh(paste).status == ("on_hold" if marked else "released")


@pytest.mark.django_db
def test_a_batch_of_another_lot_is_left_alone(crew: make.Crew) -> None:
    lot, other = potash(crew), potash(crew)
    paste = paste_of(crew, other)
    revise(crew.maker, lot)
    assert not SignatureMark.objects.exists()
    assert make.fresh(paste).status == "released"
    assert revising.revision_of(lot).used == []


@pytest.mark.django_db
def test_a_batch_weighed_by_an_own_titration_rests_on_no_certificate(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    lab.titration(crew, lot.stock)
    paste = paste_of(crew, lot)
    assert charge_of(paste, lot).certificate is None
    revise(crew.maker, lot)
    assert not SignatureMark.objects.exists()
    assert make.fresh(paste).status == "released"


@pytest.mark.django_db
def test_a_first_certificate_revises_nothing(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    made = revising.record_certificate(
        by=crew.maker,
        lot=lot,
        values=intake.CertificateValues(reference="A"),
        upload=uploads.pdf(),
    )
    assert made.version == 1
    assert not SignatureMark.objects.exists()


@pytest.mark.django_db
def test_a_void_signature_is_not_marked_again_but_the_batch_is_listed(
    crew: make.Crew,
) -> None:
    from tests.quality.test_changing import change_ph  # noqa: PLC0415

    lot = potash(crew)
    paste = paste_of(crew, lot)
    change_ph(crew.maker, paste)
    revise(crew.maker, lot)
    assert [mark.kind for mark in SignatureMark.objects.all()] == ["void"]
    assert [used.batch for used in revising.revision_of(lot).used] == [paste]


@pytest.mark.django_db
def test_who_may_not_record_a_certificate_changes_nothing(crew: make.Crew) -> None:
    lot = potash(crew)
    paste_of(crew, lot)
    before = row_counts()
    with pytest.raises(PermissionDenied):
        revise(crew.reviewer, lot)
    assert row_counts() == before


@pytest.mark.django_db
def test_a_batch_not_signed_yet_is_told_at_review_and_needs_a_reason(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    waiting = make.cooked_batch(crew, sources={"potash": lot.stock})
    revise(crew.maker, lot)
    assert not SignatureMark.objects.exists()
    assert make.fresh(waiting).status == "awaiting_review"
    review = reviewing.review_of(waiting, by=crew.reviewer)
    (note,) = [one for one in review.notes if "was revised after it was weighed" in one]
    assert lot.code in note
    assert "assay 90 %" in note
    assert "assay 87 %" in note
    excess, _ = revising.new_excess(review.entries, lot)
    assert excess in note
    assert review.needs_reason
    (used,) = revising.revision_of(lot).used
    assert used.signature is None
    assert used.signed_excess == ""


@pytest.mark.django_db
def test_a_liquid_made_from_it_is_told_at_its_review(crew: make.Crew) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    liquid = make.diluted_batch(crew, paste=paste)
    revise(crew.maker, lot)
    notes = reviewing.review_of(liquid, by=crew.reviewer).notes
    told = f"Batch {paste.number} is in it, and had its basis revised"
    assert any(note.startswith(told) for note in notes)


@pytest.mark.django_db
def test_potash_that_had_become_heavier_is_not_worked_out_anew(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    lab.container(crew, lot, gain_mg=100_000)
    lot = RawLot.objects.listed().get(pk=lot.pk)
    if lot.status != "released":
        intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="used all")
    paste = make.cooked_batch(crew, sources={"potash": lot.stock})
    assert "heavier" in charge_of(paste, lot).figure_origin
    revise(crew.maker, lot)
    (used,) = revising.revision_of(lot).used
    assert used.new_excess == ""
    assert "had become heavier" in used.why_not


@pytest.mark.django_db
def test_a_certificate_is_said_in_words(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    certificate = Certificate(
        version=3,
        lot=make.held_lot(crew, oil),
        saponification_value=Decimal("190.5"),
        saponification_half_width=Decimal("1.5"),
    )
    assert revising.in_words(certificate, mark=",") == (
        "version 3, saponification value 190,5 ± 1,5 mg KOH/g"
    )
    stated = Certificate(
        version=2,
        assay_percent=Decimal("90.000"),
        assay_basis="total_alkali",
        assay_is_minimum=True,
        carbonate_percent=Decimal("1.2"),
    )
    assert revising.in_words(stated) == (
        "version 2, assay at least 90 %, total alkali, calculated as KOH, carbonate"
        " 1.2 %"
    )
