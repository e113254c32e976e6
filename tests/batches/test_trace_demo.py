"""A recall over the demo's whole history finds what a walk by hand finds.

By hand from the charges themselves, not from the edges that are kept beside them.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from pytest_django import DjangoDbBlocker, Settings

from batches import trace
from batches.models import Batch, Bottle, Charge, Discrepancy, Input
from producer.codes import grouped
from producer.models import RawLot, Stock, User
from quality.documents import recalls as documents
from quality.models import RecallItem
from quality.services import recall_affected, recalling
from tests.batches.brute_force import Book, Kept
from tests.database import rolled_back
from tests.quality.told import told


@pytest.fixture(scope="module")
def directory(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    directory = tmp_path_factory.mktemp("story")
    with told(django_db_blocker, directory):
        yield directory


@pytest.fixture(autouse=True)
def _its_files(directory: Path, settings: Settings) -> None:
    settings.MEDIA_ROOT = directory / "uploads"


def the_book() -> Book:
    """Return the whole history: charges that stand, entries kept, bottles."""
    masses: dict[tuple[int, int], int] = defaultdict(int)
    for charge in Charge.objects.all():
        masses[charge.source_id, charge.batch_id] += 0
    for charge in Charge.objects.current():
        masses[charge.source_id, charge.batch_id] += charge.net_mg
    entries = Discrepancy.objects.exclude(stock=None).select_related("end")
    kept = [
        Kept(
            row.stock_id, row.batch_id, row.end.outcome if hasattr(row, "end") else None
        )
        for row in entries
        if row.stock_id is not None
    ]
    # Of which a reviewer said that nothing went in has no edge.
    edges = set(Input.objects.values_list("source_id", "batch_id"))
    kept = [entry for entry in kept if (entry.stock, entry.batch) in edges]
    for entry in kept:
        masses[entry.stock, entry.batch] += 0
    return Book(
        drawn=[(source, batch, mass) for (source, batch), mass in masses.items()],
        kept=kept,
        bottles=list(Bottle.objects.values_list("code", "filling_lot__batch_id")),
    )


def test_every_lot_forwards_and_every_bottle_backwards_as_by_hand() -> None:
    book = the_book()
    assert len(book.drawn) > 20
    for stock in Stock.objects.all():
        assert set(trace.upstream_ids(stock.pk)) == book.upstream(stock.pk)
        assert set(trace.downstream_ids(stock.pk)) == book.downstream(stock.pk)
        found = {row.code for row in trace.bottles_from(stock.pk)}
        assert found == book.bottles_of(stock.pk)
        assert trace.bottle_count(stock.pk) == len(found)
    for code, batch in book.bottles:
        assert set(trace.upstream_of_bottle(code)) == book.upstream(batch)


def test_control_the_history_is_deep_and_no_lot_is_in_everything() -> None:
    book = the_book()
    bottled = {batch for _, batch in book.bottles}
    assert max(len(book.upstream(batch)) for batch in bottled) > 5
    counts = {len(book.bottles_of(lot.pk)) for lot in RawLot.objects.all()}
    assert 0 in counts
    assert len(counts) > 2
    reworked = Batch.objects.get(is_rework=True)
    assert any(batch in book.upstream(reworked.pk) for batch in others(reworked))


def others(batch: Batch) -> list[int]:
    return list(Batch.objects.exclude(pk=batch.pk).values_list("pk", flat=True))


def test_a_recall_of_each_lot_names_the_bottles_and_shares_found_by_hand() -> None:
    """Practised for every raw lot of the history; the list, the page and the file."""
    book = the_book()
    reviewer = User.objects.filter(is_reviewer=True, is_active=True)[0]
    with rolled_back():
        for lot in RawLot.objects.select_related("stock"):
            root = lot.stock
            recall = recalling.open_recall(
                by=reviewer,
                root=root,
                hazard_class="2",
                reason="practice",
                public_notice="",
                is_mock=True,
            )
            items = RecallItem.objects.filter(recall=recall)
            found = book.downstream(root.pk)
            assert set(items.values_list("stock_id", flat=True)) == found
            affected = recall_affected.affected_by(root)
            assert set(affected.batch_ids) == found - {root.pk}
            lines = {row["bottle"]: row for row in csv.DictReader(as_file(root))}
            codes = book.bottles_of(root.pk)
            assert affected.bottle_count == len(codes) == len(lines)
            assert set(lines) == {grouped(code) for code in codes}
            for one in affected.batch_ids:
                share = affected.shares[one]
                assert (share.least, share.is_least) == book.share(root.pk, one)
            for code, batch in book.bottles:
                if code in codes:
                    part = book.share(root.pk, batch)[0]
                    shown = lines[grouped(code)]["share of what went in (%)"]
                    assert abs(Fraction(shown) - part * 100) <= Fraction(1, 20_000)


def as_file(root: Stock) -> list[str]:
    """Return the lines of the file but the last, which says that it is the end."""
    *lines, end = (
        b"".join(documents.list_of(documents.of(root), "csv")).decode().splitlines()
    )
    assert end.startswith("end,")
    return lines
