"""The flow of mass from and to a lot, a batch or a filling lot, read from the book.

Lots → batches → filling lots → where the bottles are, with losses and what is still in
stock. A fixed number of queries, however many there are.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Iterator
from fractions import Fraction

from batches.costing import shares as split
from batches.flow import (
    End,
    Flow,
    Kind,
    Node,
    Ribbon,
    in_store,
    in_the_pot,
    mixed,
    parts_of,
)
from batches.lifecycle import BatchStatus
from batches.models import Batch, FillingLot
from batches.services.flow_rows import (
    Rows,
    Way,
    sample_mg,
    taken_mg,
    unexplained_mg,
)
from batches.shares import Share
from producer.models import RawLot, Stock, StockMovement


def flow_of(
    root: Stock, way: Way = Way.BOTH, *, filling_lot: FillingLot | None = None
) -> Flow:
    """Return where a lot or batch came from and went; of a filling lot, what is in it.

    Of ``filling_lot`` the ``root`` is its batch; its other filling lots are not drawn
    then. Batches that only lie before the root are drawn with what they gave to it; the
    rest of them is one end.
    """
    rows = Rows(root, Way.BACK if filling_lot else way, filling_lot)
    return _Picture(rows).flow()


def _key(pk: int) -> str:
    return f"s{pk}"


class _Picture:
    """The nodes and ribbons, made from the rows.

    ``share`` is what part of a node is of the root, by key, ``counts`` the bottles and
    microlitres there.
    """

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.nodes: dict[str, Node] = {}
        self.ribbons: list[Ribbon] = []
        self.share = {_key(pk): share for pk, share in rows.shares.items()}
        self.counts: dict[str, list[tuple[int, int]]] = defaultdict(list)

    def flow(self) -> Flow:
        rows = self.rows
        self._stocks()
        for source, into, mass_mg in rows.edges:
            if into in rows.batches:
                self._tie(_key(source), _key(into), mass_mg)
        for batch in rows.batches.values():
            self._batch(batch)
        for filling in rows.drawn:
            self._filling(filling)
        if rows.root.pk in rows.lots:
            self._lot(rows.lots[rows.root.pk])
        self._mix()
        parts = self._parts()
        return Flow(
            root=rows.only.code if rows.only else rows.root.code,
            nodes=tuple(
                dataclasses.replace(
                    node,
                    share=self.share.get(key),
                    part=parts.get(key),
                    bottles=sum(count for count, _ in self.counts[key]),
                    volume_ul=sum(volume for _, volume in self.counts[key]),
                )
                for key, node in self.nodes.items()
            ),
            ribbons=tuple(self.ribbons),
        )

    def _tie(self, source: str, target: str, mass_mg: int, bottles: int = 0) -> None:
        self.ribbons.append(
            Ribbon(source=source, target=target, mass_mg=mass_mg, bottles=bottles)
        )

    def _add(self, node: Node) -> None:
        self.nodes.setdefault(node.key, node)

    def _stocks(self) -> None:
        rows = self.rows
        for lot in (*rows.lots.values(), *rows.beside_lots.values()):
            self._add(
                Node(
                    key=_key(lot.pk),
                    kind=Kind.LOT,
                    code=lot.code,
                    words=lot.material.name,
                    more=lot.get_status_display(),
                    group=lot.material.name,
                    is_root=lot.pk == rows.root.pk,
                    is_beside=lot.pk in rows.beside_lots,
                )
            )
        for batch in (*rows.batches.values(), *rows.beside_batches.values()):
            self._add(
                Node(
                    key=_key(batch.pk),
                    kind=Kind.BATCH,
                    code=batch.number,
                    words=batch.formula_version.formula.name,
                    more=batch.get_status_display(),
                    is_root=batch.pk == rows.root.pk and rows.only is None,
                    is_beside=batch.pk in rows.beside_batches,
                )
            )

    def _batch(self, batch: Batch) -> None:
        rows, key = self.rows, _key(batch.pk)
        draws = rows.draws[batch.pk]
        fillings = rows.fillings[batch.pk]
        made_mg = rows.made.get(batch.pk)
        ends = in_the_pot(
            rows.in_mg[batch.pk],
            rows.lost[batch.pk],
            made_mg,
            is_abandoned=batch.status == BatchStatus.ABANDONED,
        )
        ends += in_store(
            made_mg or 0,
            went_mg=sum(mass_mg for _, mass_mg in draws) + sum(map(taken_mg, fillings)),
            found_mg=sum(max(-unexplained_mg(lot), 0) for lot in fillings),
            disposed_mg=rows.moved.get((batch.pk, StockMovement.Kind.DISPOSAL), 0),
            used_mg=rows.used.get(batch.pk, 0),
            on_hand_mg=batch.stock.on_hand_mg,
        )
        self._ends(key, [*ends, *self._elsewhere(batch)])

    def _elsewhere(self, batch: Batch) -> Iterator[End]:
        """Yield what went to where the picture does not reach."""
        rows = self.rows
        drawn = [mg for to, mg in rows.draws[batch.pk] if to not in rows.batches]
        filled = [
            taken_mg(lot) for lot in rows.fillings[batch.pk] if not rows.is_drawn(lot)
        ]
        if drawn:
            words = f"into {len(drawn)} other {'batches' if drawn[1:] else 'batch'}"
            yield End(Kind.OUT, words, sum(drawn))
        if filled:
            words = f"into {len(filled)} filling lot{'s' if filled[1:] else ''} more"
            yield End(Kind.OUT, words, sum(filled))

    def _lot(self, lot: RawLot) -> None:
        rows = self.rows
        ends = in_store(
            rows.moved.get((lot.pk, StockMovement.Kind.RECEIPT), 0),
            went_mg=sum(mass_mg for _, mass_mg in rows.draws[lot.pk]),
            disposed_mg=rows.moved.get((lot.pk, StockMovement.Kind.DISPOSAL), 0),
            on_hand_mg=lot.stock.on_hand_mg,
        )
        # What a count found more was in the lot when it came.
        self._ends(_key(lot.pk), [end for end in ends if end.kind is not Kind.GAIN])

    def _ends(self, key: str, ends: Iterable[End]) -> None:
        for end in ends:
            name = f"{key}:{end.words}"
            self._add(Node(key=name, kind=end.kind, words=end.words, group=key))
            if end.kind is Kind.GAIN:
                self._tie(name, key, end.mass_mg)
                continue
            self._tie(key, name, end.mass_mg)
            if key in self.share:
                self.share[name] = self.share[key]

    def _filling(self, lot: FillingLot) -> None:
        rows, key, batch = self.rows, f"f{lot.pk}", _key(lot.batch_id)
        self._add(
            Node(
                key=key,
                kind=Kind.BOTTLES,
                code=lot.code,
                words=rows.batches[lot.batch_id].formula_version.product_name,
                group=batch,
                is_root=rows.only is not None,
            )
        )
        if batch in self.share:
            self.share[key] = self.share[batch]
        self.counts[key].append((lot.count, lot.count * lot.nominal_ul))
        self._tie(batch, key, taken_mg(lot), lot.count)
        bottles = rows.bottles[lot.pk]
        ends = (
            End(Kind.LOSS, "lost in filling", lot.loss_mg),
            End(Kind.LOSS, "taken as samples", sample_mg(lot)),
            End(Kind.LOSS, "unexplained at filling", max(unexplained_mg(lot), 0)),
            End(Kind.LOSS, "unexplained: no bottle", 0 if bottles else lot.filled_mg),
        )
        self._ends(key, [end for end in ends if end.mass_mg])
        into: dict[str, tuple[int, int]] = {}
        masses = split(lot.filled_mg, [one.count for one in bottles]) if bottles else []
        for one, mass_mg in zip(bottles, masses, strict=True):
            node = one.where()
            self._add(node)
            self.counts[node.key].append((one.count, one.count * lot.nominal_ul))
            held_mg, held = into.get(node.key, (0, 0))
            into[node.key] = (held_mg + mass_mg, held + one.count)
        for target, (mass_mg, count) in into.items():
            self._tie(key, target, mass_mg, count)

    def _mix(self) -> None:
        """Give what bottles of several filling lots came to the share of them all."""
        held: dict[str, list[tuple[int, Share]]] = defaultdict(list)
        for one in self.ribbons:
            if one.target not in self.share and one.source in self.share:
                held[one.target].append((one.mass_mg, self.share[one.source]))
        self.share |= {key: mixed(rows) for key, rows in held.items()}

    def _parts(self) -> dict[str, Fraction]:
        rows = self.rows
        before = {_key(pk) for pk in rows.before} | {_key(rows.root.pk)}
        drawn = [
            one
            for one in self.ribbons
            if one.target in before and self.nodes[one.source].kind is not Kind.GAIN
        ]
        found = parts_of(_key(rows.root.pk), drawn)
        del found[_key(rows.root.pk)]
        return found
