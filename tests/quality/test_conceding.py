"""Deviations and the release: nothing open, nothing averaged, what leave can do."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Reading
from batches.services import cooking
from producer.errors import Conflict, Refusal
from quality.services import deviating, deviation_ends, record, reviewing, signing
from tests import lab, make
from tests.database import run, without_triggers
from tests.doors.pages import page_of
from tests.quality import faulty

pytestmark = pytest.mark.django_db


def review(crew: make.Crew, batch: Batch) -> reviewing.Review:
    return reviewing.review_of(make.fresh(batch), by=crew.reviewer)


def obstacles(crew: make.Crew, batch: Batch) -> str:
    return " ".join(review(crew, batch).obstacles)


def test_no_release_with_a_deviation_open(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.deviation(crew.maker, batch.stock)
    with pytest.raises(Refusal, match=f"Deviation {found.code} of batch .* is open"):
        make.sign(crew.reviewer, batch)
    faulty.looked_into(crew.maker, found)
    faulty.close(crew.reviewer, found, "no_effect")
    signature = make.sign(crew.reviewer, batch)  # control
    assert record.part(signature.record, "deviations") == [
        {
            "code": found.code,
            "of": f"batch {batch.number}",
            "class": "major",
            "decision": "no_effect",
            "record_sha256": found.steps.get(kind="closed").record_sha256,
        }
    ]


def test_no_release_with_a_deviation_open_of_something_in_it_at_any_depth(
    crew: make.Crew,
) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    liquid = make.diluted_batch(crew, paste=paste)
    assert review(crew, liquid).obstacles == []
    of_lot = faulty.deviation(crew.maker, potash.stock)
    of_paste = faulty.deviation(crew.reviewer, paste.stock, "ph")
    said = obstacles(crew, liquid)
    assert f"Deviation {of_lot.code} of raw lot {potash.code} is open" in said
    assert f"Deviation {of_paste.code} of batch {paste.number} is open" in said
    for found in (of_lot, of_paste):
        faulty.close(
            crew.reviewer, faulty.looked_into(crew.maker, found), "not_confirmed"
        )
    make.sign(crew.reviewer, liquid)


def test_a_hold_is_not_lifted_while_a_deviation_is_open(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    faulty.deviation(crew.maker, batch.stock)
    make.sign(crew.reviewer, batch, "hold")  # making it safer is always possible
    with pytest.raises(Refusal, match="is open"):
        make.sign(crew.reviewer, batch, "unhold")


@pytest.mark.parametrize("of", ["batch", "lot"])
def test_what_is_to_be_rejected_is_not_released(crew: make.Crew, of: str) -> None:
    potash = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": potash.stock})
    stock = batch.stock if of == "batch" else potash.stock
    found = faulty.looked_into(crew.maker, faulty.deviation(crew.maker, stock))
    faulty.close(crew.reviewer, found, "rejected")
    with pytest.raises(Refusal, match="was decided: to be rejected"):
        make.sign(crew.reviewer, batch)
    make.sign(crew.reviewer, batch, "reject")
    assert make.fresh(batch).status == "rejected"


def test_a_deviation_opened_while_the_page_is_read_stops_the_signature(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    seen = review(crew, batch).digest
    faulty.closed(crew, batch, "ph", "no_effect")
    with pytest.raises(Conflict, match="changed since you read it"):
        make.sign(crew.reviewer, batch, seen=seen)


def test_a_record_without_deviations_names_none(crew: make.Crew) -> None:
    signature = make.sign(crew.reviewer, make.cooked_batch(crew))
    assert '"deviations"' not in signature.record


def test_a_later_deviation_breaks_no_signature(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    faulty.deviation(crew.maker, batch.stock)
    assert list(signing.faults()) == []


def test_an_open_deviation_of_an_instrument_it_was_measured_with_is_said(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    found = faulty.deviation(crew.maker, instrument=make.meter(crew.maker))
    other = faulty.deviation(crew.maker, instrument=make.strips(crew.maker))
    notes = " ".join(review(crew, batch).notes)
    assert found.code in notes
    assert other.code not in notes
    make.sign(crew.reviewer, batch)


# ------------------------------------------------------------------ result shopping


def in_the_pot(crew: make.Crew) -> Batch:
    """Return a charged batch of which the first pH is 11."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "11")
    return batch


def remark_nothing(batch: Batch) -> None:
    """Take the reasons off the charges: nothing but the results is to be weighed."""
    with without_triggers():
        assert run(
            "UPDATE batches_charge SET reason = '' WHERE batch_id = %s", batch.pk
        )


