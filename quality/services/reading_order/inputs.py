"""What went into a batch: lots with their papers, and needed against weighed."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from decimal import Decimal

from batches.models import Batch, Charge
from batches.services.entries import Entries
from batches.services.planning import Plan
from producer.models import Certificate, RawLot, Stock
from producer.quantities import grams
from producer.services.intake import current_certificates


@dataclasses.dataclass(frozen=True, kw_only=True)
class Source:
    """A raw lot or batch in a batch: how much of it, and on which certificate.

    Either ``lot`` or ``batch`` is None. ``certificate`` is the version that was
    computed with, or else the newest on file; ``revised`` a later one. ``origin`` says
    where the figure of the day came from. ``charges`` are its weighings, the oldest
    first.
    """

    lot: RawLot | None
    batch: Batch | None
    net_mg: int
    certificate: Certificate | None
    revised: Certificate | None
    origin: str
    charges: list[Charge]

    @property
    def told(self) -> list[Charge]:
        """The weighings of which more is to be said than their masses."""
        return [
            row
            for row in self.charges
            if row.by_difference
            or row.container
            or row.portion
            or row.vessel
            or row.passed_over
        ]

    @property
    def name(self) -> str:
        """What it is: the material of a lot, the product of a batch."""
        if self.lot is not None:
            return self.lot.material.name
        return self.batch.formula_version.formula.name if self.batch else ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Input:
    """One line of the formula, or something that no line asks for.

    ``needed_mg`` is to a tenth of a gram, as the sheet asked for it, and None where
    nothing says how much it should be; ``is_computed`` says that it follows from what
    was weighed of the rest.
    """

    name: str
    needed_mg: int | None
    weighed_mg: int
    is_computed: bool
    sources: list[Source]

    @property
    def difference_mg(self) -> int | None:
        """Weighed less needed, in milligrams; None where nothing says how much."""
        return None if self.needed_mg is None else self.weighed_mg - self.needed_mg

    @property
    def difference_g(self) -> Decimal | None:
        """The difference in grams."""
        return None if self.difference_mg is None else grams(self.difference_mg)

    @property
    def difference_percent(self) -> Decimal | None:
        """The difference in percent of what was needed; None of nothing."""
        if self.difference_mg is None or not self.needed_mg:
            return None
        return Decimal(self.difference_mg * 100) / self.needed_mg


def inputs_of(entries: Entries, plan: Plan) -> list[Input]:
    """Return the lines of the formula with what they hold, then what was added besides.

    Only charges that count; ``plan`` is that of the batch.
    """
    by_line: dict[int | None, list[Charge]] = defaultdict(list)
    for charge in entries.standing_charges:
        by_line[charge.line_id].append(charge)
    known = _Known(entries.standing_charges)
    lines = [
        Input(
            name=line.name,
            needed_mg=line.to_weigh_mg,
            weighed_mg=line.charged_mg,
            is_computed=line.line.per_kg_mg is None,
            sources=known.sources(by_line[line.line.pk]),
        )
        for line in plan.lines
    ]
    besides = [
        Input(
            name=source.name,
            needed_mg=None,
            weighed_mg=source.net_mg,
            is_computed=False,
            sources=[source],
        )
        for source in known.sources(by_line[None])
    ]
    return [*lines, *besides]


class _Known:
    """What is known of the sources of some charges, each table asked once."""

    def __init__(self, charges: list[Charge]) -> None:
        sources = {row.source_id: row.source for row in charges}
        lots = [one.lot for one in sources.values() if one.kind == Stock.Kind.LOT]
        made = [pk for pk, one in sources.items() if one.kind == Stock.Kind.BATCH]
        self._certificates = current_certificates(lots) if lots else {}
        self._batches = Batch.objects.listed().in_bulk(made) if made else {}

    def sources(self, charges: list[Charge]) -> list[Source]:
        """Return the sources of these charges, one for each certificate of a lot."""
        groups: dict[tuple[int, int | None], list[Charge]] = defaultdict(list)
        for charge in charges:
            groups[charge.source_id, charge.certificate_id].append(charge)
        return [self._source(rows) for rows in groups.values()]

    def _source(self, charges: list[Charge]) -> Source:
        last = charges[-1]
        newest = self._certificates.get(last.source_id)
        used = last.certificate
        is_revised = used is not None and newest is not None and newest.pk != used.pk
        batch = self._batches.get(last.source_id)
        return Source(
            lot=None if batch else last.source.lot,
            batch=batch,
            net_mg=sum(row.net_mg for row in charges),
            certificate=used or newest,
            revised=newest if is_revised else None,
            origin=last.figure_origin,
            charges=charges,
        )
