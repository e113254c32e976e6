"""What a check is, what it may say, and how it tells how far it has come."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable

Tell = Callable[[int], None]


class Remark(str):
    """A sentence for people that is no fault."""

    __slots__ = ()


def quiet(_walked: int) -> None:
    """Tell nobody how many rows were walked."""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Check:
    """A check by name: how many rows it walks, and the faults it finds in them."""

    name: str
    count: Callable[[], int]
    walk: Callable[[Tell], Iterable[str]]

    def faults(self, tell: Tell = quiet) -> Iterable[str]:
        """Yield a sentence for each fault, and each :class:`Remark`.

        ``tell`` is called now and then with the number of rows walked so far.
        """
        return self.walk(tell)


def untold(faults: Callable[[], Iterable[str]]) -> Callable[[Tell], Iterable[str]]:
    """Return a walk out of a function that does not tell how far it is."""

    def walk(_tell: Tell) -> Iterable[str]:
        return faults()

    return walk
