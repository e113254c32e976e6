"""Where the mass of a batch came from and went, as nodes and ribbons that close.

Pure: no Django. Masses are whole milligrams. Of every batch as much goes in as comes
out, is lost or still there; what the book cannot explain is an end of its own, or a
beginning where more came out than went in. The rule is a mass balance.

1000 mg of oil and 300 mg of lye; 20 mg were spilled, 1200 mg weighed as made; 700 mg of
that were drawn and 490 mg are on hand:

>>> pot = in_the_pot(1300, {"spilled": 20}, 1200)
>>> store = in_store(1200, went_mg=700, on_hand_mg=490)
>>> [(end.words, end.mass_mg) for end in (*pot, *store)]
... # doctest: +NORMALIZE_WHITESPACE
[('spilled', 20), ('unexplained: not in the yield', 80), ('still in stock', 490),
 ('unexplained: not in the book', 10)]
>>> 1300 == sum(end.mass_mg for end in (*pot, *store)) + 700
True
"""

from __future__ import annotations

import dataclasses
import enum
from collections import defaultdict
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import cached_property
from graphlib import TopologicalSorter

from batches.shares import Share


class FlowError(ValueError):
    """These masses cannot be; the message says why."""


class Kind(enum.StrEnum):
    """What a node is. A gain is mass that the book did not know of."""

    LOT = "lot"
    BATCH = "batch"
    BOTTLES = "bottles"
    STOCK = "stock"
    LOSS = "loss"
    OUT = "out"
    GAIN = "gain"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Node:
    """Something that mass comes from, goes through or ends in.

    ``code`` is that of a record, ``number`` the primary key of one without a code;
    ``words`` say what it is, ``more`` what else a reader wants to know. ``group`` names
    what it may be shown together with. ``share`` is what part of it is of the root,
    ``part`` what part of the root is of it; None where there is nothing to say.
    ``is_beside`` marks what only came in with the root, ``count`` how many it stands
    for; ``bottles`` and ``volume_ul`` are those that it has.
    """

    key: str
    kind: Kind
    words: str
    code: str = ""
    number: int | None = None
    more: str = ""
    group: str = ""
    share: Share | None = None
    part: Fraction | None = None
    is_root: bool = False
    is_beside: bool = False
    count: int = 1
    bottles: int = 0
    volume_ul: int = 0

    @property
    def name(self) -> str:
        """Its code and words.

        >>> Node(key="s1", kind=Kind.LOT, code="L26-0001-X", words="potash").name
        'L26-0001-X potash'
        """
        return f"{self.code} {self.words}".strip()


@dataclasses.dataclass(frozen=True, kw_only=True)
class Ribbon:
    """A mass on its way from one node to another.

    Of nought where it is known to have gone that way and the book could not take it.
    ``bottles`` is how many it is in, if it is in any.
    """

    source: str
    target: str
    mass_mg: int
    bottles: int = 0


@dataclasses.dataclass(frozen=True, kw_only=True)
class Flow:
    """The nodes, in a fixed order, and the ribbons between them.

    ``root`` is the code of what was asked for, ``hidden`` how many nodes are shown
    together with others.
    """

    root: str
    nodes: tuple[Node, ...]
    ribbons: tuple[Ribbon, ...]
    hidden: int = 0

    @cached_property
    def by_key(self) -> dict[str, Node]:
        """The nodes by key."""
        return {node.key: node for node in self.nodes}

    @cached_property
    def went_in(self) -> dict[str, int]:
        """What went into each node, by key."""
        return _sums((one.target, one.mass_mg) for one in self.ribbons)

    @cached_property
    def came_out(self) -> dict[str, int]:
        """What came out of each node, by key."""
        return _sums((one.source, one.mass_mg) for one in self.ribbons)

    @cached_property
    def bottled_mg(self) -> int:
        """What was filled into bottles, with what was lost at it."""
        filled = (node.key for node in self.nodes if node.kind is Kind.BOTTLES)
        return sum(map(self.mass_mg, filled))

    def mass_mg(self, key: str) -> int:
        """Return the mass of a node: what went in, or of a first one what came out."""
        return max(self.went_in.get(key, 0), self.came_out.get(key, 0))

    @property
    def unclosed(self) -> list[str]:
        """The keys of what mass goes through without the sums agreeing; always none."""
        both = self.went_in.keys() & self.came_out.keys()
        return sorted(key for key in both if self.went_in[key] != self.came_out[key])


def _sums(masses: Iterable[tuple[str, int]]) -> dict[str, int]:
    found: dict[str, int] = defaultdict(int)
    for key, mass_mg in masses:
        found[key] += mass_mg
    return dict(found)


@dataclasses.dataclass(frozen=True)
class End:
    """Where mass ends, or begins if it is a gain."""

    kind: Kind
    words: str
    mass_mg: int


