"""Where the boxes and ribbons of a flow lie: in layers from left to right.

Pure: no Django. Lengths are pixels, y downwards. Four steps, as K. Sugiyama, S. Tagawa
and M. Toda, “Methods for visual understanding of hierarchical system structures”, IEEE
Transactions on Systems, Man, and Cybernetics 11 (1981) 109–125, have them (second hand,
from memory): each box a layer by its longest path; a ribbon over several layers gets a
place in each, so that it runs under no box; the order in a layer by barycentres, there
and back, and the order with the fewest crossings is kept; then the heights. Those are a
least-squares fit to the neighbours that keeps order and distance, by pooling adjacent
violators (Ayer and others 1955, from memory).

Ribbons as wide as their mass make it a Sankey diagram (M. H. P. R. Sankey 1898, from
memory), but for the smallest: none is narrower than LEAST, or ten grams beside five
kilograms would not be seen. A box has a bar as high as its ribbons are wide together.

>>> found = lay_out(["oil", "lye", "soap"], [("oil", "soap", 900), ("lye", "soap", 1)])
>>> [(box.key, box.layer) for box in found.boxes]
[('oil', 0), ('lye', 0), ('soap', 1)]
>>> [round(band.width, 1) for band in found.bands]  # a thousandth is still seen
[359.6, 2.0]
"""

from __future__ import annotations

import dataclasses
import itertools
from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter
from typing import Final

BOX: Final = 200.0  # width of a box
CHANNEL: Final = 76.0  # between two layers, where the ribbons turn
ROOM: Final = 44.0  # height of a box with two lines of words
GAP: Final = 14.0  # between two boxes of a layer
THIN_GAP: Final = 5.0  # where a ribbon runs past
LEAST: Final = 2.0  # no ribbon is narrower
TALLEST: Final = 360.0  # all ribbons of the layer with the most mass
SWEEPS: Final = 8

Edge = tuple[str, str, int]