def temperature(
    crew: make.Crew, batch: Batch, value: str = "68", **changes: object
) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(value),
        instrument=make.thermometer(crew.maker),
        **changes,  # type: ignore[arg-type]
    )


SHOPPED = r"earlier result lies outside the limit \(11\).*\(9\.8\).*no mean is taken"


def test_scenario_22_a_better_second_result_does_not_release(crew: make.Crew) -> None:
    batch = make.complete(crew, in_the_pot(crew), ph="9.8")
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)
    make.read_ph(crew, make.fresh(batch), "9.8")  # nor does a third
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)
    values = Reading.objects.filter(batch=batch, characteristic="ph")
    assert [int(row.value) for row in values.order_by("pk")] == [11, 9, 9]  # type: ignore[arg-type]


def test_scenario_22_cooking_on_between_the_two_explains_it(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    temperature(crew, batch)
    make.complete(crew, batch, ph="9.8")
    remark_nothing(batch)
    seen = review(crew, batch)
    assert (
        "Of pH, an earlier result lies outside the limit: 11. The last one is 9.8."
        " Between them: cooked on at 68.0 °C."
    ) in seen.notes
    assert seen.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch)


@pytest.mark.parametrize(("celsius", "explains"), [("49.9", False), ("50", True)])
def test_scenario_22_a_temperature_that_is_no_cooking_explains_nothing(
    crew: make.Crew, celsius: str, *, explains: bool
) -> None:
    batch = in_the_pot(crew)
    temperature(crew, batch, celsius)
    make.complete(crew, batch, ph="9.8")
    assert ("no mean is taken" not in obstacles(crew, batch)) is explains


def test_scenario_22_nor_does_one_that_was_amended_to_be_hot_afterwards(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    row = temperature(crew, batch, "20")
    make.complete(crew, batch, ph="9.8")
    amend = functools.partial(
        cooking.amend_reading, by=crew.maker, reason="misread the dial"
    )
    row = amend(reading=row, value=Decimal(68))
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)
    hot = in_the_pot(crew)
    row = temperature(crew, hot, "78")
    make.complete(crew, hot, ph="9.8")
    amend(reading=row, value=Decimal(68))  # it was hot before, and in time
    make.sign(crew.reviewer, hot)


@pytest.mark.parametrize("is_finished", [False, True])
def test_scenario_22_nothing_is_cooked_that_was_weighed_out_of_the_pot(
    crew: make.Crew, *, is_finished: bool
) -> None:
    batch = in_the_pot(crew)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    if is_finished:
        batch = cooking.finish(by=crew.maker, batch=batch)
    temperature(crew, batch)
    make.read_ph(crew, batch, "9.8")
    if not is_finished:
        batch = cooking.finish(by=crew.maker, batch=batch)
    with pytest.raises(Refusal, match=SHOPPED) as refused:
        make.sign(crew.reviewer, make.fresh(batch))
    # Somebody did read 68 °C: the sentence says why that does not count.
    assert "entered after the yield was weighed does not count" in str(refused.value)


