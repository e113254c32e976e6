"""A thousand random genealogies, each walked by hand and by the queries alike."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches import trace
from batches.models import Bottle, Discrepancy, DiscrepancyEnd, FillingLot
from batches.shares import Share, shares_of
from quality.services import recall_affected
from tests import make
from tests.batches.brute_force import Book, Kept
from tests.batches.test_trace import connect, stocks
from tests.database import query, run

GRAPHS = 1000
LOTS, BATCHES, DEEPEST = 4, 10, 6
OUTCOMES = (None, "explained", "entered")


def drawn_at_random(rng: random.Random, lots: list[int], batches: list[int]) -> Book:
    """Draw pastes, then blends and dilutions of them, then rework up to six deep.

    One charge in six was taken back; of one draw in five an entry was kept, which is
    open, explained, entered after all, or two of these.
    """
    drawn: dict[tuple[int, int], int] = {}
    kept: list[Kept] = []
    depth: dict[int, int] = {}
    for place, batch in enumerate(batches):
        made = [one for one in batches[:place] if depth[one] < DEEPEST]
        kind = rng.choice(["paste", "blend", "dilution", "rework", "rework"])
        if kind == "paste" or not made:
            sources = rng.sample(lots, rng.randint(1, len(lots)))
        elif kind == "blend":
            sources = rng.sample(made, min(len(made), rng.randint(2, 3)))
        elif kind == "dilution":
            sources = [rng.choice(made), *rng.sample(lots, rng.randint(1, 2))]
        else:  # what was made last goes into the pot again, with something fresh
            sources = [made[-1], rng.choice(lots)]
        depth[batch] = 1 + max(
            (depth[one] for one in sources if one in depth), default=0
        )
        for source in sources:
            mass = 0 if rng.random() < 1 / 6 else rng.randint(1, 900_000)
            drawn[source, batch] = mass
            if rng.random() < 1 / 5:
                some = rng.sample(OUTCOMES, rng.choice([1, 1, 1, 2]))
                kept += [Kept(source, batch, outcome) for outcome in some]
    filled = rng.sample(batches, 4)
    bottles = [(f"{batch:011}{n}", batch) for batch in filled for n in range(2)]
    edges = [(source, batch, mass) for (source, batch), mass in drawn.items()]
    return Book(edges, kept, bottles)


def write_down(crew: make.Crew, books: list[Book]) -> None:
    """Write the books into the tables, past the services."""
    now = timezone.now()
    connect([draw for book in books for draw in book.drawn])
    kept = [entry for book in books for entry in book.kept]
    hand = {"observed_at": now, "entered_by": crew.maker}
    rows = Discrepancy.objects.bulk_create(
        Discrepancy(
            batch_id=entry.batch,
            stock_id=entry.stock,
            kind="charge",
            sent={},
            refused="late",
            **hand,
        )
        for entry in kept
    )
    DiscrepancyEnd.objects.bulk_create(
        DiscrepancyEnd(discrepancy=row, outcome=entry.outcome, reason="so", **hand)
        for row, entry in zip(rows, kept, strict=True)
        if entry.outcome
    )
    bottles = [bottle for book in books for bottle in book.bottles]
    lots = FillingLot.objects.bulk_create(
        FillingLot(
            batch_id=batch,
            code=f"F{batch}",
            nominal_ul=1,
            density="1.02",
            count=2,
            filled_mg=1,
            use_by=make.TODAY,
            **hand,
        )
        for batch in dict.fromkeys(batch for _, batch in bottles)
    )
    lot_of = {lot.batch_id: lot for lot in lots}
    Bottle.objects.bulk_create(
        Bottle(filling_lot=lot_of[batch], number=int(code[-1]) + 1, code=code)
        for code, batch in bottles
    )


@pytest.fixture
def books(crew: make.Crew) -> list[Book]:
    """Return a thousand books, written down side by side."""
    rng = random.Random(20)  # noqa: S311 - graphs, not secrets
    lots, batches = stocks(crew, lots=GRAPHS * LOTS, batches=GRAPHS * BATCHES)
    books = [
        drawn_at_random(
            rng,
            lots[place * LOTS : (place + 1) * LOTS],
            batches[place * BATCHES : (place + 1) * BATCHES],
        )
        for place in range(GRAPHS)
    ]
    write_down(crew, books)
    if connection.vendor == "postgresql":
        # As it does by itself; else it plans for many more rows than there are.
        run("SET CONSTRAINTS ALL IMMEDIATE")
        run("ANALYZE")
    return books


def stocks_of(book: Book) -> list[int]:
    return sorted({one for draw in book.drawn for one in draw[:2]})


def deepest(book: Book) -> int:
    """Return how many batches of a book are made one from the other."""
    depth: dict[int, int] = {}
    for source, batch, _ in sorted(book.drawn, key=lambda draw: draw[1]):
        depth[batch] = max(depth.get(batch, 0), depth.get(source, 0) + 1)
    return max(depth.values())


def known_shares(book: Book, root: int, found: set[int]) -> dict[int, Share]:
    """Return by hand what part of each stock is of the root."""
    by_hand = {one: book.share(root, one) for one in found}
    return {
        one: Share(least=part, is_least=is_least)
        for one, (part, is_least) in by_hand.items()
    }


@pytest.mark.django_db
def test_a_thousand_random_genealogies_equal_the_walk_by_hand(
    books: list[Book],
) -> None:
    """Every stock both ways by the one question for all; some of each book one by one.

    Bottles, their count and the shares by mass likewise.
    """
    rng = random.Random(21)  # noqa: S311
    everything = [one for book in books for one in stocks_of(book)]
    with CaptureQueriesContext(connection) as asked:
        up = trace.upstream_of_each(everything)
        down = trace.downstream_of_each(everything)
    assert len(asked) == 2
    assert len(up) == len(down) == len(everything)
    for book in books:
        for one in stocks_of(book):
            assert up[one] == book.upstream(one)
            assert down[one] == book.downstream(one)
        assert_one_by_one(book, rng.choice(stocks_of(book)))
    for book in books[::4]:
        two = rng.sample(stocks_of(book), 2)
        assert set(trace.downstream_of(two)) == down[two[0]] | down[two[1]]
        code, batch = rng.choice(book.bottles)
        assert set(trace.upstream_of_bottle(code)) == book.upstream(batch)


def assert_one_by_one(book: Book, root: int) -> None:
    """Ask for one stock by each of the questions that take one."""
    up, down = trace.upstream_ids(root), trace.downstream_ids(root)
    assert (set(up), len(up)) == (book.upstream(root), len(book.upstream(root)))
    assert (set(down), len(down)) == (book.downstream(root), len(book.downstream(root)))
    rows = list(trace.bottles_from(root))
    codes = book.bottles_of(root)
    assert trace.bottle_count(root) == len(rows) == len(codes)
    assert {row.code for row in rows} == codes
    assert {(row.code, row.batch_id) for row in rows} <= set(book.bottles)
    shares = trace.shares_in(root, down)
    assert shares == known_shares(book, root, set(down))


@pytest.mark.django_db
def test_control_the_thousand_hold_all_that_is_hard(books: list[Book]) -> None:
    assert len(books) == GRAPHS
    assert max(map(deepest, books)) == DEEPEST
    outcomes = {entry.outcome for book in books for entry in book.kept}
    assert outcomes == set(OUTCOMES)
    taken_back = [draw for book in books for draw in book.drawn if not draw[2]]
    in_it = [draw for book in books for draw in book.went_in() if not draw[2]]
    assert len(taken_back) > len(in_it) > GRAPHS / 10
    shares = list(all_shares(books[:50]))
    assert any(least for _, least in shares)
    assert len({part for part, _ in shares}) > 100
    # one draw left out, and the walk by hand is another
    book = next(book for book in books if any(mass for _, _, mass in book.drawn))
    source, batch, _ = next(draw for draw in book.drawn if draw[2])
    other = Book([draw for draw in book.drawn if draw[:2] != (source, batch)])
    assert source not in other.upstream(batch)
    assert source in book.upstream(batch)


def all_shares(books: list[Book]) -> Iterator[tuple[object, bool]]:
    for book in books:
        for root in stocks_of(book):
            yield from (book.share(root, one) for one in book.downstream(root))


@pytest.mark.django_db
def test_the_page_of_a_recall_has_the_bottles_and_edges_found_by_hand(
    books: list[Book],
) -> None:
    from producer.models import Stock  # noqa: PLC0415

    for book in books[:20]:
        root = min(stocks_of(book))
        affected = recall_affected.affected_by(Stock.objects.get(pk=root))
        found = book.downstream(root)
        assert set(affected.batch_ids) == found - {root}
        assert affected.bottle_count == len(book.bottles_of(root))
        inside = [draw for draw in book.went_in() if {*draw[:2]} <= found]
        assert sorted(trace.track(Stock.objects.get(pk=root)).edges) == sorted(inside)


def test_by_hand_one_book_worked_with_pencil() -> None:
    """Lots 1 and 2; paste 10 of 100 and 300; blend 20 of 200 of it and 300 of lot 2.

    Paste 11 had lot 1 taken back, and an entry kept says that it went in after all.
    """
    drawn = [(1, 10, 100), (2, 10, 300), (10, 20, 200), (2, 20, 300), (1, 11, 0)]
    book = Book(drawn, [], [("A", 20), ("B", 11)])
    assert book.upstream(20) == {20, 10, 1, 2}
    assert book.downstream(1) == {1, 10, 20}
    assert book.bottles_of(1) == {"A"}
    assert book.share(1, 20) == (shares_of(1, drawn[:4])[20].least, False)
    assert str(book.share(1, 20)[0]) == "1/10"
    for outcome, reached in ((None, True), ("explained", True), ("entered", False)):
        kept = Book(drawn, [Kept(1, 11, outcome)], book.bottles)
        assert (11 in kept.downstream(1)) is reached
        assert ("B" in kept.bottles_of(1)) is reached
        assert kept.share(1, 11)[1] is reached


@pytest.mark.django_db
def test_ids_go_in_as_one_value_however_many_they_are(crew: make.Crew) -> None:
    """SQLite takes 32,766 values in a statement, or as many as it was built for.

    PostgreSQL 65,535.
    """
    most = 300_000 if connection.vendor == "sqlite" else 70_000
    lots, batches = stocks(crew, lots=1, batches=1)
    connect([(lots[0], batches[0], 1)])
    many = [*lots, *range(10**6, 10**6 + most)]
    assert batches[0] in trace.downstream_of(many)
    assert trace.downstream_of_each(many)[lots[0]] == {*lots, *batches}
    assert list(trace.bottles_of(many)) == []
    assert trace.shares_in(lots[0], [*batches, *many])[batches[0]].least == 1
    if connection.vendor == "sqlite":  # control: they do not fit one by one
        marks = ", ".join(["%s"] * len(many))
        with pytest.raises(Exception, match="too many SQL variables"):
            query(f"SELECT 1 WHERE 1 IN ({marks})", *many)
