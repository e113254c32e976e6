"""The pages of a change after signature, and where its marks are seen."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, BulkWeighing, Charge, Reading
from batches.services import losses
from producer.models import JournalEntry, User
from quality.models import SignatureMark
from quality.services import changing, marks
from tests import lab, leaving, make
from tests.quality.test_changing import change_ph, ph_of
from tests.quality.test_revising import paste_of, potash, revise

SUBMISSION = "6e1c1f0e-3d4a-4f5c-9a41-0000000000a1"


def client_of(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def text_of(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def batch_page(batch: Batch) -> str:
    return reverse("batches:batch", args=[batch.number])


def review_page(batch: Batch) -> str:
    return reverse("quality:review", args=[batch.number])


def change_page(batch: Batch, row: Reading | None = None) -> str:
    pk = (row or ph_of(batch)).pk
    return reverse("quality:change_reading", args=[batch.number, pk])


@pytest.mark.django_db
def test_the_page_says_what_will_happen_before_it_happens(crew: make.Crew) -> None:
    lot = make.filled(crew, count=2)
    _, sent = make.bottles_of(lot)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    text = text_of(client_of(crew.maker), change_page(lot.batch))
    assert "This record is signed" in text
    assert "The signature of Rasmus Lind (rasmus.lind), " in text
    assert ", “reviewed and released”, of" in text
    assert "becomes void" in text
    assert "The batch is put on hold" in text
    assert "<strong>1</strong> bottle here is put on hold with it" in text
    assert "<strong>1</strong> bottle is out and cannot be held: 1 with Corner" in text
    assert reverse("quality:affected", args=[lot.batch.number]) in text


@pytest.mark.django_db
def test_what_was_made_from_it_is_named_on_the_page(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    text = text_of(client_of(crew.maker), change_page(paste))
    assert f">{liquid.number}</a>" in text
    assert "is put on hold with its bottles; a reviewer frees each" in text


@pytest.mark.django_db
def test_scenario_21_the_mark_and_the_old_value_stay_on_screen(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    batch = lot.batch
    answer = client_of(crew.maker).post(
        change_page(batch),
        {
            "submission": SUBMISSION,
            "value": "9.9",
            "method": batch.formula_version.ph_method,
            "instrument": make.meter(crew.maker).pk,
            "reason": "meter read wrongly",
        },
    )
    assert answer.status_code == 302
    assert answer.headers["Location"] == review_page(batch)
    assert SignatureMark.objects.count() == 1
    bottle = make.bottles_of(lot)[0]
    for address in (
        batch_page(batch),
        review_page(batch),
        reverse("quality:bottle", args=[bottle.code]),
    ):
        text = text_of(client_of(crew.reviewer), address)
        assert "void</span> since" in text, address
        assert "pH changed from 9.2 to 9.9. Because: meter read wrongly" in text
    text = text_of(client_of(crew.reviewer), batch_page(batch))
    assert "reviewed again" in text
    before = text.index("<strong>9.2</strong>")
    assert '<tr class="struck">' in text[before - 400 : before]


@pytest.mark.django_db
def test_the_public_learns_nothing_of_a_mark(crew: make.Crew) -> None:
    lot = make.filled(crew)
    change_ph(crew.maker, lot.batch)
    bottle = make.bottles_of(lot)[0]
    text = text_of(Client(), reverse("quality:bottle", args=[bottle.code]))
    assert "void" not in text
    assert "meter read wrongly" not in text


@pytest.mark.django_db
def test_a_signature_that_stands_has_no_mark(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    client, say = client_of(crew.maker), "reviewed again</strong>"
    assert "void</span>" not in text_of(client, batch_page(batch))
    change_ph(crew.maker, batch)
    assert say in text_of(client, batch_page(batch))
    make.sign(crew.reviewer, batch, "unhold", reason="read again")
    assert say not in text_of(client, batch_page(batch))
    assert "void</span>" in text_of(client, review_page(batch))  # it stays on record


@pytest.mark.django_db
def test_signing_after_a_change_says_that_it_is_reviewed_again(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    sign = reverse("quality:sign", args=[batch.number])
    assert "reviewed again" not in text_of(client_of(crew.reviewer), sign)
    change_ph(crew.maker, batch)
    text = text_of(client_of(crew.reviewer), sign)
    assert "reviewed again" in text
    assert "pH changed from 9.2 to 9.9." in text


@pytest.mark.django_db
def test_correct_is_offered_on_a_signed_record_to_those_who_may(
    crew: make.Crew, auditor: User
) -> None:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch)
    loss = losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=9_000)
    number, charge = batch.number, Charge.objects.filter(batch=batch)[0]
    titration, weighing = (
        batch.stock.titrations.get(),
        BulkWeighing.objects.get(batch=batch),
    )
    links = [
        reverse("quality:change_charge", args=[number, charge.pk]),
        reverse("quality:void_charge", args=[number, charge.pk]),
        change_page(batch),
        reverse("quality:void_reading", args=[number, ph_of(batch).pk]),
        reverse("quality:change_weighing", args=[number, weighing.pk]),
        reverse("quality:change_loss", args=[number, loss.pk]),
        reverse("quality:void_loss", args=[number, loss.pk]),
        reverse("quality:void_titration", args=[number, titration.pk]),
    ]
    old = reverse("batches:charge_amend", args=[number, charge.pk])
    text = text_of(client_of(crew.maker), batch_page(batch))
    assert old in text
    assert not any(link in text for link in links)
    make.signed(crew.reviewer, batch, "reject")
    for user in crew:
        text = text_of(client_of(user), batch_page(batch))
        assert old not in text
        assert [link for link in links if link not in text] == []
        assert text_of(client_of(user), links[0])
    text = text_of(client_of(auditor), batch_page(batch))
    assert not any(link in text for link in links)


@pytest.mark.django_db
def test_a_row_of_another_batch_is_not_found(crew: make.Crew) -> None:
    one, other = make.released_paste(crew), make.released_paste(crew)
    address = reverse("quality:change_reading", args=[one.number, ph_of(other).pk])
    assert client_of(crew.maker).get(address).status_code == 404


@pytest.mark.django_db
def test_what_is_refused_is_shown_and_changes_nothing(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    row = Charge.objects.filter(batch=batch)[0]
    written = JournalEntry.objects.count()
    answer = client_of(crew.maker).post(
        reverse("quality:change_charge", args=[batch.number, row.pk]),
        {
            "submission": SUBMISSION,
            "gross_mg": f"{row.gross_mg} mg",
            "tare_mg": f"{row.tare_mg} mg",
            "reason": "again",
        },
    )
    assert answer.status_code == 200
    assert "stands already" in answer.content.decode()
    assert JournalEntry.objects.count() == written


@pytest.mark.django_db
def test_scenario_03_the_page_of_a_revision_has_it_all(crew: make.Crew) -> None:
    lot = potash(crew)
    paste = paste_of(crew, lot)
    liquid = make.released_liquid(crew, paste=paste)
    _, sent = make.bottles_of(make.filled(crew, liquid))
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    address = reverse("quality:revision", args=[lot.code])
    client = client_of(crew.maker)
    assert "No batch was weighed with another figure" in text_of(client, address)
    certificate = reverse("quality:lot_certificate", args=[lot.code])
    assert paste.number in text_of(client, certificate)  # told before it is done
    newest = lot.certificates.order_by("-version")[0]
    answer = client.post(
        certificate,
        {
            "submission": SUBMISSION,
            "assay_percent": "87",
            "assay_basis": newest.assay_basis,
            "reason": "the supplier corrected it",
        },
    )
    assert answer.headers["Location"] == address
    text = text_of(client, address)
    assert paste.number in text
    assert "assay 90 %" in text
    assert "assay 87 %" in text
    assert text.count(" lacking") >= 1
    assert liquid.number in text
    assert "1 here, 1 with Corner Shop Lindqvist" in text
    assert "1 bottle is out" in text
    for page in (batch_page(paste), review_page(paste)):
        assert "basis later revised</span> on" in text_of(client, page)
    lot_page = text_of(client, reverse("producer:lot", args=[lot.code]))
    assert address in lot_page


@pytest.mark.django_db
def test_a_further_certificate_of_an_unused_lot_leads_back_to_the_lot(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    newest = lot.certificates.order_by("-version")[0]
    answer = client_of(crew.maker).post(
        reverse("quality:lot_certificate", args=[lot.code]),
        {
            "submission": SUBMISSION,
            "assay_percent": "87",
            "assay_basis": newest.assay_basis,
            "reason": "the supplier corrected it",
        },
    )
    assert answer.headers["Location"] == reverse("producer:lot", args=[lot.code])


@pytest.mark.django_db
def test_a_new_certificate_says_what_was_stated_and_asks_about_what_is_left_empty(
    crew: make.Crew,
) -> None:
    lot = potash(crew)
    revise(crew.maker, lot, "90", values={"carbonate_percent": Decimal("0.8")})
    count = lot.certificates.count()
    address = reverse("quality:lot_certificate", args=[lot.code])
    client = client_of(crew.maker)
    form = client.get(address).text
    assert "Was 90 %." in form
    assert "Was 0.8 %." in form
    assert 'value="0.8' not in form  # read from the new paper, never carried over
    assert "not_stated" not in form
    said = {
        "assay_percent": "87",
        "assay_basis": "hydroxide",
        "reason": "the supplier corrected it",
    }
    text = client.post(address, {**said, "submission": uuid.uuid4()}).text
    assert "(%) was 0.8 %. Read the new paper again." in text
    assert "The new paper does not state what was left empty" in text
    assert lot.certificates.count() == count
    nought = {**said, "carbonate_percent": "0", "submission": uuid.uuid4()}
    assert client.post(address, nought).status_code == 302  # nought is stated
    nought |= {"assay_percent": "88", "submission": uuid.uuid4()}
    nought["carbonate_percent"] = ""
    assert client.post(address, nought).status_code == 200
    nought["not_stated"] = "on"
    assert client.post(address, nought).status_code == 302
    newest = lot.certificates.order_by("-version")[0]
    assert (newest.version, newest.carbonate_percent) == (count + 2, None)


@pytest.mark.django_db
def test_a_page_of_change_of_an_unsigned_batch_says_that_it_is_not_signed(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    row = batch.readings.get(characteristic="ph")
    client = client_of(crew.maker)
    for name in ("quality:change_reading", "quality:void_reading"):
        address = reverse(name, args=[batch.number, row.pk])
        words = text_of(client, address)
        assert "This record is not signed" in words
        assert "This record is signed" not in words
        assert f"{batch.number}, not signed:" in words
        assert 'name="submission"' not in client.get(address).content.decode()


@pytest.mark.django_db
def test_a_second_change_after_the_signature_is_listed_with_the_mark(
    crew: make.Crew,
) -> None:
    batch = make.signed(crew.reviewer, make.cooked_batch(crew), "release")
    row = batch.readings.get(characteristic="ph")
    for value in ("9.3", "9.4"):
        row = changing.change_reading(
            by=crew.maker,
            reading=row,
            value=Decimal(value),
            method=row.method,
            reason=f"the notebook says {value}",
        )
    for page in (batch_page(batch), review_page(batch)):
        words = text_of(client_of(crew.reviewer), page)
        assert "pH changed from 9.2 to 9.3." in words
        assert "Changed since then too:" in words
        assert "pH changed from 9.3 to 9.4. Because: the notebook says 9.4" in words
    make.sign(crew.reviewer, make.fresh(batch), "unhold")
    first, _ = marks.judging(batch)
    (mark,) = first.marks.all()
    assert len(changing.later_changes(mark)) == 1
    changing.change_reading(
        by=crew.maker,
        reading=row,
        value=Decimal("9.5"),
        method=row.method,
        reason="and once more",
    )
    assert len(changing.later_changes(mark)) == 1  # that is told with the second one


@pytest.mark.django_db
def test_the_page_of_filling_refuses_a_paste_before_anything_is_typed(
    crew: make.Crew,
) -> None:
    batch = make.released_paste(crew)
    words = text_of(client_of(crew.maker), reverse("batches:fill", args=[batch.number]))
    assert "This paste is for further use on the premises." in words
    assert "Number these bottles" not in words
