"""The list to take along when stock is taken."""

from __future__ import annotations

from itertools import groupby

from producer import prints
from producer.services import counting


def counting_list(*, printed_by: str) -> bytes:
    """Return on paper what there is to count, with room to write.

    The book is left out, so that nobody copies it.
    """
    places = counting.to_count()
    return prints.pdf(
        "producer/counting_print.html",
        {
            "materials": [
                (name, list(of_one))
                for name, of_one in groupby(
                    places, key=lambda one: one.lot.material.name
                )
            ],
            "has_potash": any(one.lot.material.kind == "potash" for one in places),
        },
        printed_by=printed_by,
    )
