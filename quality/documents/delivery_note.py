"""The delivery note of a dispatch on paper, and its bottles as open data. No prices."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Sequence

from batches.documents.labels import bottle_address
from batches.lifecycle import BottleStatus
from batches.models import Bottle, Dispatch, FillingLot, Formula
from producer import prints
from producer.codes import grouped
from producer.csv_lines import lines, safe_cell
from producer.models import Consignee
from quality.services.recall_spans import in_words, spans

CSV_HEAD = (
    "dispatch",
    "bottle",
    "address",
    "product",
    "filling lot",
    "number",
    "batch",
    "use by",
    "status now",
    "taken back by",
    "taken back because",
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sent:
    """The bottles of one filling lot in a dispatch, in the order of their numbers."""

    lot: FillingLot
    bottles: Sequence[Bottle]

    @property
    def ranges(self) -> str:
        """The numbers as ranges: “1–12, 15”."""
        return in_words(spans(bottle.number for bottle in self.bottles))


def sent_in(dispatch: Dispatch) -> list[Sent]:
    """Return what left in a dispatch, by filling lot; what came back is in it too."""
    rows = itertools.groupby(_bottles(dispatch), key=lambda row: row.filling_lot_id)
    found = [list(group) for _, group in rows]
    return [Sent(lot=group[0].filling_lot, bottles=group) for group in found]


def note_pdf(dispatch: Dispatch, *, printed_by: str) -> bytes:
    """Return the note that goes with the bottles: what it is, and whom to call.

    The cautions on sprays say that they are no gift: they stand where one went to own
    use. One with an authority's number goes by its own label.
    """
    sent = sent_in(dispatch)
    own_use = dispatch.consignee.kind == Consignee.Kind.OWN_USE
    has_spray = own_use and any(
        one.lot.batch.formula_version.formula.purpose == Formula.Purpose.SPRAY
        for one in sent
    )
    return prints.pdf(
        "quality/delivery_note.html",
        {
            "dispatch": dispatch,
            "sent": sent,
            "count": sum(len(one.bottles) for one in sent),
            "hazards": ["product", *(["spray"] if has_spray else [])],
        },
        printed_by=printed_by,
    )


def list_csv(dispatch: Dispatch) -> Iterator[str]:
    """Return one line a bottle."""
    rows = (_row(dispatch, bottle) for bottle in _bottles(dispatch))
    return lines(CSV_HEAD, ([safe_cell(one) for one in row] for row in rows))


def _bottles(dispatch: Dispatch) -> list[Bottle]:
    sent = dispatch.events.filter(new=BottleStatus.DISPATCHED).values("bottle")
    rows = Bottle.objects.listed().filter(pk__in=sent)
    return list(rows.order_by("filling_lot_id", "number"))


def _row(dispatch: Dispatch, bottle: Bottle) -> tuple[str, ...]:
    lot, row = bottle.filling_lot, getattr(dispatch, "taken_back", None)
    return (
        dispatch.code,
        grouped(bottle.code),
        bottle_address(bottle.code),
        lot.batch.formula_version.product_name,
        lot.code,
        str(bottle.number),
        lot.batch.number,
        lot.use_by.isoformat(),
        bottle.get_status_display(),
        row.entered_by.person.name if row else "",
        row.reason if row else "",
    )
