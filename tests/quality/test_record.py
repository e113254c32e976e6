"""The record that is signed: the same text for the same facts, everywhere."""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal

import pytest

from batches.models import Charge, Reading
from batches.services import cooking
from batches.services.discounting import set_lye_discount
from batches.services.titrating import Replicate
from quality.models import Signature
from quality.services import record, signing
from tests import lab, make
from tests.database import run


@pytest.mark.django_db
def test_the_record_is_canonical_json_in_utf8(crew: make.Crew) -> None:
    make.released_paste(crew)
    text = Signature.objects.get().record
    parsed = json.loads(text)
    again = json.dumps(
        parsed, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )
    assert again == text
    expected = hashlib.sha256(text.encode("utf-8")).hexdigest()
    assert record.sha256(text) == expected == Signature.objects.get().record_sha256


@pytest.mark.django_db
def test_masses_are_whole_milligrams_and_decimals_are_text(crew: make.Crew) -> None:
    make.released_paste(crew)
    facts = record.part(Signature.objects.get().record, "facts")
    numbers: list[object] = []

    def collect(value: object) -> None:
        if isinstance(value, dict):
            for item in value.values():
                collect(item)
        elif isinstance(value, list):
            for item in value:
                collect(item)
        else:
            numbers.append(value)

    collect(facts)
    assert not any(isinstance(number, float) for number in numbers)
    assert facts["readings"][0]["value"] == "9.2"
    assert facts["charges"][-1]["figure"] == "0.9"
    assert facts["theoretical_mg"] == sum(row["net_mg"] for row in facts["charges"])


@pytest.mark.django_db
def test_superseded_rows_stay_in_the_record(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    reading = Reading.objects.get(batch=batch, characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.4"),
        method=reading.method,
        reason="misread",
    )
    make.sign(crew.reviewer, batch)
    rows = record.part(Signature.objects.get().record, "facts")["readings"]
    ph = [row for row in rows if row["characteristic"] == "ph"]
    assert [row["value"] for row in ph] == ["9.2", "9.4"]
    assert ph[1]["supersedes"] == ph[0]["id"]
    assert ph[1]["reason"] == "misread"


@pytest.mark.django_db
def test_the_facts_are_the_same_whenever_they_are_read(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    first = record.facts_of(batch)
    assert first == record.facts_of(make.fresh(batch))
    assert json.loads(json.dumps(first)) == first  # nothing is lost in the text
    charge = Charge.objects.filter(batch=batch).earliest("pk")
    cooking.amend_charge(
        by=crew.maker,
        charge=charge,
        gross_mg=charge.gross_mg + 1,
        tare_mg=charge.tare_mg,
        reason="misread",
    )
    assert record.facts_of(make.fresh(batch)) != first


@pytest.mark.django_db
def test_the_words_say_what_a_charge_was_of(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    paste = liquid.inputs.select_related("source").earliest("pk").source
    signature = Signature.objects.get(batch=liquid)
    sources = record.part(signature.record, "words")["sources"]
    assert sources[paste.code] == f"batch {paste.code}"
    assert "distilled water, Fenwick Lye and Oil, lot SL-1" in sources.values()


@pytest.mark.django_db
def test_a_lye_discount_is_signed_and_its_absence_changes_no_old_record(
    crew: make.Crew,
) -> None:
    plain = make.released_paste(crew)
    old = record.part(Signature.objects.get(batch=plain).record, "facts")
    assert "lye_discount" not in old  # as records were before there was one
    batch = make.open_batch(crew)
    set_lye_discount(
        by=crew.maker, batch=batch, discount=Decimal("0.02"), reason="range only"
    )
    make.charge_all(crew, make.fresh(batch))
    make.complete(crew, make.fresh(batch), share="0.94")
    make.sign(crew.reviewer, make.fresh(batch), "reject")
    facts = record.part(Signature.objects.get(batch=batch).record, "facts")
    assert facts["lye_discount"] == "0.02"
    assert list(signing.faults()) == []
    run("UPDATE batches_batch SET lye_discount = 0 WHERE stock_id = %s", batch.pk)
    assert ["no longer what was signed" in one for one in signing.faults()] == [True]


@pytest.mark.django_db
def test_why_a_sample_does_not_count_is_signed_with_it(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    spilled = "spilled some"
    lab.titration(
        crew,
        batch.stock,
        Replicate(sample_mg=10_000, volume_ml=Decimal("1.2")),
        Replicate(sample_mg=10_000, volume_ml=Decimal("0.4"), excluded_because=spilled),
        kind="free_alkali",
        setup={"concentration": Decimal("0.1"), "half_width": Decimal("0.0005")},
    )
    (titration,) = record.facts_of(batch)["titrations"]
    reasons = [one["excluded_because"] for one in titration["replicates"]]
    assert reasons == ["", spilled]
