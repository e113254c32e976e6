"""The genealogy, both ways: the same as a walk by hand, in one query at any depth."""

from __future__ import annotations

import csv
import itertools
import random
from fractions import Fraction

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.models import Batch, Input
from batches.services import cooking
from producer.errors import Refusal
from producer.models import RawLot, Stock, User
from quality.documents import recalls as documents
from quality.services import recall_affected, recalling
from tests import lab, make
from tests.doors.pages import page_of
from tests.quality.test_batch_sheet import pages_of

Edges = list[tuple[int, int, int]]


def stocks(crew: make.Crew, *, lots: int, batches: int) -> tuple[list[int], list[int]]:
    """Insert bare lots and batches past the services; return their ids."""
    version = make.paste_version(crew)
    material, supplier = make.water(crew.maker), make.supplier(crew.maker)
    rows = Stock.objects.bulk_create(
        [Stock(kind="lot", code=f"L{n}") for n in range(lots)]
        + [Stock(kind="batch", code=f"B{n}") for n in range(batches)]
    )
    RawLot.objects.bulk_create(
        RawLot(
            stock=row,
            material=material,
            supplier=supplier,
            supplier_lot="S",
            received_on=make.TODAY,
        )
        for row in rows[:lots]
    )
    Batch.objects.bulk_create(
        Batch(
            stock=row,
            formula_version=version,
            kind="cook",
            basis_mg=1,
            maker=crew.maker,
            opened_at=timezone.now(),
        )
        for row in rows[lots:]
    )
    ids = [row.pk for row in rows]
    return ids[:lots], ids[lots:]


def connect(edges: Edges) -> None:
    """Insert edges past the services."""
    Input.objects.bulk_create(
        (
            Input(source_id=source, batch_id=batch, mass_mg=mass)
            for source, batch, mass in edges
        ),
        batch_size=2000,
    )


def by_hand(root: int, edges: Edges, *, forwards: bool) -> set[int]:
    """Follow the edges until nothing new turns up: no recursion, no SQL, no index."""
    reached = {root}
    while True:
        more = {
            batch if forwards else source
            for source, batch, mass in edges
            if mass and (source if forwards else batch) in reached
        }
        if more <= reached:
            return reached
        reached |= more


def random_edges(rng: random.Random, lots: list[int], batches: list[int]) -> Edges:
    """Let each batch take lots, and some take batches made before it."""
    edges: Edges = []
    for place, batch in enumerate(batches):
        taken = rng.sample(lots, rng.randint(0, min(3, len(lots))))
        made = batches[:place]
        taken += rng.sample(made, min(len(made), rng.choice([0, 0, 1, 1, 2, 4])))
        # A mass of zero is a charge that was taken back.
        edges += [(source, batch, rng.choice([0, 5, 40_000])) for source in taken]
    return edges


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(3))
def test_what_blocks_a_batch_is_found_at_any_depth_in_three_questions(
    crew: make.Crew, seed: int
) -> None:
    rng = random.Random(seed)  # noqa: S311 - a graph, not a secret
    lots, batches = stocks(crew, lots=6, batches=25)
    edges = random_edges(rng, lots, batches)
    connect(edges)
    RawLot.objects.filter(pk__in=lots).update(status="released")
    RawLot.objects.filter(pk=lots[0]).update(status="on_hold")
    RawLot.objects.filter(pk=lots[1]).update(status="quarantine")
    Batch.objects.filter(pk=batches[3]).update(status="rejected")
    bad = {*lots[:2], batches[3]}
    with CaptureQueriesContext(connection) as asked:
        found = trace.blocked(batches)
    assert len(asked) == 3
    for root in batches:
        above = by_hand(root, edges, forwards=False) - {root}
        assert len(found.get(root, [])) == len(above & bad)
    told = [words for rows in found.values() for words in rows]
    assert any(words.endswith("in it is on hold") for words in told)
    assert trace.blocked([]) == {}


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(8))
def test_trace_and_track_find_what_a_walk_by_hand_finds(
    crew: make.Crew, seed: int
) -> None:
    rng = random.Random(seed)  # noqa: S311 - a graph, not a secret
    lots, batches = stocks(crew, lots=6, batches=25)
    edges = random_edges(rng, lots, batches)
    connect(edges)
    for root in [*lots, *batches]:
        up, down = trace.upstream_ids(root), trace.downstream_ids(root)
        assert set(up) == by_hand(root, edges, forwards=False)
        assert set(down) == by_hand(root, edges, forwards=True)
        assert len(set(up)) == len(up)
        assert len(set(down)) == len(down)