def test_scenario_22_without_a_late_temperature_nothing_is_said_of_one(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    temperature(crew, batch, "45")
    make.complete(crew, batch, ph="9.8")
    temperature(crew, batch, "49.9")
    found = obstacles(crew, make.fresh(batch))
    assert "no mean is taken" in found
    assert "does not count" not in found


def test_scenario_22_a_dilution_is_not_cooked_on(crew: make.Crew) -> None:
    batch = make.open_batch(crew, make.liquid_version(crew))
    make.charge_all(crew, batch, {"batch": make.released_paste(crew).stock})
    make.read_ph(crew, batch, "11.2")
    temperature(crew, batch)
    make.complete(crew, batch, ph="9.2")
    with pytest.raises(Refusal, match=r"\(11\.2\).*no mean is taken"):
        make.sign(crew.reviewer, batch)


def test_scenario_22_a_charge_between_the_two_explains_it(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    make.complete(crew, batch, ph="9.8")
    remark_nothing(batch)
    seen = review(crew, batch)
    assert any(f"Between them: 5 g of {lot.code} weighed in." in x for x in seen.notes)
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch)


def test_scenario_22_a_temperature_dated_back_afterwards_explains_nothing(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    between = timezone.now()
    make.complete(crew, batch, ph="9.8")
    temperature(crew, make.fresh(batch), observed_at=between)
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)


def test_scenario_22_a_temperature_of_before_or_taken_back_explains_nothing(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    temperature(crew, batch, observed_at=timezone.now() - datetime.timedelta(hours=1))
    temperature(crew, batch)
    row = Reading.objects.filter(batch=batch, characteristic="temperature").latest("pk")
    cooking.amend_reading(
        by=crew.maker, reading=row, void=True, reason="of another pot"
    )
    make.complete(crew, batch, ph="9.8")
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)


@pytest.mark.parametrize(
    ("decision", "explains"),
    [
        ("not_confirmed", True),
        ("concession", True),
        ("no_effect", False),
        ("mended", False),
    ],
)
def test_scenario_22_a_deviation_with_a_cause_explains_the_first_result(
    crew: make.Crew, decision: str, *, explains: bool
) -> None:
    batch = make.complete(crew, in_the_pot(crew), ph="9.8")
    faulty.closed(crew, batch, "ph", decision)
    assert ("no mean is taken" not in obstacles(crew, batch)) is explains
    if explains:
        assert review(crew, batch).needs_reason
        make.sign(crew.reviewer, batch)


@pytest.mark.parametrize(
    ("decision", "lifted"), [("not_confirmed", False), ("concession", True)]
)
def test_scenario_22_a_bad_result_of_after_the_opening_confirms_the_first(
    crew: make.Crew, decision: str, *, lifted: bool
) -> None:
    batch = make.complete(crew, in_the_pot(crew), ph="9.8")
    found = faulty.deviation(crew.maker, batch.stock, "ph")
    make.read_ph(crew, make.fresh(batch), "10.9")
    make.read_ph(crew, make.fresh(batch), "9.8")
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, found), decision)
    said = obstacles(crew, batch)
    assert ("the limit (10.9)" not in said) is lifted
    assert "the limit (11" not in said  # the first one has its cause
    faulty.closed(crew, batch, "ph", "not_confirmed")
    make.sign(crew.reviewer, batch)


def test_scenario_22_a_result_amended_to_be_bad_afterwards_is_not_lifted(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.9")
    batch = make.complete(crew, batch, ph="9.8")
    faulty.closed(crew, batch, "ph", "not_confirmed")
    row = Reading.objects.filter(batch=batch, characteristic="ph").earliest("pk")
    cooking.amend_reading(
        by=crew.maker,
        reading=row,
        value=Decimal("11.1"),
        method=row.method,
        reason="misread the dial",
    )
    assert "the limit (11.1)" in obstacles(crew, batch)


# ------------------------------------------------------------------ corrections


def corrected(crew: make.Crew, batch: Batch, **changes: object) -> Reading:
    row = Reading.objects.current().filter(batch=batch, characteristic="ph")
    reading = row.latest("pk")
    facts = {
        "value": Decimal("9.8"),
        "method": reading.method,
        "reason": "misread the strip",
        **changes,
    }
    return cooking.amend_reading(by=crew.maker, reading=reading, **facts)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "was corrected to 9.8: 11, because: misread the strip"),
        ({"void": True}, "was taken back: 11, because: misread the strip"),
        (
            {"method": "by eye"},
            "was corrected to 9.8 by “by eye”: 11, because: misread the strip",
        ),
    ],
)
def test_a_correction_that_makes_a_result_pass_needs_a_reason_to_release(
    crew: make.Crew, changes: dict[str, object], said: str
) -> None:
    batch = make.cooked_batch(crew, ph="11")
    corrected(crew, batch, **changes)
    if changes:
        make.read_ph(crew, make.fresh(batch), "9.8")
    remark_nothing(batch)
    seen = review(crew, batch)
    assert seen.obstacles == []
    assert f"Of pH, a result outside the limit {said}" in seen.notes
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch)


def test_each_correction_on_the_way_is_named_with_its_reason(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="11")
    corrected(crew, batch, value=Decimal("10.9"))
    corrected(crew, batch, reason="looked at the wrong strip")
    notes = " ".join(review(crew, batch).notes)
    assert "9.8: 11, because: misread the strip; then: looked at the" in notes
    assert "9.8: 10.9, because: looked at the wrong strip" in notes


def test_control_a_correction_inside_the_limits_needs_no_reason(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="9.3")
    corrected(crew, batch)
    remark_nothing(batch)
    assert not review(crew, batch).needs_reason
    make.sign(crew.reviewer, batch, reason="")


