"""Labels in the export: texts, issues, every copy, and what was counted."""

from __future__ import annotations

import pytest

from batches.services import labelling
from quality.services.export_tables import TABLES
from quality.services.export_tables.cells import Cell
from tests import labelled, make

pytestmark = pytest.mark.django_db


def test_labels_leave_with_the_batch_superseded_counts_too(crew: make.Crew) -> None:
    lot = make.filled(crew, count=3, nominal_ul=100_000)
    labelled.issued(crew, lot, specimens=1, doses=labelled.DOSES)
    labelled.issued(crew, lot, [2], reason="smeared")
    row = labelled.counted(crew, lot, "applied", 2)
    labelling.amend_count(by=crew.maker, row=row, reason="one more", count=3)

    def rows(name: str) -> list[dict[str, Cell]]:
        (table,) = (one for one in TABLES if one.name == name)
        return [
            dict(zip(table.head, row, strict=True)) for row in table.rows(lot.batch)
        ]

    (text,) = rows("label_texts")
    first, again = rows("label_issues")
    copies, counts = rows("label_copies"), rows("label_counts")
    assert first["label_text"] == again["label_text"] == text["label_text"]
    assert (first["specimens"], again["reason"]) == (1, "smeared")
    assert [(one["number"], one["copy"]) for one in copies] == [
        *((1, 1), (2, 1), (3, 1)),
        (2, 2),
    ]
    assert [(one["count"], one["supersedes"]) for one in counts] == [
        (2, None),
        (3, row.pk),
    ]