@pytest.mark.django_db
def test_a_genealogy_names_lots_batches_and_masses_of_that_part_alone(
    crew: make.Crew,
) -> None:
    lots, batches = stocks(crew, lots=3, batches=4)
    inside = [
        (lots[0], batches[0], 7),
        (lots[1], batches[0], 8),
        (batches[0], batches[1], 9),
    ]
    connect([*inside, (lots[2], batches[2], 5), (batches[1], batches[3], 0)])
    up = trace.trace(Stock.objects.get(pk=batches[1]))
    assert [lot.pk for lot in up.lots] == lots[:2]
    assert up.batch_ids == batches[:2]
    assert up.edges == inside
    down = trace.track(Stock.objects.get(pk=lots[1]))
    assert [lot.pk for lot in down.lots] == [lots[1]]
    assert down.batch_ids == batches[:2]
    assert down.edges == inside[1:]


def chain(lot: int, batches: list[int]) -> Edges:
    """Return edges in which each batch contains the one before it."""
    return [
        (source, batch, 1)
        for source, batch in zip([lot, *batches], batches, strict=False)
    ]


@pytest.mark.django_db
@pytest.mark.parametrize("depth", [1, 80])
def test_one_query_each_way_at_any_depth(crew: make.Crew, depth: int) -> None:
    lots, batches = stocks(crew, lots=1, batches=depth)
    connect(chain(lots[0], batches))
    with CaptureQueriesContext(connection) as walked:
        assert len(trace.downstream_ids(lots[0])) == depth + 1
        assert len(trace.upstream_ids(batches[-1])) == depth + 1
    assert len(walked) == 2
    with CaptureQueriesContext(connection) as shown:
        genealogy = trace.trace(Stock(pk=batches[-1]))
        for batch in genealogy.batches:
            assert batch.stock.code
            assert batch.formula_version.formula.name
        assert genealogy.lots[0].material.name
    assert len(shown) == 4


def three_deep(crew: make.Crew) -> tuple[RawLot, list[Batch]]:
    """Return P1's potash and P1, P2, P3: each rejected paste is reworked into the next.

    P2 takes part of P1 and fresh oil, P3 takes part of P2 and fresh oil.
    """
    potash = make.released_lot(crew, make.potash(crew.maker), supplier_lot="BAD")
    first = make.failed_paste(crew, "rework", sources={"potash": potash.stock})
    second = _reworked(crew, first, 700_000, ph="11")
    second = make.signed(crew.reviewer, second, "reject", "rework")
    third = make.signed(crew.reviewer, _reworked(crew, second, 600_000), "release")
    return potash, [make.fresh(first), second, third]


def _reworked(
    crew: make.Crew, source: Batch, mass_mg: int, *, ph: str = "9.2"
) -> Batch:
    batch = make.open_batch(crew, is_rework=True)
    make.charge(crew, batch, source.stock, mass_mg, is_rework=True)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, oil.stock, 20_000)
    batch = make.complete(crew, batch, ph=ph)
    # What the rejected paste brought along, no weighing says.
    lab.free_alkali(crew, batch, "0.20", "0.21", "0.20")
    return batch


@pytest.mark.django_db
def test_scenario_14_rework_three_deep(crew: make.Crew) -> None:
    potash, (first, second, third) = three_deep(crew)
    other = make.released_lot(crew, make.potash(crew.maker)).stock
    clean = make.released_liquid(
        crew, paste=make.released_paste(crew, sources={"potash": other})
    )
    liquid = make.released_liquid(crew, paste=third)
    lot = make.filled(crew, liquid)
    make.filled(crew, clean)

    affected = recall_affected.affected_by(potash.stock)
    assert affected.batch_ids == [first.pk, second.pk, third.pk, liquid.pk]
    assert affected.bottle_count == lot.count
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=potash.stock,
        hazard_class="2",
        reason="supplier's potash holds soda",
        public_notice="Do not use. Bring it back.",
    )
    for bottle in make.bottles_of(lot):
        assert recalling.recalls_of_bottle(bottle) == [recall]
        assert bottle.status == "on_hold"
    assert make.fresh(clean).status == "released"
    assert make.fresh(third).status == "on_hold"
    # masses between them, to the milligram
    assert (first.pk, second.pk, 700_000) in trace.track(potash.stock).edges
    assert (second.pk, third.pk, 600_000) in trace.track(potash.stock).edges


