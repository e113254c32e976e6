"""What ``verify`` says of portions whose masses cannot be."""

from __future__ import annotations

import pytest

from batches.services import portion_books
from producer.models import Stock
from quality.services.verification.portions import faults
from tests import liquids, make
from tests.database import run, without_triggers

pytestmark = pytest.mark.django_db


def test_control_portions_within_their_batch_are_no_fault(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    for _ in range(2):
        liquids.set_aside(crew, paste)
    assert list(faults()) == []


def test_more_set_aside_than_is_on_hand_is_found(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquids.set_aside(crew, paste, 10_000)
    Stock.objects.filter(pk=paste.pk).update(on_hand_mg=9_999)
    (said,) = faults()
    assert said == (
        f"The portions of {paste.number} hold 10 g, but only 9999 mg of it is on hand."
    )


def test_a_portion_that_gave_more_than_it_held_is_found(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    all_of_it = Stock.objects.get(pk=paste.pk).on_hand_mg
    portion = liquids.set_aside(crew, paste, all_of_it)
    make.diluted_batch(crew, paste=paste)
    (book,) = portion_books.portions_of(paste)
    assert book.drawn_mg > 1000
    with without_triggers():
        run("UPDATE batches_portion SET mass_mg = 1000 WHERE id = %s", portion.pk)
    (said,) = faults()
    assert said.startswith(f"Portion {paste.number}/1 held 1 g, but ")
    assert said.endswith(" was taken out of it.")
