"""Boxes and ribbons of a flow: in layers, apart, as wide as their mass, soon laid out.

Outside check: what must hold of a layered drawing is as in K. Sugiyama, S. Tagawa and
M. Toda (1981); that all widths at a node add up is what makes a Sankey diagram. From
memory.
"""

from __future__ import annotations

import itertools
import random
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quality.charts import layered
from quality.charts.layered import (
    BOX,
    GAP,
    LEAST,
    TALLEST,
    Edge,
    LayeredError,
    Layout,
    lay_out,
)

pytestmark = pytest.mark.any_engine
NEAR = 1e-6


@st.composite
def graphs(draw: st.DrawFn) -> tuple[list[str], list[Edge]]:
    """Draw nodes and edges that only lead onwards."""
    count = draw(st.integers(1, 14))
    keys = [f"n{place}" for place in range(count)]
    pairs = list(itertools.combinations(keys, 2))
    chosen = (
        draw(st.lists(st.sampled_from(pairs), unique=True, max_size=30))
        if (pairs)
        else []
    )
    masses = st.one_of(st.integers(0, 20), st.integers(0, 10**8))
    return keys, [(source, target, draw(masses)) for source, target in chosen]


def closing(rng: random.Random, nodes: int) -> tuple[list[str], list[Edge]]:
    """Return a flow in which as much leaves each inner node as came in."""
    keys = [f"n{place}" for place in range(nodes)]
    edges: list[Edge] = []
    held = dict.fromkeys(keys[: nodes // 3], 10**9)
    for place in range(nodes // 3, nodes):
        sources = rng.sample(sorted(held), min(3, len(held)))
        taken = {source: held[source] // 2 for source in sources}
        for source, mass in taken.items():
            held[source] -= mass
            edges.append((source, keys[place], mass))
        held[keys[place]] = sum(taken.values())
    for key, mass in held.items():
        edges.append((key, f"rest of {key}", mass))
    return [*keys, *(f"rest of {key}" for key in held)], edges


def spans(found: Layout) -> dict[float, list[tuple[float, float]]]:
    """Return by column what takes up room there, from top to bottom."""
    columns: dict[float, list[tuple[float, float]]] = {}
    for box in found.boxes:
        columns.setdefault(box.x, []).append((box.y, box.y + box.height))
    for band in found.bands:
        for x, y in band.points[1:-1:2]:
            columns.setdefault(x, []).append((y, y + band.width))
    return {x: sorted(rows) for x, rows in columns.items()}


@given(graphs())
def test_nothing_in_a_layer_lies_over_anything_else(
    graph: tuple[list[str], list[Edge]],
) -> None:
    found = lay_out(*graph)
    for rows in spans(found).values():
        for (_, bottom), (top, _) in itertools.pairwise(rows):
            assert top >= bottom + min(GAP, layered.THIN_GAP) - NEAR
        assert rows[0][0] >= -NEAR
        assert rows[-1][1] <= found.height + NEAR


@given(graphs())
def test_every_ribbon_leads_from_inside_its_source_into_its_target(
    graph: tuple[list[str], list[Edge]],
) -> None:
    found = lay_out(*graph)
    boxes = {box.key: box for box in found.boxes}
    for band in found.bands:
        (x, y), (to_x, to_y) = band.points[0], band.points[-1]
        source, target = boxes[band.source], boxes[band.target]
        assert (x, to_x) == (source.right, target.x)
        assert source.y - NEAR <= y
        assert y + band.width <= source.y + source.height + NEAR
        assert target.y - NEAR <= to_y
        assert to_y + band.width <= target.y + target.height + NEAR
        # From layer to layer, at both edges of each that it passes.
        xs = [x for x, _ in band.points]
        assert xs == sorted(xs)
        assert all(
            right == left + BOX for left, right in zip(xs[1::2], xs[2::2], strict=False)
        )
        assert len(xs) == 2 * (target.layer - source.layer)


@given(graphs())
def test_ribbons_at_a_box_touch_and_their_widths_add_up_to_its_bars(
    graph: tuple[list[str], list[Edge]],
) -> None:
    found = lay_out(*graph)
    for box in found.boxes:
        for total, ends in (
            (
                box.out,
                [(b.points[0][1], b.width) for b in found.bands if b.source == box.key],
            ),
            (
                box.into,
                [
                    (b.points[-1][1], b.width)
                    for b in found.bands
                    if b.target == box.key
                ],
            ),
        ):
            assert sum(width for _, width in ends) == pytest.approx(total)
            ends.sort()
            for (y, width), (below, _) in itertools.pairwise(ends):
                assert below == pytest.approx(y + width, abs=NEAR)


@given(graphs())
def test_a_ribbon_is_as_wide_as_its_mass_and_none_is_too_thin_to_see(
    graph: tuple[list[str], list[Edge]],
) -> None:
    found = lay_out(*graph)
    for band in found.bands:
        assert band.width == pytest.approx(max(LEAST, band.mass * found.per_unit))


@pytest.mark.parametrize("seed", range(5))
def test_where_no_ribbon_was_widened_a_bar_is_as_high_going_in_as_going_out(
    seed: int,
) -> None:
    keys, edges = closing(random.Random(seed), 12)  # noqa: S311 - a graph, no secret
    found = lay_out(keys, edges)
    thin = {
        end for s, t, mass in edges if mass * found.per_unit < LEAST for end in (s, t)
    }
    inner = {s for s, _, _ in edges} & {t for _, t, _ in edges}
    judged = [box for box in found.boxes if box.key in inner - thin]
    assert judged
    for box in judged:
        assert box.into == pytest.approx(box.out, rel=1e-6)
    # The fullest place between two layers is as high as all of it may be.
    layer = {box.key: box.layer for box in found.boxes}
    full = max(
        sum(mass for s, t, mass in edges if layer[s] <= gap < layer[t])
        for gap in range(max(layer.values()))
    )
    assert full * found.per_unit == pytest.approx(TALLEST)


@given(graphs())
def test_each_node_stands_right_of_all_that_leads_to_it(
    graph: tuple[list[str], list[Edge]],
) -> None:
    keys, edges = graph
    layer = layered.layers_of(keys, edges)
    assert set(layer) == set(keys)
    assert set(range(max(layer.values()) + 1)) == set(layer.values()) or not edges
    for source, target, _ in edges:
        assert layer[source] < layer[target]
    for key in keys:
        into = [layer[s] for s, t, _ in edges if t == key]
        out = [layer[t] for s, t, _ in edges if s == key]
        expected = max(into) + 1 if into else min(out) - 1 if out else 0
        assert layer[key] == expected


@given(graphs())
@settings(max_examples=30)
def test_the_same_is_laid_out_the_same(graph: tuple[list[str], list[Edge]]) -> None:
    assert lay_out(*graph) == lay_out(*graph)


def test_two_ribbons_that_need_not_cross_do_not() -> None:
    found = lay_out(["a", "b", "x", "y"], [("a", "y", 5), ("b", "x", 5)])
    y = {box.key: box.y for box in found.boxes}
    assert (y["a"] < y["b"]) == (y["y"] < y["x"])


def test_ribbons_of_one_box_leave_and_enter_in_the_order_of_their_far_ends() -> None:
    keys = ["a", *(f"m{n}" for n in range(6)), "z"]
    middle = keys[1:-1]
    mixed = [middle[n] for n in (3, 0, 5, 1, 4, 2)]  # the order of the list crosses
    edges = [("a", key, 100 + n) for n, key in enumerate(mixed)]
    edges += [(key, "z", 100) for key in mixed]
    found = lay_out(keys, edges)
    boxes = {box.key: box for box in found.boxes}
    for end, far in ((0, "target"), (-1, "source")):
        bands = [
            band
            for band in found.bands
            if (band.source, band.target)[end] == ("a", "z")[end]
        ]
        assert len(bands) == 6
        bands.sort(key=lambda band: band.points[end][1])
        heights = [boxes[getattr(band, far)].y for band in bands]
        assert heights == sorted(heights)


def test_a_woven_flow_is_untangled() -> None:
    """Ten chains side by side, named so that a list of them would be all across."""
    keys = [
        f"{c}{n}"
        for c in "abc"
        for n in (range(10) if c != "b" else reversed(range(10)))
    ]
    edges = [(f"{s}{n}", f"{t}{n}", 1) for s, t in ("ab", "bc") for n in range(10)]
    found = lay_out(keys, edges)
    y = {box.key: box.y for box in found.boxes}
    for one, other in itertools.combinations(range(10), 2):
        ways = {y[f"{c}{one}"] < y[f"{c}{other}"] for c in "abc"}
        assert len(ways) == 1


def test_ten_grams_of_acid_beside_five_kilograms_of_oil_are_seen() -> None:
    found = lay_out(
        ["oil", "acid", "paste"],
        [("oil", "paste", 5_000_000), ("acid", "paste", 10_000)],
    )
    assert [band.width >= LEAST for band in found.bands] == [True, True]
    assert found.bands[0].width == pytest.approx(TALLEST, rel=0.01)


def test_three_hundred_nodes_are_laid_out_in_under_a_second() -> None:
    keys, edges = closing(random.Random(7), 150)  # noqa: S311 - a graph, no secret
    assert len(keys) == 300
    start = time.perf_counter()
    found = lay_out(keys, edges)
    assert time.perf_counter() - start < 1
    assert len(found.boxes) == 300


def test_three_nodes_and_none_are_laid_out_too() -> None:
    assert lay_out([], []).boxes == ()
    found = lay_out(["a", "b", "c"], [("a", "b", 1), ("b", "c", 1)])
    assert [box.y for box in found.boxes] == pytest.approx([0, 0, 0])


@pytest.mark.parametrize(
    ("keys", "edges", "says"),
    [
        ("ab", [("a", "b", 1), ("b", "a", 1)], "back to itself"),
        ("ab", [("a", "b", -1)], "below nought"),
        ("ab", [("a", "c", 1)], "unknown"),
        ("aa", [], "same key"),
        ("ab", [("a", "b", 1), ("a", "b", 2)], "same ends"),
    ],
)
def test_what_cannot_be_drawn_is_refused(
    keys: str, edges: list[Edge], says: str
) -> None:
    with pytest.raises(LayeredError, match=says):
        lay_out(list(keys), edges)