@pytest.mark.django_db
def test_scenario_14_the_share_of_suspect_mass_is_shown(
    crew: make.Crew, auditor: User, client: Client
) -> None:
    """By hand: s = 226.778 g of potash in 1646.778 g of the first paste, 13.8 %.

    700 g of it with 20 g of oil: 700/720·s, 13.4 %; 600 g of that with 20 g of oil:
    600/620·700/720·s, 13.0 %.
    """
    potash, (first, second, third) = three_deep(crew)
    lot = make.filled(crew, make.released_liquid(crew, paste=third), count=1)
    s = Fraction(226_778, 1_646_778)
    expected = {
        first.pk: s,
        second.pk: s * Fraction(700, 720),
        third.pk: s * Fraction(700, 720) * Fraction(600, 620),
    }
    shares = recall_affected.affected_by(potash.stock).shares
    assert {pk: shares[pk].least for pk in expected} == expected
    assert 0 < shares[lot.batch_id].least < expected[third.pk]
    assert not any(share.is_least for share in shares.values())

    client.force_login(auditor)
    page = client.get(reverse("quality:affected", args=[potash.code]))
    paper = documents.list_pdf(
        recall_affected.affected_by(potash.stock), None, printed_by="M"
    )
    printed = " ".join(pages_of(paper))
    for shown in ("13.8 %", "13.4 %", "13 %"):
        assert shown in page_of(page).words
        assert shown in printed
    row, end = csv.DictReader(
        b"".join(documents.list_of(documents.of(potash.stock), "csv"))
        .decode()
        .splitlines()
    )
    assert (end["bottle"], end["address"]) == ("end", "1 bottle")
    found = shares[lot.batch_id].least * 100
    assert row["share of what went in (%)"] == f"{float(found):.4f}"
    # asked of a batch, the batch is all of it
    assert recall_affected.affected_by(first.stock).shares[first.pk].least == 1


@pytest.mark.django_db
def test_the_shares_take_one_query_however_many_batches(crew: make.Crew) -> None:
    lots, batches = stocks(crew, lots=2, batches=40)
    chain = [(lots[0], batches[0], 1), (lots[1], batches[0], 1)]
    chain += [(source, into, 1) for source, into in itertools.pairwise(batches)] + [
        (lots[1], into, 1) for into in batches[1:]
    ]
    connect(chain)
    found = trace.track(Stock.objects.get(pk=lots[0]))
    with CaptureQueriesContext(connection) as asked:
        shares = trace.shares(found)
    assert len(asked) == 1
    assert [shares[pk].least for pk in batches] == [
        Fraction(1, 2**depth) for depth in range(1, 41)
    ]


@pytest.mark.django_db
def test_scenario_14_rework_three_deep_makes_no_loop(crew: make.Crew) -> None:
    _, made = three_deep(crew)
    potash = make.released_lot(crew, make.potash(crew.maker))
    for batch in made:
        sources = [potash.stock, *(other.stock for other in made)]
        for source in sources:
            if source.pk == batch.pk:
                continue
            with pytest.raises(Refusal, match="closed and signed"):
                make.charge(crew, batch, source, 1000, is_rework=True)
        charge = batch.charges.latest("pk")
        with pytest.raises(Refusal, match="closed and signed"):
            cooking.amend_charge(
                by=crew.maker,
                charge=charge,
                source=made[-1].stock,
                gross_mg=1000,
                tare_mg=0,
                reason="a loop",
            )
    # nor can a batch still open be drawn from, by itself or by another
    fresh = make.open_batch(crew, is_rework=True)
    for target in (fresh, make.open_batch(crew, is_rework=True)):
        with pytest.raises(Refusal, match="Only a released batch"):
            make.charge(crew, target, fresh.stock, 1000, is_rework=True)
