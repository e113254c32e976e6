"""Portions: none gave more than it held, and together they are within their batch."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from batches.models import Portion
from batches.services import portion_books
from producer.quantities import format_mass

AT_A_TIME = 200  # batches


def faults() -> Iterator[str]:
    """Yield a fault for each portion and batch whose masses cannot be."""
    rows = Portion.objects.order_by("batch_id").values_list("batch_id", flat=True)
    ids = list(rows.distinct())
    for start in range(0, len(ids), AT_A_TIME):
        books = portion_books.of_batches(ids[start : start + AT_A_TIME])
        for _, portions in itertools.groupby(books, lambda one: one.portion.batch_id):
            yield from _faults_of(list(portions))


def _faults_of(portions: list[portion_books.PortionNow]) -> Iterator[str]:
    for one in portions:
        if one.left_mg < 0:
            yield (
                f"Portion {one.code} held {format_mass(one.portion.mass_mg)}, but"
                f" {format_mass(one.drawn_mg)} was taken out of it."
            )
    batch = portions[0].portion.batch
    left = sum(one.left_mg for one in portions)
    if left > batch.stock.on_hand_mg:
        yield (
            f"The portions of {batch.number} hold {format_mass(left)}, but only"
            f" {format_mass(batch.stock.on_hand_mg)} of it is on hand."
        )
