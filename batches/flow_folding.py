"""Fewer nodes in a picture of many: small ones of a kind are shown together.

Pure: no Django. Masses and shares stay what they were: a node that stands for others
carries all that they carried.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Final

from batches.flow import Flow, Kind, Node, Ribbon, mixed

MOST: Final = 60  # nodes that can be looked at together
SMALL: Final = Fraction(1, 20)  # of the root, or of all that was bottled
HOLDERS: Final = "holders"  # the group of those whom bottles were sent to

Group = Callable[[Flow, Node], str | None]


def folded(flow: Flow, most: int = MOST) -> Flow:
    """Return the flow with at most so many nodes, or as few as can be.

    One step after the other and no further than needed: what came in beside the root
    for each batch; lots of one material of which each is less than SMALL of the root;
    the losses of each batch; the filling lots of each batch; who has less than SMALL of
    the bottles; all lots of one material.

    >>> nodes = [Node(key=f"l{n}", kind=Kind.LOT, words="oil", part=Fraction(1, 99),
    ...               group="oil") for n in range(99)]
    >>> nodes.append(Node(key="b", kind=Kind.BATCH, code="B26", words="paste"))
    >>> ribbons = [Ribbon(source=f"l{n}", target="b", mass_mg=2) for n in range(99)]
    >>> many = Flow(root="B26", nodes=tuple(nodes), ribbons=tuple(ribbons))
    >>> few = folded(many)
    >>> [(node.code, node.words, few.mass_mg(node.key)) for node in few.nodes]
    [('99 lots', 'oil', 198), ('B26', 'paste', 198)]
    """
    if len(flow.nodes) <= most:
        return flow
    flow = _beside_each_batch(flow)
    for group in (_small_lots, _losses, _fillings, _small_holders, _lots):
        if len(flow.nodes) <= most:
            return flow
        flow = together(flow, group)
    return flow


def together(flow: Flow, group: Group) -> Flow:
    """Return the flow with each group of two or more nodes as one.

    ``group`` names the group of a node, or None. No group may hold both ends of a way.

    >>> one = Node(key="a", kind=Kind.LOSS, words="spilled")
    >>> two = Node(key="b", kind=Kind.LOSS, words="evaporated")
    >>> flow = Flow(root="", nodes=(one, two), ribbons=())
    >>> [node.name for node in together(flow, lambda _flow, _node: "all").nodes]
    ['2 losses spilled, evaporated']
    """
    members: dict[str, list[Node]] = defaultdict(list)
    for node in flow.nodes:
        name = group(flow, node)
        if name is not None:
            members[name].append(node)
    merged = {
        node.key: _merged(flow, f"together:{name}", nodes)
        for name, nodes in members.items()
        if len(nodes) > 1
        for node in nodes
    }
    if not merged:
        return flow
    nodes = {node.key: node for node in (merged.get(n.key, n) for n in flow.nodes)}
    renamed = (
        dataclasses.replace(
            one,
            source=merged[one.source].key if one.source in merged else one.source,
            target=merged[one.target].key if one.target in merged else one.target,
        )
        for one in flow.ribbons
    )
    return dataclasses.replace(
        flow,
        nodes=tuple(nodes.values()),
        ribbons=_added(renamed),
        hidden=flow.hidden + len(flow.nodes) - len(nodes),
    )


def _added(ribbons: Iterable[Ribbon]) -> tuple[Ribbon, ...]:
    """Return one ribbon for all between the same two."""
    found: dict[tuple[str, str], Ribbon] = {}
    for one in ribbons:
        known = found.get((one.source, one.target))
        found[one.source, one.target] = (
            dataclasses.replace(
                one,
                mass_mg=known.mass_mg + one.mass_mg,
                bottles=known.bottles + one.bottles,
            )
            if known
            else one
        )
    return tuple(found.values())


_PLURAL: Final = {
    Kind.LOT: "lots",
    Kind.BATCH: "lots and batches",
    Kind.BOTTLES: "filling lots",
    Kind.LOSS: "losses",
    Kind.OUT: "holders",
    Kind.STOCK: "places",
    Kind.GAIN: "gains",
}


def _merged(flow: Flow, key: str, nodes: list[Node]) -> Node:
    first, count = nodes[0], sum(node.count for node in nodes)
    words = list(dict.fromkeys(node.words for node in nodes))
    parts = [node.part for node in nodes if node.part is not None]
    shares = [
        (flow.mass_mg(node.key), node.share) for node in nodes if node.share is not None
    ]
    return Node(
        key=key,
        kind=first.kind,
        code=f"{count} {_PLURAL[first.kind]}",
        words=", ".join(words),
        group=first.group,
        share=mixed(shares) if shares else None,
        part=sum(parts, Fraction(0)) if parts else None,
        is_root=any(node.is_root for node in nodes),
        is_beside=first.is_beside,
        count=count,
        bottles=sum(node.bottles for node in nodes),
        volume_ul=sum(node.volume_ul for node in nodes),
    )


def _beside_each_batch(flow: Flow) -> Flow:
    """Return the flow with one node beside each batch for what else went into it."""
    beside = {node.key for node in flow.nodes if node.is_beside}
    others: dict[str, list[Node]] = defaultdict(list)
    for one in flow.ribbons:
        if one.source in beside:
            others[one.target].append(flow.by_key[one.source])
    made = {target: _others(target, nodes) for target, nodes in others.items()}
    nodes = (*made.values(), *(one for one in flow.nodes if one.key not in beside))
    return dataclasses.replace(
        flow,
        nodes=nodes,
        ribbons=_added(
            dataclasses.replace(one, source=made[one.target].key)
            if one.source in beside
            else one
            for one in flow.ribbons
        ),
        hidden=flow.hidden + max(len(flow.nodes) - len(nodes), 0),
    )


def _others(target: str, nodes: list[Node]) -> Node:
    lots = all(node.kind is Kind.LOT for node in nodes)
    what = "lot" if lots else "lot or batch" if len(nodes) == 1 else "lots and batches"
    return Node(
        key=f"beside:{target}",
        kind=Kind.LOT,
        code=f"{len(nodes)} other {what}{'s' if lots and len(nodes) > 1 else ''}",
        words=", ".join(dict.fromkeys(node.words for node in nodes)),
        is_beside=True,
        count=len(nodes),
    )


def _small_lots(flow: Flow, node: Node) -> str | None:
    small = node.part is not None and node.part < SMALL
    return _lots(flow, node) if small else None


def _lots(_flow: Flow, node: Node) -> str | None:
    free = node.kind is Kind.LOT and not node.is_root and not node.is_beside
    return f"lots:{node.group}" if free else None


def _losses(flow: Flow, node: Node) -> str | None:
    return f"losses:{node.group}" if node.kind is Kind.LOSS and node.group else None


def _fillings(_flow: Flow, node: Node) -> str | None:
    free = node.kind is Kind.BOTTLES and not node.is_root
    return f"fillings:{node.group}" if free else None


def _small_holders(flow: Flow, node: Node) -> str | None:
    small = flow.mass_mg(node.key) < SMALL * flow.bottled_mg
    return HOLDERS if node.group == HOLDERS and small else None