class LayeredError(ValueError):
    """This cannot be laid out; the message says why."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Box:
    """A box: its layer, its left upper corner, its height.

    ``into`` and ``out`` are the widths of all ribbons that enter and that leave it.
    """

    key: str
    layer: int
    x: float
    y: float
    height: float
    into: float
    out: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.x + BOX


@dataclasses.dataclass(frozen=True, kw_only=True)
class Band:
    """A ribbon: its width, and its upper edge at the left and right of each layer.

    ``points`` are (x, y): where it leaves its source, twice for each layer that it
    passes, and where it enters its target.
    """

    source: str
    target: str
    mass: int
    width: float
    points: tuple[tuple[float, float], ...]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Layout:
    """All of it; ``per_unit`` is the width of a ribbon of the mass 1."""

    width: float
    height: float
    per_unit: float
    boxes: tuple[Box, ...]
    bands: tuple[Band, ...]


@dataclasses.dataclass(eq=False)
class _Spot:
    """A place in a layer: of a box, or of a ribbon that runs past."""

    layer: int
    height: float
    gap: float
    key: str = ""
    y: float = 0.0
    left: list[tuple[_Spot, float]] = dataclasses.field(default_factory=list)
    right: list[tuple[_Spot, float]] = dataclasses.field(default_factory=list)

    @property
    def centre(self) -> float:
        return self.y + self.height / 2


def lay_out(
    keys: Sequence[str],
    edges: Sequence[Edge],
    rooms: Mapping[str, float] | None = None,
) -> Layout:
    """Return where each box and each ribbon lies; the same for the same.

    ``edges`` are (source, target, mass), of nought where the mass is not known;
    ``rooms`` the heights that the words of a box need. Raises :class:`LayeredError` for
    a loop, a mass below nought, an unknown end or two edges between the same.

    >>> chain = lay_out("abc", [("a", "b", 5), ("b", "c", 5), ("a", "c", 5)])
    >>> [box.layer for box in chain.boxes], [len(band.points) for band in chain.bands]
    ([0, 1, 2], [2, 2, 4])
    """
    _can_be_drawn(keys, edges)
    layer_of = layers_of(keys, edges)
    per_unit = _scale(layer_of, edges)
    widths = [max(LEAST, mass * per_unit) for _, _, mass in edges]
    into = _sums(keys, [target for _, target, _ in edges], widths)
    out = _sums(keys, [source for source, _, _ in edges], widths)
    spots = {
        key: _Spot(
            layer=layer_of[key],
            height=max((rooms or {}).get(key, ROOM), into[key], out[key]),
            gap=GAP,
            key=key,
        )
        for key in keys
    }
    layers: list[list[_Spot]] = [
        [] for _ in range(max(layer_of.values(), default=0) + 1)
    ]
    for key in keys:
        layers[layer_of[key]].append(spots[key])
    ways = [
        _way(spots[source], spots[target], width, layers)
        for (source, target, _), width in zip(edges, widths, strict=True)
    ]
    _put_in_order(layers)
    _put_at_heights(layers)
    return Layout(
        width=max(len(layers) * (BOX + CHANNEL) - CHANNEL, 0.0) if keys else 0.0,
        height=max(
            (spot.y + spot.height for row in layers for spot in row), default=0.0
        ),
        per_unit=per_unit,
        boxes=tuple(
            Box(
                key=key,
                layer=spots[key].layer,
                x=_x(spots[key].layer),
                y=spots[key].y,
                height=spots[key].height,
                into=into[key],
                out=out[key],
            )
            for key in keys
        ),
        bands=tuple(_bands(edges, widths, ways)),
    )


def layers_of(keys: Sequence[str], edges: Iterable[Edge]) -> dict[str, int]:
    """Return the layer of each node: one more than the last that leads to it.

    What nothing leads to stands just before the first that it leads to.

    >>> layers_of("abcd", [("a", "b", 1), ("b", "c", 1), ("d", "c", 1)])
    {'a': 0, 'b': 1, 'c': 2, 'd': 1}
    """
    before: dict[str, list[str]] = {key: [] for key in keys}
    after: dict[str, list[str]] = {key: [] for key in keys}
    for source, target, _ in edges:
        before[target].append(source)
        after[source].append(target)
    found: dict[str, int] = {}
    try:
        order = list(TopologicalSorter(before).static_order())
    except CycleError as error:
        raise LayeredError("Something leads back to itself.") from error
    for key in order:
        found[key] = max((found[one] + 1 for one in before[key]), default=0)
    for key in keys:
        if after[key] and not before[key]:
            found[key] = min(found[one] for one in after[key]) - 1
    return {key: found[key] for key in keys}


def _can_be_drawn(keys: Sequence[str], edges: Sequence[Edge]) -> None:
    known = set(keys)
    if len(known) < len(keys):
        raise LayeredError("Two boxes have the same key.")
    if len({(source, target) for source, target, _ in edges}) < len(edges):
        raise LayeredError("Two ribbons have the same ends.")
    for source, target, mass in edges:
        if not {source, target} <= known:
            raise LayeredError(f"A ribbon leads from {source} to {target}: unknown.")
        if mass < 0:
            raise LayeredError("A mass is not below nought.")


def _x(layer: int) -> float:
    return layer * (BOX + CHANNEL)


def _scale(layer_of: Mapping[str, int], edges: Iterable[Edge]) -> float:
    """Return pixels for a unit of mass, so that the fullest layer is TALLEST.

    What passes a layer counts there as well.
    """
    change: dict[int, int] = defaultdict(int)
    for source, target, mass in edges:
        change[layer_of[source]] += mass
        change[layer_of[target]] -= mass
    most = total = 0
    for layer in sorted(change):
        total += change[layer]
        most = max(most, total)
    return TALLEST / most if most else 0.0


def _sums(
    keys: Iterable[str], ends: Iterable[str], widths: Iterable[float]
) -> dict[str, float]:
    found = dict.fromkeys(keys, 0.0)
    for end, width in zip(ends, widths, strict=True):
        found[end] += width
    return found


def _way(
    start: _Spot, end: _Spot, width: float, layers: Sequence[list[_Spot]]
) -> list[_Spot]:
    """Return the spots of a ribbon from its source to its target, and join them."""
    way = [start]
    for layer in range(start.layer + 1, end.layer):
        past = _Spot(layer=layer, height=width, gap=THIN_GAP)
        layers[layer].append(past)
        way.append(past)
    way.append(end)
    for one, other in itertools.pairwise(way):
        one.right.append((other, width))
        other.left.append((one, width))
    return way


# ------------------------------------------------------------------ order


def _put_in_order(layers: list[list[_Spot]]) -> None:
    """Order each layer by barycentres of its neighbours, there and back."""
    best, fewest = [list(row) for row in layers], _crossings(layers)
    for sweep in range(SWEEPS):
        if not fewest:
            break
        if sweep % 2:
            _sweep(layers[-2::-1], layers[:0:-1], lambda spot: spot.right)
        else:
            _sweep(layers[1:], layers[:-1], lambda spot: spot.left)
        crossings = _crossings(layers)
        if crossings < fewest:
            best, fewest = [list(row) for row in layers], crossings
    for row, kept in zip(layers, best, strict=True):
        row[:] = kept


def _sweep(
    rows: Sequence[list[_Spot]],
    beside: Sequence[list[_Spot]],
    neighbours: Callable[[_Spot], list[tuple[_Spot, float]]],
) -> None:
    for row, fixed in zip(rows, beside, strict=True):
        place = {id(spot): place for place, spot in enumerate(fixed)}
        wanted = {}
        for here, spot in enumerate(row):
            near = [place[id(one)] for one, _ in neighbours(spot)]
            wanted[id(spot)] = sum(near) / len(near) if near else float(here)
        row.sort(key=lambda spot: wanted[id(spot)])


def _crossings(layers: Sequence[list[_Spot]]) -> int:
    """Count the pairs of ribbons that cross between two layers."""
    count = 0
    for row, after in itertools.pairwise(layers):
        place = {id(spot): place for place, spot in enumerate(after)}
        seen: list[int] = []
        for spot in row:
            ends = sorted(place[id(one)] for one, _ in spot.right)
            count += sum(len(seen) - bisect_right(seen, end) for end in ends)
            for end in ends:
                insort(seen, end)
    return count


# ------------------------------------------------------------------ heights


def _put_at_heights(layers: Sequence[list[_Spot]]) -> None:
    for row in layers:
        _fit(row, [0.0] * len(row))
    for sweep in range(SWEEPS):
        for row in layers if sweep % 2 else reversed(layers):
            _fit(row, [_wanted(spot, from_left=bool(sweep % 2)) for spot in row])
    top = min((spot.y for row in layers for spot in row), default=0.0)
    for row in layers:
        for spot in row:
            spot.y -= top


def _wanted(spot: _Spot, *, from_left: bool) -> float:
    """Return the y that puts a spot level with its neighbours on one side."""
    near = (spot.left if from_left else spot.right) or spot.left or spot.right
    total = sum(width for _, width in near)
    if not total:
        return spot.y
    return sum(one.centre * width for one, width in near) / total - spot.height / 2


def _fit(row: Sequence[_Spot], wanted: Sequence[float]) -> None:
    """Put a layer as near to what is wanted as order and distances allow."""
    offsets, offset, before = [], 0.0, None
    for spot in row:
        offset += 0.0 if before is None else before.height + max(before.gap, spot.gap)
        offsets.append(offset)
        before = spot
    pools: list[tuple[float, int]] = []  # mean and count, rising
    for want, shift in zip(wanted, offsets, strict=True):
        mean, count = want - shift, 1
        while pools and pools[-1][0] > mean:
            other, more = pools.pop()
            mean = (mean * count + other * more) / (count + more)
            count += more
        pools.append((mean, count))
    levels = [mean for mean, count in pools for _ in range(count)]
    for spot, level, shift in zip(row, levels, offsets, strict=True):
        spot.y = level + shift


# ------------------------------------------------------------------ ribbons


def _bands(
    edges: Sequence[Edge],
    widths: Sequence[float],
    ways: Sequence[Sequence[_Spot]],
) -> Iterable[Band]:
    starts = _stacked(ways, widths, end=0, towards=1)
    ends = _stacked(ways, widths, end=-1, towards=-2)
    for place, (edge, way) in enumerate(zip(edges, ways, strict=True)):
        points = [(_x(way[0].layer) + BOX, starts[place])]
        for past in way[1:-1]:
            points += [(_x(past.layer), past.y), (_x(past.layer) + BOX, past.y)]
        points.append((_x(way[-1].layer), ends[place]))
        yield Band(
            source=edge[0],
            target=edge[1],
            mass=edge[2],
            width=widths[place],
            points=tuple(points),
        )


def _stacked(
    ways: Sequence[Sequence[_Spot]],
    widths: Sequence[float],
    *,
    end: int,
    towards: int,
) -> dict[int, float]:
    """Return the upper edge of each ribbon at its box, as their far ends lie.

    They lie on each other without a gap, in the middle of the box.
    """
    at: dict[str, list[int]] = defaultdict(list)
    for place, way in enumerate(ways):
        at[way[end].key].append(place)
    found = {}
    for places in at.values():
        spot = ways[places[0]][end]
        y = spot.centre - sum(widths[place] for place in places) / 2
        for place in sorted(places, key=lambda one: (ways[one][towards].centre, one)):
            found[place] = y
            y += widths[place]
    return found
