"""A discrepancy is settled by what was sent, or by saying why it is something else."""

from __future__ import annotations

import dataclasses
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.models import Batch, Charge, Discrepancy, DiscrepancyEnd, Reading
from batches.models.discrepancies import NOTHING_WENT_IN
from batches.services import discrepancies, kept_figures
from producer.errors import Refusal
from producer.models import Stock
from quality.services.reviewing import review_of
from quality.services.verification.masses import genealogy_faults
from tests import kept, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
TEMPERATURE = {"value": "71.5"}


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a batch that passed its hold points, with nothing in it."""
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    return make.fresh(batch)


def taken(
    crew: make.Crew, batch: Batch, stock: Stock | None, net_mg: int, **changes: Any
) -> Discrepancy:
    """Keep that so much of a stock was weighed in and did not fit."""
    entry = discrepancies.Entry(
        kind="charge",
        title="Weigh it",
        path=changes.pop("path", "/"),
        fields={"gross_mg": str(net_mg // 1000), "tare_mg": "0"},
        shown=[["Gross", str(net_mg // 1000)], ["Tare", "0"]],
        stock=stock,
        net_mg=net_mg if stock else 0,
        observed_at=timezone.now(),
    )
    return discrepancies.record(
        by=crew.maker,
        batch=batch,
        entry=dataclasses.replace(entry, **changes),
        refused="It holds less.",
    )


def oil(crew: make.Crew) -> Stock:
    return make.released_lot(crew, make.sunflower(crew.maker), certificate={}).stock


def enter(
    crew: make.Crew,
    row: Discrepancy,
    stock: Stock,
    said_mg: int,
    *,
    weighed_mg: int | None = None,
    into: Batch | None = None,
    reason: str = "",
) -> Charge:
    def do(submission: uuid.UUID | None) -> Charge:
        return make.charge(
            crew,
            into or row.batch,
            stock,
            weighed_mg or said_mg,
            observed_at=row.observed_at,
            unusual="as it was",
            submission=submission,
        )

    return discrepancies.enter(
        by=crew.maker,
        discrepancy=row,
        kind="charge",
        figures={"lot": stock.code, "net_mg": said_mg},
        do=do,
        reason=reason,
    )


def settled(row: Discrepancy) -> DiscrepancyEnd:
    return DiscrepancyEnd.objects.get(discrepancy=row)


def browser_of(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


# ------------------------------------------------------------ only by what was sent


def test_500_g_of_potash_are_not_settled_by_a_temperature(
    crew: make.Crew, batch: Batch
) -> None:
    make.charge_all(crew, batch)
    lot = Charge.objects.get(batch=batch, source__lot__material__kind="potash").source
    row = taken(crew, batch, lot, 500_000)
    address = reverse("batches:read", args=[batch.number, "temperature"])
    fields = {
        "submission": str(uuid.uuid4()),
        "value": "71.5",
        "instrument": make.thermometer(crew.maker).pk,
        "differs": "it was this one",
    }
    browser = browser_of(crew)
    answer = page_of(browser.post(f"{address}?settles={row.pk}", fields))
    assert f"does not settle discrepancy {row.pk}" in answer.words
    assert f"500 g of {lot.code}" in answer.words
    assert not Reading.objects.exists()
    assert discrepancies.open_discrepancies(batch).get() == row
    # Control: without claiming that it settles something it is a reading like any.
    fields["submission"] = str(uuid.uuid4())
    del fields["differs"]
    assert browser.post(address, fields).status_code == 302


def test_the_service_itself_takes_no_other_kind(crew: make.Crew) -> None:
    facts = kept.entering(crew)
    with pytest.raises(Refusal, match="another entry"):
        discrepancies.enter(**{**facts, "kind": "ph"})
    discrepancies.enter(**facts)  # control
    assert settled(facts["discrepancy"]).reason == "temperature: entered in the record."


def test_what_was_made_must_be_what_was_said_to_be_entered(
    crew: make.Crew, batch: Batch
) -> None:
    """To say 790 g and to weigh in 5 g settles nothing; nor does another batch."""
    stock = oil(crew)
    row = taken(crew, batch, stock, 790_000)
    with pytest.raises(Refusal, match="stays open"):
        enter(crew, row, stock, 790_000, weighed_mg=5_000)
    other = make.open_batch(crew)
    make.go_through(crew, other)
    with pytest.raises(Refusal, match="stays open"):
        enter(crew, row, stock, 790_000, into=other)
    figures = {"lot": stock.code, "net_mg": 790_000}
    with pytest.raises(Refusal, match="stays open"):
        discrepancies.enter(
            by=crew.maker,
            discrepancy=row,
            kind="charge",
            figures=figures,
            do=lambda _: None,
        )
    assert not Charge.objects.exists()
    assert discrepancies.open_discrepancies(batch).get() == row
    enter(crew, row, stock, 790_000)
    assert settled(row).reason == "Weigh it: entered in the record."


# ------------------------------------------------------------ or why it is not


def test_another_mass_needs_a_reason_and_the_reviewer_is_told_both(
    crew: make.Crew, batch: Batch
) -> None:
    stock = oil(crew)
    row = taken(crew, batch, stock, 810_000)
    with pytest.raises(Refusal, match=r"Sent 810 g of .*, entered 800 g of") as refused:
        enter(crew, row, stock, 800_000, reason=" ")
    assert refused.value.field == "differs"
    assert not Charge.objects.exists()
    enter(crew, row, stock, 800_000, reason="10 g ran down the can")
    code = stock.code
    said = f"Sent 810 g of {code}, entered 800 g of {code}. 10 g ran down the can"
    assert settled(row).reason == said
    notes = review_of(make.fresh(batch), by=crew.reviewer).notes
    assert any(said in note for note in notes)


def test_another_lot_needs_a_reason_and_the_same_net_needs_none(
    crew: make.Crew, batch: Batch
) -> None:
    stock, other = oil(crew), oil(crew)
    row = taken(crew, batch, stock, 800_000)
    with pytest.raises(Refusal, match=f"Sent 800 g of {stock.code}, entered 800 g of"):
        enter(crew, row, other, 800_000)
    discrepancies.enter(
        by=crew.maker,
        discrepancy=row,
        kind="charge",
        # Gross and tare are others: the net is what went in.
        figures={"lot": stock.code, "gross_mg": 9, "tare_mg": 8, "net_mg": 800_000},
        do=lambda _: make.charge(crew, batch, stock, 800_000),
    )
    assert not discrepancies.entered_otherwise(row, settled(row))
    notes = review_of(make.fresh(batch), by=crew.reviewer).notes
    assert not any(f"Discrepancy {row.pk}" in note for note in notes)


def test_the_page_asks_why_and_shows_what_was_sent(
    crew: make.Crew, batch: Batch
) -> None:
    make.charge_all(crew, batch)
    address = reverse("batches:read", args=[batch.number, "temperature"])
    row = kept.discrepancy(crew, batch)
    fields = {
        "submission": str(uuid.uuid4()),
        "value": "81,5",
        "instrument": make.thermometer(crew.maker).pk,
    }
    browser = browser_of(crew)
    asked = page_of(browser.get(f"{address}?settles={row.pk}"))
    assert "Sent: 71.5 °C." in asked.words
    assert "not what was sent" not in page_of(browser.get(address)).words
    again = page_of(browser.post(f"{address}?settles={row.pk}", fields))
    assert "Sent 71.5 °C, entered 81.5 °C. Say why it differs" in again.words
    fields["differs"] = "the 7 was an 8"
    assert browser.post(f"{address}?settles={row.pk}", fields).status_code == 302
    assert settled(row).reason == "Sent 71.5 °C, entered 81.5 °C. the 7 was an 8"
    assert str(Reading.objects.get().value) == "81.500"


def test_what_could_not_be_read_needs_a_reason_and_is_told_as_it_was_typed(
    crew: make.Crew,
) -> None:
    facts = kept.entering(crew)
    row = discrepancies.record(
        by=crew.maker,
        batch=facts["discrepancy"].batch,
        entry=kept.entry(shown=[["Temperature (°C)", "warm"]], figures={}),
        refused="It is no number.",
    )
    facts["discrepancy"] = row
    with pytest.raises(Refusal, match=r"Sent Temperature \(°C\): warm, entered 71.5"):
        discrepancies.enter(**facts)
    discrepancies.enter(**facts, reason="the display said so")
    assert discrepancies.entered_otherwise(row, settled(row))


@pytest.mark.parametrize(
    ("kind", "figures", "said"),
    [
        ("charge", {"lot": "L1", "net_mg": 540_000}, "540 g of L1"),
        ("charge", {"lot": "L1"}, "a mass that cannot be read of L1"),
        ("half weighing", {"lot": "L1", "first_mg": 350_000}, "350 g of L1"),
        ("yield", {"net_mg": 1_500}, "1.5 g"),
        ("ph", {"value": "9.2"}, "pH 9.2"),
        ("clarity", {"clarity": "clear"}, "clear"),
        ("loss", {"loss": "spill", "mass_mg": 9_000}, "9 g (spilled)"),
    ],
)
def test_every_kind_has_words_for_what_was_sent(
    kind: str, figures: dict[str, Any], said: str
) -> None:
    assert kept_figures.words(kind, figures) == said


# ------------------------------------------------------------ explained


def explain(
    crew: make.Crew, row: Discrepancy, reason: str = "so it was", *, went_in: bool
) -> DiscrepancyEnd:
    return discrepancies.explain(
        by=crew.reviewer, discrepancy=row, reason=reason, went_in=went_in
    )


def test_what_moves_the_alkali_is_entered_while_it_can_be(
    crew: make.Crew, batch: Batch
) -> None:
    make.charge_all(crew, batch)
    potash = Charge.objects.get(
        batch=batch, source__lot__material__kind="potash"
    ).source
    row = taken(crew, batch, potash, 30_000)
    unread = taken(crew, batch, None, 0)
    for one in (row, unread):
        with pytest.raises(Refusal, match="enter it, so that it is counted") as refused:
            explain(crew, one, went_in=True)
        assert refused.value.field == "went_in"
    water = make.released_lot(crew, make.water(crew.maker)).stock
    explain(crew, taken(crew, batch, water, 30_000), went_in=True)  # moves nothing
    explain(crew, unread, went_in=False)
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch)
    assert not discrepancies.may_be_entered(row)
    explain(crew, row, went_in=True)
    assert not discrepancies.open_discrepancies(batch)


@pytest.mark.parametrize(
    ("went_in", "typed"),
    [
        (True, NOTHING_WENT_IN),
        (True, f"  {NOTHING_WENT_IN} I think."),
        (False, discrepancies.WENT_IN),
    ],
)
def test_the_answer_counts_and_not_the_words_of_the_reason(
    crew: make.Crew, batch: Batch, *, went_in: bool, typed: str
) -> None:
    """A reviewer’s own words never turn the answer round."""
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch)
    lot = oil(crew)
    first, second = (taken(crew, batch, lot, 30_000) for _ in range(2))
    end = explain(crew, first, typed, went_in=went_in)
    assert discrepancies.went_in(first, end) is went_in
    assert typed.strip() in end.reason  # as it was written
    # The other says that nothing went in: then only the first one keeps the lot.
    explain(crew, second, went_in=False)
    assert (batch.pk in trace.downstream_ids(lot.pk)) is went_in
    assert list(genealogy_faults()) == []


def test_verify_finds_a_discrepancy_that_a_recall_would_miss(
    crew: make.Crew, batch: Batch
) -> None:
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch)
    lot = oil(crew)
    row = taken(crew, batch, lot, 30_000)
    assert list(genealogy_faults()) == []
    edge = batch.inputs.get(source=lot)
    edge.delete()
    (fault,) = genealogy_faults()
    assert f"30 g of {lot.code} into {batch.number}." in fault
    assert f"discrepancy {row.pk}" in fault
    explain(crew, row, went_in=True)
    assert len(list(genealogy_faults())) == 1  # it is still in there


def test_a_batch_that_was_made_into_the_lot_is_no_fault(crew: make.Crew) -> None:
    """What was made from a batch does not go into it: no edge, and no fault."""
    liquid = make.released_liquid(crew)
    (paste,) = Batch.objects.filter(pk__in=trace.upstream_ids(liquid.pk)).exclude(
        pk=liquid.pk
    )
    taken(crew, paste, liquid.stock, 1_000)
    assert not paste.inputs.filter(source=liquid.stock).exists()
    assert list(genealogy_faults()) == []
