"""The flow of mass, by itself: it closes to the milligram, and what is folded stays."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.flow import (
    End,
    Flow,
    FlowError,
    Kind,
    Node,
    Ribbon,
    in_store,
    in_the_pot,
    mixed,
    parts_of,
)
from batches.flow_folding import HOLDERS, folded
from batches.shares import Share, shares_of

pytestmark = pytest.mark.any_engine
MASSES = st.integers(0, 10**9)


def out_less_in(ends: list[End]) -> int:
    return sum(end.mass_mg * (-1 if end.kind is Kind.GAIN else 1) for end in ends)


@given(
    in_mg=MASSES,
    lost=st.dictionaries(st.sampled_from(["evaporated", "spilled"]), MASSES),
    made_mg=st.none() | MASSES,
    is_abandoned=st.booleans(),
)
def test_what_goes_into_a_pot_comes_out_or_is_lost_to_the_milligram(
    in_mg: int, lost: dict[str, int], made_mg: int | None, *, is_abandoned: bool
) -> None:
    ends = in_the_pot(in_mg, lost, made_mg, is_abandoned=is_abandoned)
    assert in_mg == out_less_in(ends) + (made_mg or 0)
    assert all(end.mass_mg > 0 for end in ends)
    assert len({end.words for end in ends}) == len(ends)


@given(MASSES, MASSES, MASSES, MASSES, MASSES, MASSES)
def test_what_was_made_went_or_is_there_to_the_milligram(
    made: int, went: int, found: int, disposed: int, used: int, here: int
) -> None:
    ends = in_store(
        made,
        went_mg=went,
        found_mg=found,
        disposed_mg=disposed,
        used_mg=used,
        on_hand_mg=here,
    )
    assert made == out_less_in(ends) + went
    assert all(end.mass_mg > 0 for end in ends)


def test_a_pot_says_where_the_rest_is_by_how_it_ended() -> None:
    assert [one.words for one in in_the_pot(10, {}, None)] == ["in the pot"]
    left = in_the_pot(10, {}, None, is_abandoned=True)
    assert [one.kind for one in left] == [Kind.LOSS]
    assert in_the_pot(10, {}, 10) == []


@pytest.mark.parametrize("kept", [{"went_mg": -1}, {"on_hand_mg": -1}])
def test_a_mass_below_nought_is_refused(kept: dict[str, int]) -> None:
    with pytest.raises(FlowError, match="below nought"):
        in_store(5, **kept)
    with pytest.raises(FlowError, match="below nought"):
        in_the_pot(5, {"spilled": -1}, None)


@st.composite
def genealogies(draw: st.DrawFn) -> list[tuple[int, int, int]]:
    """Draw batches 10, 11 … made of lots 0 … 3 and of batches before them."""
    edges = []
    for batch in range(10, 10 + draw(st.integers(1, 7))):
        sources = st.sampled_from([*range(4), *range(10, batch)])
        for source in draw(st.lists(sources, min_size=1, max_size=4, unique=True)):
            mass = draw(st.integers(1, 10**6))
            edges.append((source, batch, mass))
    return edges


@given(genealogies())
def test_looking_back_finds_the_share_that_looking_on_finds(
    edges: list[tuple[int, int, int]],
) -> None:
    """Two ways of computing the same: from the batch, and from each of its lots."""
    last = max(batch for _, batch, _ in edges)
    ribbons = [Ribbon(source=str(s), target=str(b), mass_mg=m) for s, b, m in edges]
    parts = parts_of(str(last), ribbons)
    for lot in range(4):
        share = shares_of(lot, edges).get(last)
        assert parts.get(str(lot), 0) == (share.least if share else 0)
    assert sum(parts.get(str(lot), Fraction(0)) for lot in range(4)) == 1


def test_what_the_book_lacks_has_no_part_and_breaks_nothing() -> None:
    drawn = [Ribbon(source="a", target="b", mass_mg=0)]
    assert parts_of("b", drawn) == {"b": 1}


def test_mixed_is_at_least_what_its_parts_are() -> None:
    one = Share(least=Fraction(1, 2), is_least=True)
    assert mixed([(1, one), (1, Share(least=Fraction(0)))]) == Share(
        least=Fraction(1, 4), is_least=True
    )
    assert mixed([(0, one)]).least == 0


# ------------------------------------------------------------------ folding


def busy(lots: int, batches: int, holders: int) -> Flow:
    """Return a flow of many lots of two materials, batches, bottles and shops."""
    nodes = [
        Node(
            key=f"l{n}",
            kind=Kind.LOT,
            code=f"L{n}",
            words=("oil", "lye")[n % 2],
            group=("oil", "lye")[n % 2],
            part=Fraction(1, lots),
        )
        for n in range(lots)
    ]
    ribbons = []
    for b in range(batches):
        share = Share(least=Fraction(1, b + 2))
        nodes += [
            Node(key=f"b{b}", kind=Kind.BATCH, code=f"B{b}", words="soap", share=share),
            Node(key=f"b{b}:spilled", kind=Kind.LOSS, words="spilled", group=f"b{b}"),
            Node(key=f"b{b}:boiled", kind=Kind.LOSS, words="boiled", group=f"b{b}"),
        ]
        ribbons += [
            Ribbon(source=f"l{n}", target=f"b{b}", mass_mg=1000) for n in range(lots)
        ]
        ribbons += [
            Ribbon(source=f"b{b}", target=f"b{b}:{end}", mass_mg=lots * 50)
            for end in ("spilled", "boiled")
        ]
        for f in range(2):
            key = f"f{b}.{f}"
            nodes.append(
                Node(
                    key=key,
                    kind=Kind.BOTTLES,
                    code=key,
                    words="soap",
                    group=f"b{b}",
                    share=share,
                    bottles=holders,
                )
            )
            mass = lots * 450
            ribbons.append(Ribbon(source=f"b{b}", target=key, mass_mg=mass))
            ribbons += [
                Ribbon(source=key, target=f"c{n}", mass_mg=mass // holders, bottles=1)
                for n in range(holders)
            ]
    nodes += [
        Node(
            key=f"c{n}",
            kind=Kind.OUT,
            words=f"shop {n}",
            number=n,
            group=HOLDERS,
            bottles=2 * batches,
        )
        for n in range(holders)
    ]
    return Flow(root="L0", nodes=tuple(nodes), ribbons=tuple(ribbons))


def test_a_flow_that_can_be_looked_at_stays_as_it_is() -> None:
    few = busy(4, 2, 5)
    assert folded(few) is few


@pytest.mark.parametrize(
    ("lots", "batches", "holders"), [(100, 5, 30), (30, 12, 50), (70, 2, 30)]
)
def test_folding_keeps_masses_bottles_and_closure(
    lots: int, batches: int, holders: int
) -> None:
    many = busy(lots, batches, holders)
    assert many.unclosed == []
    few = folded(many)
    assert len(few.nodes) <= 60
    assert few.unclosed == []
    assert few.hidden == len(many.nodes) - len(few.nodes)
    assert len({(one.source, one.target) for one in few.ribbons}) == len(few.ribbons)
    for kind in Kind:
        total = [
            sum(flow.mass_mg(node.key) for node in flow.nodes if node.kind is kind)
            for flow in (many, few)
        ]
        assert total[0] == total[1], kind
    bottles = [
        sum(node.bottles for node in flow.nodes if node.kind is Kind.OUT)
        for flow in (many, few)
    ]
    assert bottles[0] == bottles[1]
    carried = [sum(one.bottles for one in flow.ribbons) for flow in (many, few)]
    assert carried[0] == carried[1] > 0
    parts = [node.part for node in few.nodes if node.part is not None]
    assert sum(parts, Fraction(0)) == 1


def test_folded_lots_say_how_many_of_what_and_which_part() -> None:
    few = folded(busy(100, 1, 1))
    lots = [node for node in few.nodes if node.kind is Kind.LOT]
    assert [(node.code, node.words, node.part) for node in lots] == [
        ("50 lots", "oil", Fraction(1, 2)),
        ("50 lots", "lye", Fraction(1, 2)),
    ]


def test_a_lot_of_a_large_part_and_the_root_stay_by_themselves() -> None:
    nodes = [
        Node(
            key=f"l{n}",
            kind=Kind.LOT,
            code=f"L{n}",
            words="oil",
            group="oil",
            part=Fraction(1, 100),
        )
        for n in range(90)
    ]
    nodes += [
        Node(
            key="big",
            kind=Kind.LOT,
            code="BIG",
            words="oil",
            group="oil",
            part=Fraction(1, 10),
        ),
        Node(
            key="root",
            kind=Kind.LOT,
            code="ROOT",
            words="oil",
            group="oil",
            is_root=True,
            part=Fraction(1, 100),
        ),
        Node(key="b", kind=Kind.BATCH, code="B", words="soap"),
    ]
    ribbons = [Ribbon(source=node.key, target="b", mass_mg=1) for node in nodes[:-1]]
    few = folded(Flow(root="ROOT", nodes=tuple(nodes), ribbons=tuple(ribbons)))
    assert [node.code for node in few.nodes] == ["90 lots", "BIG", "ROOT", "B"]


def test_what_came_in_beside_is_one_box_at_each_batch() -> None:
    nodes = [Node(key="root", kind=Kind.LOT, code="R", words="lye", is_root=True)]
    nodes += [
        Node(key=f"o{n}", kind=Kind.LOT, code=f"O{n}", words="oil", is_beside=True)
        for n in range(70)
    ]
    nodes += [Node(key=b, kind=Kind.BATCH, code=b, words="soap") for b in ("x", "y")]
    ribbons = [
        Ribbon(source=node.key, target=batch, mass_mg=3)
        for node in nodes[:-2]
        for batch in ("x", "y")
    ]
    few = folded(Flow(root="R", nodes=tuple(nodes), ribbons=tuple(ribbons)))
    assert {node.code for node in few.nodes} == {"R", "70 other lots", "x", "y"}
    assert len(few.nodes) == 5
    assert few.went_in == {"x": 213, "y": 213}
    assert few.hidden == 68
