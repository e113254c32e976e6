"""The picture of the flow with its table: the same on the page and on paper."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, Final

from django.urls import reverse
from django.utils.safestring import SafeString

from batches.flow import Flow, Kind, Node
from batches.flow_folding import MOST, folded
from batches.models import FillingLot
from batches.services.flow_rows import Way
from batches.services.flowing import flow_of
from producer import prints
from producer.middleware import decimal_mark
from producer.models import Stock
from quality.charts.flow import FlowPicture, percent_of, share_of

TEMPLATE: Final = "quality/flow_print.html"
PAGE: Final = (970.0, 515.0)  # pixels of a landscape page, below its heading
SMALLEST: Final = 0.72  # how far a picture is made smaller before it is cut


@dataclasses.dataclass(frozen=True, kw_only=True)
class Row:
    """A way that mass went: from, into, how much, which part of what it goes into.

    ``of_root`` is what part of this mass is of what was asked for.
    """

    source: Node
    target: Node
    source_page: str
    target_page: str
    mass_mg: int
    bottles: int
    share: str
    of_root: str


@dataclasses.dataclass(frozen=True, kw_only=True)
class Drawn:
    """What page and paper show of a flow."""

    flow: Flow
    picture: FlowPicture
    rows: list[Row]
    parts: list[SafeString]

    @property
    def svg(self) -> SafeString:
        """All of it as one picture."""
        return self.picture.svg()

    @property
    def key(self) -> SafeString:
        """How wide a mass is drawn."""
        return self.picture.key()

    @property
    def is_suspect(self) -> bool:
        """Say whether shares of what was asked for are shown."""
        return any(node.is_root and node.share for node in self.flow.nodes)

    @property
    def shared(self) -> list[tuple[Node, str]]:
        """The batches that have a share of the root, each with that share."""
        return [
            (node, share_of(node.share, mark=decimal_mark()))
            for node in self.flow.nodes
            if node.kind is Kind.BATCH and node.share and not node.is_root
        ]


def drawn(
    root: Stock,
    way: Way = Way.BOTH,
    *,
    filling_lot: FillingLot | None = None,
    whole: bool = False,
    on_paper: bool = False,
) -> Drawn:
    """Return the picture of a lot, batch or filling lot, with the rows of its table.

    With more than MOST nodes small ones are shown together, unless ``whole``.
    """
    flow = flow_of(root, way, filling_lot=filling_lot)
    if not whole:
        flow = folded(flow)
    picture = FlowPicture(
        flow, mark=decimal_mark(), address=None if on_paper else page_of
    )
    return Drawn(
        flow=flow,
        picture=picture,
        rows=_rows(flow),
        parts=_parts(picture) if on_paper else [],
    )


def context_of(found: Drawn) -> Mapping[str, Any]:
    """Return what both templates show."""
    return {"drawn": found, "flow": found.flow, "most": MOST}


def flow_pdf(found: Drawn, *, printed_by: str) -> bytes:
    """Return the picture on A4, cut where it is too large, with its table."""
    return prints.pdf(TEMPLATE, context_of(found), printed_by=printed_by)


def page_of(node: Node) -> str:
    """Return the address of the record that a node is, “” for one that is none."""
    if node.count > 1 or not (node.code or node.number):
        return ""
    if node.number is not None:
        return reverse("quality:consignee", args=[node.number])
    name = {
        Kind.LOT: "producer:lot",
        Kind.BATCH: "batches:batch",
        Kind.BOTTLES: "batches:filling_lot",
    }[node.kind]
    return reverse(name, args=[node.code])


def _rows(flow: Flow) -> list[Row]:
    places = {node.key: place for place, node in enumerate(flow.nodes)}
    ribbons = sorted(
        flow.ribbons, key=lambda one: (places[one.target], places[one.source])
    )
    found = []
    for one in ribbons:
        source, target = flow.by_key[one.source], flow.by_key[one.target]
        into = flow.went_in[one.target]
        share = Fraction(one.mass_mg, into) if into else Fraction(0)
        found.append(
            Row(
                source=source,
                target=target,
                source_page=page_of(source),
                target_page=page_of(target),
                mass_mg=one.mass_mg,
                bottles=one.bottles,
                share=percent_of(share, mark=decimal_mark()),
                of_root=share_of(source.share, mark=decimal_mark())
                if source.share
                else "",
            )
        )
    return found


def _parts(picture: FlowPicture) -> list[SafeString]:
    """Return the picture in parts that fit a page, no smaller than can be read."""
    (width, height), whole = PAGE, picture.whole
    fitting = min(1.0, height / max(whole.height, 1.0))
    scale = max(min(fitting, width / max(whole.width, 1.0)), SMALLEST)
    if whole.width * scale > width:  # cut anyhow, and then as large as its height fits
        scale = max(fitting, SMALLEST)
    windows = picture.windows(width / scale, height / scale)
    return [picture.svg(window, scale=scale) for window in windows]
