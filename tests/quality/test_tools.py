"""What a failed check of an instrument means for the release of a batch."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext

from batches.models import Batch
from batches.services import cooking
from batches.services.entries import Entries
from producer.errors import Refusal
from producer.models import Instrument, User
from quality.documents import dossier
from quality.models import Characteristic, InstrumentCheck, Signature
from quality.services import limits, record, signing
from quality.services.checking import Known, TwoBuffers, record_check
from quality.services.export_tables import TABLES
from quality.services.impact.release import AboutTools
from quality.services.impact.tools import tools_of
from quality.services.reviewing import Review, review_of
from quality.statistics.buffers import BufferSet
from tests import make
from tests.quality import faulty, pots

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

OFF_BY_MUCH = ("7.05", "8.40")  # 1.61 too low at pH 10.01
OFF_BY_LITTLE = ("7.05", "9.84")  # 0.17 too low
GOOD = ("7.01", "10.00")


def weighed(by: User, shown: str, **changes: Any) -> InstrumentCheck:
    """Hold the bench scale against 500 g; more than 2 g off fails."""
    return record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(against="500 g", reference=Decimal(500), shown=Decimal(shown)),
        tolerance=Decimal(2),
        **changes,
    )


def buffered(by: User, shown: tuple[str, str], **changes: Any) -> InstrumentCheck:
    """Hold the pH meter against two buffers; more than 0.1 off fails."""
    return record_check(
        by=by,
        instrument=make.meter(by),
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("7.00", "10.01"),
            shown=(Decimal(shown[0]), Decimal(shown[1])),
            temperature=Decimal(25),
        ),
        tolerance=Decimal("0.1"),
        **changes,
    )


def review(crew: make.Crew, batch: Batch) -> Review:
    return review_of(make.fresh(batch), by=crew.reviewer)


def about(crew: make.Crew, batch: Batch) -> AboutTools:
    return review(crew, batch).tools


def crossing(crew: make.Crew, batch: Batch) -> list[str]:
    return [words for one in about(crew, batch).in_doubt for words in one.crossing]


def liquid(crew: make.Crew) -> Batch:
    """Return a dilution that awaits review: nothing about its alkali is doubtful."""
    return make.diluted_batch(crew)


def has(sentences: Sequence[str], words: str) -> bool:
    return any(words in one for one in sentences)


def test_a_ph_by_a_meter_that_turned_out_broken_releases_nothing(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    before = review(crew, batch)
    assert before.tools.obstacles == []
    buffered(crew.maker, OFF_BY_MUCH)
    seen = review(crew, batch)
    assert seen.digest != before.digest
    assert has(seen.obstacles, "pH meter failed its check of")
    assert has(seen.obstacles, "pH 9.2 can be 7.59 to 10.81, against at least 8 and")
    with pytest.raises(Refusal, match="open a deviation about this one"):
        make.sign(crew.reviewer, batch)
    found = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    faulty.looked_into(crew.maker, found)
    assert has(review(crew, batch).obstacles, "pH meter failed")  # open decides nothing
    faulty.close(crew.reviewer, found, "no_effect")
    decided = review(crew, batch)
    assert decided.tools.obstacles == []
    assert has(decided.notes, f"Deviation {found.code} about it was closed: no effect")
    buffered(crew.maker, OFF_BY_MUCH)  # fails again: that is for a new decision
    assert has(review(crew, batch).obstacles, "pH meter failed")


def test_a_ph_that_can_be_corrosive_stops_whatever_the_limit_is(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew, ph=("6", "13"))
    batch = make.cooked_batch(crew, version, ph="10")
    assert crossing(crew, batch) == []
    buffered(crew.maker, OFF_BY_MUCH)
    (words,) = crossing(crew, batch)
    assert words.endswith("and 11.5 is caustic")


def test_an_error_that_carries_nothing_across_needs_a_reason(crew: make.Crew) -> None:
    batch = liquid(crew)
    buffered(crew.maker, OFF_BY_LITTLE)
    seen = review(crew, batch)
    assert seen.tools.obstacles == []
    assert has(seen.notes, "By that error no judged result leaves its limits")
    assert not has(seen.tools.unsure, "By that error")  # those need no reason
    assert seen.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch)


def test_a_ph_taken_again_with_another_instrument_is_what_counts(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    buffered(crew.maker, OFF_BY_MUCH)
    assert crossing(crew, batch) != []
    strips = make.strips(crew.maker)
    make.read_ph(crew, make.fresh(batch), "9", instrument=strips)
    assert crossing(crew, batch) == []
    assert has(review(crew, batch).notes, "pH meter failed its check")


@pytest.mark.parametrize(("share", "crosses"), [("0.995", True), ("0.95", False)])
def test_a_yield_that_a_broken_scale_can_carry_above_nothing_lost(
    crew: make.Crew, share: str, *, crosses: bool
) -> None:
    batch = make.cooked_batch(crew, share=share)
    weighed(crew.maker, "505")
    words = crossing(crew, batch)
    assert has(words, "yield variance") == crosses
    assert has(review(crew, batch).obstacles, "5 g of 500 g off") == crosses


def test_a_charge_that_a_broken_scale_can_have_got_wrong_shifts_the_alkali(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    weighed(crew.maker, "501")
    after = make.cooked_batch(crew)
    weighed(crew.maker, "550")  # 10 %
    assert has(crossing(crew, after), "excess alkali by the weighings")
    assert crossing(crew, batch) == []  # before the last good check


def test_a_titration_on_a_broken_scale_can_cross_its_limit(crew: make.Crew) -> None:
    near, far = make.cooked_batch(crew), make.cooked_batch(crew)
    pots.free_alkali(near, "0.249")
    pots.free_alkali(far, "0.1")
    weighed(crew.maker, "505")
    assert has(crossing(crew, near), "titrated free alkali 0.249 % can be 0.249 to 0.2")
    assert not has(crossing(crew, far), "titrated free alkali")


def test_a_thermometer_is_only_a_note(crew: make.Crew) -> None:
    probe = make.thermometer(crew.maker)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(69),
        instrument=probe,
    )
    make.complete(crew, batch)
    record_check(
        by=crew.maker,
        instrument=probe,
        held=Known(against="ice", reference=Decimal(0), shown=Decimal(-9)),
        tolerance=Decimal(1),
    )
    seen = review(crew, batch)
    assert seen.tools.obstacles == []
    assert has(seen.notes, "pot probe failed its check")
    assert seen.needs_reason


# ------------------------------------------------------------------ deviations


def test_an_open_deviation_is_told_of_what_lies_in_the_doubt_it_follows(
    crew: make.Crew,
) -> None:
    early = make.cooked_batch(crew)
    buffered(crew.maker, GOOD)
    doubtful = make.cooked_batch(crew)
    buffered(crew.maker, OFF_BY_LITTLE)
    buffered(crew.maker, GOOD)
    later = make.cooked_batch(crew)
    found = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    told = f"Deviation {found.code} of instrument pH meter is open"
    assert has(review(crew, doubtful).notes, told)
    assert not has(review(crew, early).notes, told)
    assert not has(review(crew, later).notes, told)


def test_without_a_failed_check_it_is_told_of_what_came_after_the_last_good_one(
    crew: make.Crew,
) -> None:
    early = make.cooked_batch(crew)
    buffered(crew.maker, GOOD)
    between = make.cooked_batch(crew)
    found = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    buffered(crew.maker, GOOD)
    later = make.cooked_batch(crew)
    told = f"Deviation {found.code} of instrument pH meter is open"
    assert has(review(crew, between).notes, told)
    assert not has(review(crew, early).notes, told)
    assert not has(review(crew, later).notes, told)


def test_a_failed_check_that_was_decided_before_is_not_what_it_follows(
    crew: make.Crew,
) -> None:
    old = make.cooked_batch(crew)
    buffered(crew.maker, OFF_BY_LITTLE)
    first = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, first), "no_effect")
    buffered(crew.maker, GOOD)
    new = make.cooked_batch(crew)
    second = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    told = f"Deviation {second.code} of instrument pH meter is open"
    assert has(review(crew, new).notes, told)
    assert not has(review(crew, old).notes, told)


# ------------------------------------------------------------------ and what is unsure


def test_what_was_never_checked_is_said_and_needs_no_reason(crew: make.Crew) -> None:
    batch = liquid(crew)
    seen = review(crew, batch)
    assert "Never checked against anything known: bench scale, pH meter." in seen.notes
    assert has(seen.tools.unsure, "Never checked")
    weighed(crew.maker, "500")
    assert "Never checked against anything known: pH meter." in (
        review(crew, batch).notes
    )


def test_a_good_check_that_the_register_contradicts_is_a_note(crew: make.Crew) -> None:
    early = make.cooked_batch(crew)
    weighed(crew.maker, "502")
    batch = make.cooked_batch(crew)
    assert has(review(crew, batch).notes, "bench scale has ± 0 g in the register, but")
    assert not has(review(crew, early).notes, "in the register, but")
    Instrument.objects.filter(name="bench scale").update(bias_half_width=2)
    assert not has(review(crew, batch).notes, "in the register, but")


def test_all_instruments_of_a_batch_take_one_query(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    weighed(crew.maker, "505")
    buffered(crew.maker, OFF_BY_LITTLE)
    entries = Entries(batch)
    assert len(list(entries)) > 0
    with CaptureQueriesContext(connection) as seen:
        found = tools_of(entries)
        doubts = [doubt for tool in found for doubt in tool.doubts]
    assert {one.instrument.name for one in doubts} == {"bench scale", "pH meter"}
    assert len(seen) == 1


# ------------------------------------------------------------------ signed


def test_what_was_shown_around_the_results_is_signed(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    check = buffered(crew.maker, OFF_BY_LITTLE)
    found = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    seen = review(crew, batch)
    make.sign(crew.reviewer, batch)
    text = Signature.objects.get().record
    around = record.part(text, "around")
    meter = make.meter(crew.maker)
    assert around["notes"] == seen.notes
    assert around["instruments_in_doubt"] == [
        {
            "instrument": meter.pk,
            "name": "pH meter",
            "checks": [check.pk],
            "decided_by": None,
            "can_cross": [],
        }
    ]
    assert around["open_deviations_of_instruments"] == [found.code]
    assert "corrected_entries" not in around
    assert "around" not in record.part(text, "facts")
    assert list(signing.faults()) == []


def test_corrections_are_counted_and_nothing_around_is_no_part(
    crew: make.Crew,
) -> None:
    weighed(crew.maker, "500")
    buffered(crew.maker, ("7.00", "10.01"))
    plain = make.cooked_batch(crew)
    seen = review(crew, plain)
    assert record.around_of(seen.entries, [], seen.tools) == {}
    make.sign(crew.reviewer, plain)
    signature = Signature.objects.get(batch=plain)
    text = record.canonical_record(signature, seen.findings, seen.computed, {})
    assert "around" not in json.loads(text)
    batch = make.cooked_batch(crew)
    reading = batch.readings.get(characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.3"),
        method=reading.method,
        reason="misread",
    )
    make.sign(crew.reviewer, batch)
    text = Signature.objects.get(batch=batch).record
    assert record.part(text, "around")["corrected_entries"] == 1


def test_who_approved_a_limit_is_signed_and_old_records_do_without(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    make.sign(crew.reviewer, batch)
    signature = Signature.objects.get()
    rows = record.part(signature.record, "judgements")
    who = {"id": crew.reviewer.pk, "name": crew.reviewer.person.name}
    assert [row["limit_approved_by"] for row in rows] == [who] * len(rows)
    assert record.judged(signature.record) == record.judgements_of(signature)

    def with_rows(change: dict[str, Any] | None) -> Signature:
        content = json.loads(signature.record)
        for row in content["judgements"]:
            row.pop("limit_approved_by")
            row.update(change or {})
        return Signature(pk=signature.pk, record=json.dumps(content))

    old = with_rows(None)
    assert record.judged(old.record) == record.judgements_of(old)
    other = with_rows({"limit_approved_by": {"id": crew.maker.pk, "name": "X"}})
    assert record.judged(other.record) != record.judgements_of(other)
    renamed = with_rows({"limit_approved_by": {**who, "name": "as it was then"}})
    assert record.judged(renamed.record) == record.judgements_of(renamed)


def test_a_soap_content_is_shifted_by_the_scale_too(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    found = review(crew, batch).came_out.soap_content
    assert found is not None
    limits.set_limit(
        by=crew.reviewer,
        formula_version=batch.formula_version,
        characteristic=Characteristic.SOAP_CONTENT,
        reason="as agreed",
        lower=Decimal(str(round(found.value - 0.1, 2))),
    )
    again = make.cooked_batch(crew)
    assert crossing(crew, again) == []
    weighed(crew.maker, "505")
    assert has(crossing(crew, again), "soap content")


# ------------------------------------------------------------------ dossier and export


def test_the_dossier_names_instruments_in_doubt_among_its_exceptions(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    buffered(crew.maker, OFF_BY_LITTLE)
    make.sign(crew.reviewer, batch)
    context = dossier.context_of(make.fresh(batch))
    notes = context["exceptions"].notes
    assert has(notes, "pH meter failed its check")
    assert has(notes, "Never checked against anything known: bench")
    assert any(one.status == "in_doubt" for one in context["exceptions"].unusual)
    meter = next(one for one in context["used"] if one.instrument.name == "pH meter")
    assert meter.doubt
    page = render_to_string("quality/_dossier_instruments.html", context)
    assert "± 0.05 pH, steps of 0.01 pH" in page
    assert "in doubt" in page
    assert "none on record" in page


def test_an_export_has_the_instruments_their_checks_and_the_limits(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    check = buffered(crew.maker, OFF_BY_LITTLE)
    rows = {
        table.name: [
            dict(zip(table.head, row, strict=True)) for row in table.rows(batch)
        ]
        for table in TABLES
    }
    assert {row["name"] for row in rows["instruments"]} == {"bench scale", "pH meter"}
    (row,) = rows["instrument_checks"]
    assert (row["id"], row["passed"], row["in_words"]) == (
        check.pk,
        False,
        check.sentence,
    )
    assert row["second_shown"] == Decimal("9.84")
    limits_of = {row["characteristic"]: row for row in rows["limits"]}
    assert limits_of["ph"]["upper"] == 10
    assert limits_of["ph"]["entered_by"] == crew.reviewer.person.name
