"""Hardness and density: recorded in any unit, corrected, signed, never bent."""

from __future__ import annotations

import json
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from batches.models import Batch, LiquidReading
from batches.services import liquid_readings, undoing
from batches.services.entries import Entries
from producer.errors import Conflict, Refusal
from producer.models import Instrument, JournalEntry
from producer.services import registers
from quality.documents.dossier import dossier_pdf
from quality.models import Signature
from quality.services import record, still_signed
from quality.services.reading_order.timeline import timeline
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def read(crew: make.Crew, batch: Batch, kind: str, value: str, **more: Any) -> Any:
    facts: dict[str, Any] = {"temperature": Decimal(20)} if kind == "density" else {}
    return liquid_readings.record(
        by=crew.maker, batch=batch, kind=kind, value=Decimal(value), **(facts | more)
    )


def in_the_pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew, make.liquid_version(crew), basis_mg=500_000)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def test_a_reading_is_a_row_with_a_journal_entry(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    row = read(crew, batch, "hardness", "2.49", half_width=Decimal("0.2"), method=" a ")
    assert (row.value, row.half_width, row.method) == (
        Decimal("2.49"),
        Decimal("0.2"),
        "a",
    )
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.act == "hardness of the water recorded"
    assert liquid_readings.newest(batch, "hardness") == row
    assert liquid_readings.newest(batch, "density") is None


def test_the_newest_stands_and_a_correction_keeps_its_place(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    first = read(crew, batch, "density", "1.02")
    second = read(crew, batch, "density", "1.03")
    liquid_readings.amend(
        by=crew.maker,
        reading=first,
        value=Decimal("1.01"),
        temperature=Decimal(20),
        reason="misread",
    )
    assert liquid_readings.newest(batch, "density") == second
    liquid_readings.amend(by=crew.maker, reading=second, void=True, reason="foam")
    newest = liquid_readings.newest(batch, "density")
    assert newest is not None
    assert newest.value == Decimal("1.01")
    assert LiquidReading.objects.count() == 4
    with pytest.raises(Conflict, match="corrected already"):
        liquid_readings.amend(by=crew.maker, reading=first, void=True, reason="no")


@pytest.mark.parametrize(
    ("kind", "value", "more", "words", "field"),
    [
        ("hardness", "20.1", {}, "between 0 and 20 mmol/l", "value"),
        ("hardness", "-0.1", {}, "between 0 and 20 mmol/l", "value"),
        ("density", "0.79", {}, "between 0.8 and 1.3", "value"),
        ("density", "1.31", {}, "between 0.8 and 1.3", "value"),
        ("density", "1.02", {"temperature": None}, "belongs to a temp", "temperature"),
        ("density", "1.02", {"half_width": Decimal(2)}, "larger than", "half_width"),
    ],
)
def test_what_no_liquid_has_is_refused(
    crew: make.Crew,
    kind: str,
    value: str,
    more: dict[str, Any],
    words: str,
    field: str,
) -> None:
    batch = in_the_pot(crew)
    with pytest.raises(Refusal, match=words) as refused:
        read(crew, batch, kind, value, **more)
    assert refused.value.field == field
    assert not LiquidReading.objects.exists()


def test_when_and_of_what_it_may_be_measured(crew: make.Crew) -> None:
    planned = make.open_batch(crew, make.liquid_version(crew))
    read(crew, planned, "hardness", "0")  # the water is there before the first charge
    with pytest.raises(Refusal, match="Nothing is in the pot"):
        read(crew, planned, "density", "1.02")
    with pytest.raises(Refusal, match="is a cook"):
        read(crew, make.open_batch(crew), "density", "1.02")
    released = make.released_liquid(crew)
    read(crew, released, "density", "1.02")  # as the bottles are filled
    with pytest.raises(Refusal, match="closed and signed"):
        read(crew, released, "hardness", "1")
    rejected = make.signed(crew.reviewer, make.diluted_batch(crew, ph="11"), "reject")
    with pytest.raises(Refusal, match="nothing left of it to measure"):
        read(crew, rejected, "density", "1.02")
    with pytest.raises(PermissionDenied):
        liquid_readings.record(
            by=crew.reviewer, batch=planned, kind="hardness", value=Decimal(1)
        )


def test_only_a_scale_in_use_weighs_a_density(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    scale = make.scale(crew.maker)
    assert read(crew, batch, "density", "1.02", instrument=scale).instrument == scale
    with pytest.raises(Refusal, match="does not measure density"):
        read(crew, batch, "density", "1.02", instrument=make.meter(crew.maker))
    with pytest.raises(Refusal, match="does not measure hardness"):
        read(crew, batch, "hardness", "1", instrument=scale)
    old = Instrument(kind="scale", name="old scale", resolution=Decimal(1))
    old = registers.save(by=crew.maker, entry=old)
    old.in_use = False
    registers.save(by=crew.maker, entry=old)
    with pytest.raises(Refusal, match="out of use"):
        read(crew, batch, "density", "1.02", instrument=old)


def test_it_is_signed_and_a_density_from_later_changes_no_signature(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    hard = read(crew, batch, "hardness", "2.5", half_width=Decimal("0.3"))
    dense = read(crew, batch, "density", "1.025")
    make.complete(crew, batch, share="0.99")
    signature = make.sign(crew.reviewer, batch)
    signed = json.loads(signature.record)["facts"]["liquid_readings"]
    assert [row["id"] for row in signed] == [hard.pk, dense.pk]
    assert (signed[0]["value"], signed[0]["half_width"]) == ("2.5", "0.3")
    assert (signed[1]["value"], signed[1]["temperature"]) == ("1.025", "20")
    with pytest.raises(Refusal, match="stands in the signed record"):
        liquid_readings.amend(by=crew.maker, reading=dense, void=True, reason="no")
    later = read(crew, make.fresh(batch), "density", "1.027")
    again = liquid_readings.amend(
        by=crew.maker,
        reading=later,
        value=Decimal("1.028"),
        temperature=Decimal(20),
        reason="misread",
    )
    assert liquid_readings.newest(batch, "density") == again
    stored = Signature.objects.get(pk=signature.pk)
    assert record.facts_of(stored.batch) == json.loads(stored.record)["facts"]
    assert still_signed.fault_of_record(stored) == ""


def test_a_record_without_any_has_no_such_key(crew: make.Crew) -> None:
    batch = make.diluted_batch(crew)
    signature = make.sign(crew.reviewer, batch)
    assert "liquid_readings" not in json.loads(signature.record)["facts"]


def test_it_stands_in_the_timeline_and_is_not_undone_by_one_tap(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    assert undoing.last_undoable(batch, crew.maker) is not None
    read(crew, batch, "density", "1.025", half_width=Decimal("0.002"), method="flask")
    assert undoing.last_undoable(batch, crew.maker) is None
    words = [(one.what, one.words) for one in timeline(Entries(batch))]
    assert ("density", "1.025 ± 0.002 g/ml at 20 °C; flask") in words


def form_of(browser: Client, address: str, **fields: Any) -> Any:
    return browser.post(address, {"submission": str(uuid.uuid4()), **fields})


def test_a_hardness_is_typed_in_any_unit(crew: make.Crew) -> None:
    """14 °dH are 2.4966 mmol/l: 10 mg CaO each, M = 56.077 (CIAAW); DIN 38409-6."""
    batch = in_the_pot(crew)
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:liquid_read", args=[batch.number, "hardness"])
    answer = form_of(
        browser, address, value="14", unit="°dH", half_width="0,5", method="strip"
    )
    assert answer.status_code == 302
    row = LiquidReading.objects.get()
    assert (row.value, row.half_width) == (Decimal("2.4966"), Decimal("0.0892"))
    refused = page_of(form_of(browser, address, value="140", unit="°dH"))
    assert "Check the unit" in refused.words
    assert LiquidReading.objects.count() == 1


def test_the_pages_record_correct_and_take_back(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:liquid_read", args=[batch.number, "density"])
    fields = {"value": "1,0250", "temperature": "27"}
    answer = browser.post(
        address, {"submission": str(uuid.uuid4()), **fields}, follow=True
    )
    assert "not measured at 20 °C" in page_of(answer).words
    row = LiquidReading.objects.get()
    amend = reverse("batches:liquid_amend", args=[batch.number, row.pk])
    assert "It was 1.025 g/ml" in page_of(browser.get(amend)).words
    fields = {"value": "1.026", "temperature": "20", "reason": "read again"}
    assert form_of(browser, amend, **fields).status_code == 302
    row = LiquidReading.objects.current().get()
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "1.026 g/ml at 20 °C" in page.words
    assert "To reckon with: 1.026 g/ml, measured on" in page.words
    assert "Correction: read again" in page.words
    pot = reverse("batches:pot", args=[batch.number])
    assert "density 1.026 g/ml" in page_of(browser.get(pot)).words
    void = reverse("batches:liquid_void", args=[batch.number, row.pk])
    assert form_of(browser, void, reason="foam").status_code == 302
    assert not LiquidReading.objects.current().exists()
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "not measured To reckon with: 1.02 g/ml, usual" in page.words
    unknown = reverse("batches:liquid_read", args=[batch.number, "colour"])
    assert browser.get(unknown).status_code == 404


def test_the_dossier_has_them(crew: make.Crew) -> None:
    import pypdfium2  # noqa: PLC0415 - only here

    batch = in_the_pot(crew)
    read(crew, batch, "hardness", "2.5", method="drop test")
    make.complete(crew, batch, share="0.99")
    pages = pypdfium2.PdfDocument(dossier_pdf(make.fresh(batch), printed_by="A. K."))
    text = " ".join(page.get_textpage().get_text_bounded() for page in pages)
    assert "2.5 mmol/l" in text
    assert "drop test" in text