def in_the_pot(
    in_mg: int,
    lost: Mapping[str, int],
    made_mg: int | None,
    *,
    is_abandoned: bool = False,
) -> list[End]:
    """Return where the mass of a batch went up to the weighing of what it made.

    ``lost`` are the recorded losses by their words; ``made_mg`` is None until it is
    weighed: then the rest is in the pot still, or was left in it. Raises
    :class:`FlowError` for a mass below nought.

    >>> in_the_pot(100, {"evaporated": 8}, None)[1]
    End(kind=<Kind.STOCK: 'stock'>, words='in the pot', mass_mg=92)
    >>> in_the_pot(100, {}, 103)
    [End(kind=<Kind.GAIN: 'gain'>, words='unexplained: more in the yield', mass_mg=3)]
    """
    _none_below_nought(in_mg, made_mg or 0, *lost.values())
    ends = [End(Kind.LOSS, words, mass) for words, mass in lost.items() if mass]
    rest = in_mg - sum(lost.values()) - (made_mg or 0)
    if rest < 0:
        return [*ends, End(Kind.GAIN, "unexplained: more in the yield", -rest)]
    if not rest:
        return ends
    if made_mg is not None:
        return [*ends, End(Kind.LOSS, "unexplained: not in the yield", rest)]
    if is_abandoned:
        return [*ends, End(Kind.LOSS, "abandoned, not weighed", rest)]
    return [*ends, End(Kind.STOCK, "in the pot", rest)]


def in_store(
    made_mg: int,
    *,
    went_mg: int = 0,
    found_mg: int = 0,
    disposed_mg: int = 0,
    used_mg: int = 0,
    on_hand_mg: int = 0,
) -> list[End]:
    """Return where what was made or received went since.

    ``went_mg`` was drawn into batches or filled, ``found_mg`` weighed as left over
    beyond the book, ``used_mg`` used on the premises. Raises :class:`FlowError` for a
    mass below nought.

    >>> [(end.words, end.mass_mg) for end in in_store(10, went_mg=4, on_hand_mg=7)]
    [('still in stock', 7), ('unexplained: more than the book', 1)]
    """
    _none_below_nought(made_mg, went_mg, found_mg, disposed_mg, used_mg, on_hand_mg)
    rest = made_mg + found_mg - went_mg - disposed_mg - used_mg - on_hand_mg
    ends = [
        End(Kind.GAIN, "more than the book, at a filling", found_mg),
        End(Kind.STOCK, "still in stock", on_hand_mg),
        End(Kind.OUT, "used on the premises", used_mg),
        End(Kind.LOSS, "disposed of", disposed_mg),
        End(Kind.LOSS, "unexplained: not in the book", max(rest, 0)),
        End(Kind.GAIN, "unexplained: more than the book", max(-rest, 0)),
    ]
    return [end for end in ends if end.mass_mg]


def _none_below_nought(*masses_mg: int) -> None:
    if min(masses_mg) < 0:
        raise FlowError("A mass is not below nought.")


def parts_of(root: str, drawn: Iterable[Ribbon]) -> dict[str, Fraction]:
    """Return what part of the root comes from each of its sources, at any depth.

    ``drawn`` is all that was weighed into the root and into what it was made of. The
    root itself is 1; the parts of the lots add up to 1, where each batch between has
    something in it. What goes into a batch is mixed evenly: see :mod:`batches.shares`.

    A paste of 1 part lye and 3 parts oil; a liquid of 2 parts paste and 3 parts water:

    >>> paste = [("lye", "paste", 1), ("oil", "paste", 3)]
    >>> liquid = [("paste", "liquid", 2), ("water", "liquid", 3)]
    >>> drawn = [Ribbon(source=s, target=t, mass_mg=m) for s, t, m in paste + liquid]
    >>> {key: str(part) for key, part in sorted(parts_of("liquid", drawn).items())}
    {'liquid': '1', 'lye': '1/10', 'oil': '3/10', 'paste': '2/5', 'water': '3/5'}
    """
    ribbons = list(drawn)
    into: dict[str, list[Ribbon]] = defaultdict(list)
    for ribbon in ribbons:
        into[ribbon.target].append(ribbon)
    totals = _sums((one.target, one.mass_mg) for one in ribbons)
    order = TopologicalSorter(
        {key: [one.source for one in rows] for key, rows in into.items()}
    )
    found: dict[str, Fraction] = defaultdict(Fraction)
    found[root] = Fraction(1)
    for key in reversed(list(order.static_order())):
        for ribbon in into[key] if found[key] and totals.get(key) else ():
            share = Fraction(ribbon.mass_mg, totals[key])
            found[ribbon.source] += found[key] * share
    return {key: part for key, part in found.items() if part}


def mixed(parts: Iterable[tuple[int, Share]]) -> Share:
    """Return the share of what several masses make together, each with its share.

    >>> half, none = Share(least=Fraction(1, 2)), Share(least=Fraction(0))
    >>> mixed([(1, half), (3, none)]).least
    Fraction(1, 8)
    """
    rows = list(parts)
    total = sum(mass_mg for mass_mg, _ in rows)
    held = sum((mass_mg * share.least for mass_mg, share in rows), Fraction(0))
    return Share(
        least=held / total if total else Fraction(0),
        is_least=any(share.is_least for _, share in rows),
    )
