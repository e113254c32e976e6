"""The flow of mass out of the book: both ways, to the milligram, in a few questions."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches import trace
from batches.flow import Flow, Kind, Node
from batches.models import Batch, Bottle, BulkWeighing, FillingLot, Input, Loss
from batches.services import bottle_moves, cooking, losses
from batches.services.flow_rows import Way
from batches.services.flowing import flow_of
from producer.models import RawLot, Stock
from producer.services import stock
from tests import bottling, leaving, make, sprays
from tests.batches.test_settling import taken
from tests.batches.test_trace import connect, random_edges, stocks
from tests.once import once

pytestmark = pytest.mark.django_db


@once
def story(crew: make.Crew) -> FillingLot:
    """Return eight bottles, of which three are away, one broken and one kept.

    Of their paste some was spilled and some boiled off, some was sprayed.
    """
    paste = make.open_batch(crew)
    make.charge_all(crew, paste)
    for kind, mass_mg in (("evaporation", 30_000), ("spill", 4_321)):
        losses.record_loss(by=crew.maker, batch=paste, kind=kind, mass_mg=mass_mg)
    make.complete(crew, paste)
    paste = make.signed(crew.reviewer, paste, "release")
    liquid = make.released_liquid(crew, paste=paste, basis_mg=900_000)
    sprays.mixed(crew, paste, mass_mg=7_000, tank_ul=1_000_000)
    lot = make.filled(
        crew,
        liquid,
        count=8,
        nominal_ul=100_000,
        loss_mg=1_234,
        sample_mg=5_001,
        rest_mg=make.fresh(liquid).stock.on_hand_mg - 8 * 102_000 - 6_235 - 777,
        place=bottling.shelf(crew),
    )
    bottles = make.bottles_of(lot)
    leaving.sent(crew, bottles[:2])
    leaving.sent(crew, bottles[2:3], make.consignee(crew.maker, name="Alder Row"))
    bottle_moves.move_bottles(
        by=crew.maker, bottles=bottles[3:4], new="destroyed", reason="it broke"
    )
    return lot


def of(flow: Flow, **facts: object) -> list[Node]:
    """Return the nodes of which all of these facts are true."""
    return [
        node
        for node in flow.nodes
        if all(getattr(node, name) == value for name, value in facts.items())
    ]


def masses(flow: Flow, kind: Kind) -> dict[str, int]:
    return {node.words: flow.mass_mg(node.key) for node in of(flow, kind=kind)}


def into(flow: Flow, code: str) -> dict[str, int]:
    """Return what went into a node, by the code or words of where it came from."""
    (node,) = of(flow, code=code)
    return {
        flow.by_key[one.source].code or flow.by_key[one.source].words: one.mass_mg
        for one in flow.ribbons
        if one.target == node.key
    }


def test_a_batch_is_drawn_from_its_lots_to_where_its_bottles_are(
    crew: make.Crew,
) -> None:
    lot = story(crew)
    flow = flow_of(lot.batch.stock)
    edges = Input.objects.select_related("source", "batch__stock")
    for code in (
        lot.batch.number,
        edges.get(batch=lot.batch, source__kind="batch").source.code,
    ):
        drawn = edges.filter(batch__stock__code=code)
        assert into(flow, code) == {one.source.code: one.mass_mg for one in drawn}
    ends = {
        (flow.by_key[one.target].words, one.mass_mg, one.bottles)
        for one in flow.ribbons
        if one.source == f"f{lot.pk}"
    }
    assert ends == {
        ("lost in filling", 1_234, 0),
        ("taken as samples", 5_001, 0),
        ("unexplained at filling", 777, 0),
        (make.consignee(crew.maker).name, 204_000, 2),
        ("Alder Row", 102_000, 1),
        ("cellar shelf", 408_000, 4),
        ("destroyed", 102_000, 1),
    }
    assert masses(flow, Kind.LOSS)["evaporated"] == 30_000
    assert masses(flow, Kind.LOSS)["spilled"] == 4_321
    assert flow.unclosed == []


@pytest.mark.parametrize("way", Way)
def test_every_batch_closes_to_the_milligram_whichever_way_it_is_looked_at(
    crew: make.Crew, way: Way
) -> None:
    lot = story(crew)
    for root in Stock.objects.all():
        flow = flow_of(root, way)
        assert flow.unclosed == []
        ids = {node.key for node in of(flow, kind=Kind.BATCH, is_beside=False)}
        # Nothing is left out that would make it close: all that went in is drawn.
        for batch in Batch.objects.all():
            if f"s{batch.pk}" in ids:
                drawn = Input.objects.filter(batch=batch).values_list("mass_mg")
                assert flow.went_in[f"s{batch.pk}"] == sum(mg for (mg,) in drawn)
                assert flow.came_out[f"s{batch.pk}"] == flow.went_in[f"s{batch.pk}"]
    assert flow_of(lot.batch.stock, filling_lot=lot).unclosed == []


def test_what_stays_and_what_was_used_is_told_by_the_book(crew: make.Crew) -> None:
    lot = story(crew)
    paste = Batch.objects.get(
        pk=Input.objects.get(batch=lot.batch, source__kind="batch").source_id
    )
    flow = flow_of(paste.stock)
    assert masses(flow, Kind.OUT)["used on the premises"] == 7_000
    made = BulkWeighing.objects.current().get(batch=paste).net_mg
    (still,) = of(flow, words="still in stock", group=f"s{paste.pk}")
    assert flow.mass_mg(still.key) == paste.stock.on_hand_mg
    lost = sum(row.mass_mg for row in Loss.objects.current())
    (rest,) = of(flow, words="unexplained: not in the yield", group=f"s{paste.pk}")
    went_in = flow.went_in[f"s{paste.pk}"]
    assert flow.mass_mg(rest.key) == went_in - lost - made


def test_shares_are_those_of_the_list_and_bottles_have_those_of_their_batch(
    crew: make.Crew,
) -> None:
    lot = story(crew)
    potash = RawLot.objects.get(material=make.potash(crew.maker)).stock
    shares = trace.shares(trace.track(potash))
    flow = flow_of(potash)
    for batch_id, share in shares.items():
        assert flow.by_key[f"s{batch_id}"].share == share
    expected = shares[lot.batch_id]
    assert 0 < expected.least < 1
    assert flow.by_key[f"f{lot.pk}"].share == expected
    (shelf,) = of(flow, words="cellar shelf")
    assert shelf.share == expected
    assert of(flow, kind=Kind.LOT, is_beside=True)[0].share is None


def test_a_shelf_with_bottles_of_two_lots_has_the_share_of_both_together(
    crew: make.Crew,
) -> None:
    one = story(crew)
    other = make.filled(
        crew,
        make.released_liquid(crew, basis_mg=300_000),
        count=1,
        nominal_ul=100_000,
        place=bottling.shelf(crew),
    )
    potash = RawLot.objects.filter(material=make.potash(crew.maker)).first()
    assert potash is not None
    flow = flow_of(potash.stock)
    shares = trace.shares(trace.track(potash.stock))
    held = {one: 408_000, other: 102_000}
    mixed = sum(
        (mass * shares[lot.batch_id].least for lot, mass in held.items()),
        Fraction(0),
    )
    (shelf,) = of(flow, words="cellar shelf")
    assert shelf.share is not None
    assert shelf.share.least == mixed / sum(held.values())
    assert shelf.bottles == 5
    assert shelf.volume_ul == 500_000


def test_looking_back_the_parts_of_all_lots_make_the_whole(crew: make.Crew) -> None:
    lot = story(crew)
    flow = flow_of(lot.batch.stock, Way.BACK)
    parts = [node.part for node in of(flow, kind=Kind.LOT)]
    assert len(parts) > 3
    assert sum((part or 0 for part in parts), Fraction(0)) == 1


def test_of_a_batch_that_only_lies_before_the_rest_is_one_end(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    first = make.released_liquid(crew, paste=paste, basis_mg=200_000)
    for _ in range(2):
        make.diluted_batch(crew, paste=paste, basis_mg=100_000)
    flow = flow_of(first.stock)
    assert masses(flow, Kind.OUT) == {"into 2 other batches": 200_000}
    assert of(flow, kind=Kind.BATCH, is_beside=True) == []
    assert flow.unclosed == []


def test_of_a_filling_lot_the_others_of_its_batch_are_one_end(
    crew: make.Crew,
) -> None:
    liquid = make.released_liquid(crew)
    one, other = (
        make.filled(crew, liquid, count=2, nominal_ul=50_000) for _ in range(2)
    )
    flow = flow_of(liquid.stock, filling_lot=one)
    assert flow.root == one.code
    assert [node.code for node in of(flow, is_root=True)] == [one.code]
    assert of(flow, code=other.code) == []
    assert masses(flow, Kind.OUT) == {"into 1 filling lot more": 102_000}
    assert flow.unclosed == []
    assert sum((node.part or 0 for node in of(flow, kind=Kind.LOT)), Fraction(0)) == 1


def test_more_left_over_than_the_book_knew_comes_in_as_a_gain(
    crew: make.Crew,
) -> None:
    liquid = make.released_liquid(crew)
    make.filled(
        crew,
        liquid,
        nominal_ul=100_000,
        rest_mg=liquid.stock.on_hand_mg - 204_000 + 3_000,
        unexplained_reason="a heavy tare at the yield",
    )
    flow = flow_of(liquid.stock)
    assert masses(flow, Kind.GAIN) == {"more than the book, at a filling": 3_000}
    assert flow.unclosed == []


def test_what_is_in_the_pot_is_there_and_of_an_abandoned_one_is_lost(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    in_mg = sum(row.mass_mg for row in batch.inputs.all())
    assert masses(flow_of(batch.stock), Kind.STOCK) == {"in the pot": in_mg}
    cooking.abandon(by=crew.maker, batch=batch, reason="the power is out")
    flow = flow_of(batch.stock)
    assert masses(flow, Kind.LOSS) == {"abandoned, not weighed": in_mg}
    assert masses(flow, Kind.STOCK) == {}


def test_a_batch_disposed_of_says_so(crew: make.Crew) -> None:
    bad = make.failed_paste(crew, "dispose")
    made = BulkWeighing.objects.get(batch=bad).net_mg
    assert masses(flow_of(bad.stock), Kind.LOSS)["disposed of"] == made


def test_of_a_lot_what_is_left_disposed_of_and_not_found_again_is_shown(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    oil = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=2 * make.KG)
    make.charge(crew, batch, oil.stock, 500_000)
    stock.dispose(by=crew.maker, lot=oil, amount_mg=100_000, reason="rancid")
    stock.adjust(by=crew.maker, lot=oil, counted_mg=1_390_000, reason="weighed")
    flow = flow_of(oil.stock)
    assert masses(flow, Kind.LOSS) == {
        "disposed of": 100_000,
        "unexplained: not in the book": 10_000,
    }
    assert masses(flow, Kind.STOCK) == {
        "still in stock": 1_390_000,
        "in the pot": 500_000,
    }
    assert flow.mass_mg(f"s{oil.pk}") == 2 * make.KG


def test_of_a_lot_that_a_count_found_more_of_it_all_came_with_it(
    crew: make.Crew,
) -> None:
    water = make.released_lot(crew, make.water(crew.maker), quantity_mg=make.KG)
    stock.adjust(by=crew.maker, lot=water, counted_mg=1_020_000, reason="weighed")
    flow = flow_of(water.stock)
    assert masses(flow, Kind.STOCK) == {"still in stock": 1_020_000}
    assert masses(flow, Kind.GAIN) == {}


def test_what_was_corrected_counts_once_and_as_it_was_corrected(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    loss = losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=9_000)
    losses.amend_loss(by=crew.maker, loss=loss, mass_mg=4_000, reason="misread")
    make.weigh_bulk(crew, batch)
    wrong = BulkWeighing.objects.get(batch=batch)
    right = cooking.amend_bulk(
        by=crew.maker,
        weighing=wrong,
        gross_mg=wrong.gross_mg - 2_000,
        tare_mg=wrong.tare_mg,
        reason="misread",
    )
    flow = flow_of(batch.stock)
    in_mg = sum(row.mass_mg for row in batch.inputs.all())
    assert masses(flow, Kind.LOSS) == {
        "spilled": 4_000,
        "unexplained: not in the yield": in_mg - 4_000 - right.net_mg,
    }
    assert masses(flow, Kind.STOCK) == {"still in stock": right.net_mg}


def test_an_entry_that_the_book_could_not_take_is_drawn_without_a_mass(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    oil = make.released_lot(crew, make.sunflower(crew.maker)).stock
    taken(crew, batch, oil, 500_000)
    flow = flow_of(oil)
    (way,) = [one for one in flow.ribbons if one.target == f"s{batch.pk}"]
    assert (way.source, way.mass_mg) == (f"s{oil.pk}", 0)
    share = flow.by_key[f"s{batch.pk}"].share
    assert share is not None
    assert share.is_least


@pytest.mark.parametrize("seed", range(4))
def test_any_genealogy_closes_from_any_root(crew: make.Crew, seed: int) -> None:
    rng = random.Random(seed)  # noqa: S311 - a graph, not a secret
    lots, batches = stocks(crew, lots=5, batches=15)
    connect([edge for edge in random_edges(rng, lots, batches) if edge[2]])
    for pk in batches:
        made = rng.choice([0, 30_000, 90_000])
        Stock.objects.filter(pk=pk).update(on_hand_mg=made // 3)
    for root in Stock.objects.all():
        for way in Way:
            assert flow_of(root, way).unclosed == []


def grown(crew: make.Crew, count: int) -> Stock:
    """Return a lot that went into so many pastes, each in bottles in two places."""
    potash = make.released_lot(crew, make.potash(crew.maker))
    for _ in range(count):
        paste = make.cooked_batch(crew, sources={"potash": potash.stock})
        paste = make.signed(crew.reviewer, paste, "release")
        liquid = make.released_liquid(crew, paste=paste, basis_mg=100_000)
        lot = make.filled(crew, liquid, count=2, nominal_ul=20_000)
        Bottle.objects.filter(filling_lot=lot, number=1).update(
            place=bottling.shelf(crew)
        )
    return potash.stock


def test_the_questions_stay_as_many_however_many_nodes_there_are(
    crew: make.Crew,
) -> None:
    asked = []
    for count in (1, 3):
        root = grown(crew, count)
        with CaptureQueriesContext(connection) as queries:
            flow = flow_of(root)
        asked.append((len(queries), len(flow.nodes)))
    (few, small), (many, large) = asked
    assert large >= 2 * small
    assert many == few <= 20