def test_scenario_22_a_deviation_of_something_else_or_from_before_explains_nothing(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    faulty.closed(crew, batch, "ph", "not_confirmed")
    make.read_ph(crew, batch, "11")
    make.complete(crew, batch, ph="9.8")
    faulty.closed(crew, batch, "clarity", "not_confirmed")
    with pytest.raises(Refusal, match=SHOPPED):
        make.sign(crew.reviewer, batch)


def test_scenario_22_holds_for_clarity_too(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_clarity(crew, batch, "oil_drops")
    make.complete(crew, batch)
    with pytest.raises(Refusal, match=r"\(oil drops\).*\(clear\).*no mean"):
        make.sign(crew.reviewer, batch)
    faulty.closed(crew, batch, "clarity", "not_confirmed")
    make.sign(crew.reviewer, batch)


def test_scenario_22_holds_for_titrated_free_alkali_too(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, "6.2")
    lab.free_alkali(crew, batch, "1.2")
    with pytest.raises(Refusal, match=r"Of free alkali.*no mean is taken"):
        make.sign(crew.reviewer, batch)
    faulty.closed(crew, batch, "free_alkali", "not_confirmed")
    make.sign(crew.reviewer, batch)


def test_control_an_earlier_result_inside_or_by_another_method_stops_nothing(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.6")
    make.read_ph(crew, batch, "11.2", method="10 % in tap water")
    make.complete(crew, batch, ph="9.8")
    make.sign(crew.reviewer, batch)


# ------------------------------------------------------------------ concessions


def test_out_of_specification_asks_for_a_deviation(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    assert "open a deviation of pH" in obstacles(crew, batch)
    faulty.deviation(crew.maker, batch.stock, "ph")
    assert "open a deviation of pH" not in obstacles(crew, batch)


def test_what_was_decided_about_it_is_said_in_place_of_that(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    found = faulty.closed(crew, batch, "ph", "no_effect")
    said = obstacles(crew, batch)
    assert f"deviation {found.code} of pH was decided: no effect on the product" in said
    assert "open a deviation" not in said
    make.read_ph(crew, make.fresh(batch), "10.5")  # that is a new one
    assert "10.5" in obstacles(crew, batch)
    assert "open a deviation of pH" in obstacles(crew, batch)


def test_a_concession_lets_one_result_pass_with_a_reason(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    found = faulty.closed(crew, batch, "ph", "concession")
    seen = review(crew, batch)
    assert seen.obstacles == []
    assert seen.needs_reason
    notes = " ".join(seen.notes)
    assert f"The concession of deviation {found.code} lets it pass" in notes
    assert "for floors only" in notes
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    signature = make.sign(crew.reviewer, batch)
    (named,) = record.part(signature.record, "deviations")
    assert named["decision"] == "concession"
    (ph, *_) = record.part(signature.record, "judgements")
    assert ph["verdict"] == "fail"  # what was measured is said as it was


def test_a_concession_counts_only_for_what_was_known_when_it_was_given(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    faulty.closed(crew, batch, "ph", "concession")
    make.read_ph(crew, make.fresh(batch), "10.5")
    with pytest.raises(Refusal, match=r"pH 10\.5"):
        make.sign(crew.reviewer, batch)
    faulty.closed(crew, batch, "ph", "concession")
    make.sign(crew.reviewer, batch)


@pytest.mark.parametrize("decision", ["mended", "no_effect", "not_confirmed"])
def test_no_other_decision_lets_a_result_pass(crew: make.Crew, decision: str) -> None:
    batch = make.cooked_batch(crew, ph="10.4")
    faulty.closed(crew, batch, "ph", decision)
    with pytest.raises(Refusal, match=r"pH 10\.4"):
        make.sign(crew.reviewer, batch)


def test_a_concession_of_one_result_does_not_lift_another(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="10.4", share="0.78")
    faulty.closed(crew, batch, "ph", "concession")
    with pytest.raises(Refusal, match="Yield variance"):
        make.sign(crew.reviewer, batch)
    faulty.closed(crew, batch, "yield_variance", "concession")
    make.sign(crew.reviewer, batch)


def test_a_concession_of_yield_ends_with_the_next_weighing(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, share="0.78")
    faulty.closed(crew, batch, "yield_variance", "concession")
    assert obstacles(crew, batch) == ""
    weighing = batch.bulk_weighings.get()
    cooking.amend_bulk(
        by=crew.maker,
        weighing=weighing,
        gross_mg=weighing.gross_mg - 1000,
        tare_mg=weighing.tare_mg,
        reason="misread",
    )
    assert "Yield variance" in obstacles(crew, batch)


def test_a_concession_of_free_alkali_lets_the_titration_pass(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, "6.2")
    assert "Free potassium hydroxide by titration" in obstacles(crew, batch)
    faulty.closed(crew, batch, "free_alkali", "concession")
    assert review(crew, batch).needs_reason
    make.sign(crew.reviewer, batch)


def too_alkaline(crew: make.Crew) -> Batch:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, "9.5")
    return batch


SAFETY: list[tuple[str, Callable[[make.Crew], Batch], str]] = [
    ("ph", lambda crew: make.cooked_batch(crew, ph="11.6"), "taken as corrosive"),
    ("ph", lambda crew: make.cooked_batch(crew, ph="11.47"), "taken as corrosive"),
    ("free_alkali", too_alkaline, "taken as caustic"),
    (
        "yield_variance",
        lambda crew: make.cooked_batch(crew, share="1.05"),
        "That is impossible",
    ),
]


@pytest.mark.parametrize(("of", "batch_of", "said"), SAFETY)
def test_a_concession_never_lifts_what_can_hurt(
    crew: make.Crew,
    of: str,
    batch_of: Callable[[make.Crew], Batch],
    said: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    batch = batch_of(crew)
    found = faulty.looked_into(
        crew.maker, faulty.deviation(crew.maker, batch.stock, of)
    )
    assert "concession" not in deviating.possible(found)
    with pytest.raises(Refusal, match="No concession lifts that") as refused:
        faulty.close(crew.reviewer, found, "concession")
    assert refused.value.field == "decision"
    # One that was given before there was such a refusal lifts it no more.
    monkeypatch.setattr(deviation_ends, "result_now", lambda _: None)
    faulty.close(crew.reviewer, found, "concession")
    with pytest.raises(Refusal, match=said):
        make.sign(crew.reviewer, batch)


def test_who_decides_reads_the_result_and_those_before_it(
    crew: make.Crew, client: Client
) -> None:
    batch = make.cooked_batch(crew, ph="10.6")
    make.read_ph(crew, batch, "10.4")
    found = faulty.looked_into(
        crew.maker, faulty.deviation(crew.maker, batch.stock, "ph")
    )
    client.force_login(crew.reviewer)
    address = reverse("quality:deviation_close", args=[found.code])
    response = client.get(address)
    words = page_of(response).words
    assert "lies outside 8 to 10: fail. Before it: 10.6." in words
    assert "Before it: 10.6, outside." in words
    assert "<svg" in response.content.decode()
    seen = deviating.digest_of(found)
    make.read_ph(crew, make.fresh(batch), "10.5")
    with pytest.raises(Conflict, match="changed since you read it"):
        faulty.close(crew.reviewer, found, "concession", seen=seen)
    faulty.close(crew.reviewer, found, "concession", seen=deviating.digest_of(found))


def test_what_no_concession_lifts_is_said_where_it_is_decided(
    crew: make.Crew, client: Client
) -> None:
    batch = too_alkaline(crew)
    found = faulty.deviation(crew.maker, batch.stock, "free_alkali")
    client.force_login(crew.reviewer)
    address = reverse("quality:deviation_close", args=[found.code])
    words = page_of(client.get(address)).words
    assert "can be 0.5 % or more. No concession lifts that" in words
    assert "used although it does not conform" not in words


def test_control_below_the_figure_a_concession_of_the_ph_holds(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="11.3")
    faulty.closed(crew, batch, "ph", "concession")
    make.sign(crew.reviewer, batch)


def test_whatever_the_limit_a_ph_of_the_figure_is_not_released(crew: make.Crew) -> None:
    version = make.paste_version(crew, ph=("8", "13"))
    batch = make.cooked_batch(crew, version, ph="11.8")
    with pytest.raises(Refusal, match="taken as corrosive"):
        make.sign(crew.reviewer, batch)


def test_a_concession_of_the_paste_is_said_at_the_review_of_what_it_went_into(
    crew: make.Crew,
) -> None:
    paste = make.cooked_batch(crew, ph="10.4")
    found = faulty.closed(crew, paste, "ph", "concession")
    make.sign(crew.reviewer, paste)
    seen = review(crew, make.diluted_batch(crew, paste=make.fresh(paste)))
    assert seen.obstacles == []
    assert any(found.code in note and "floors only" in note for note in seen.notes)
    assert deviating.possible(found)  # it stays what it was
