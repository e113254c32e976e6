"""Measurements side by side in one run, by ``manage.py benchmark NAME``.

Each module has ``rows()``, which yields a :class:`Row` as soon as it is measured.
They are measured on purpose and never by the test suite: a busy machine is no fault.
"""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    """One comparison: what we reach, what the peer reaches, and whether it is enough.

    ``name`` says what is compared and in which unit; ``goal`` says in words what is
    asked, as design and README state it, and ``holds`` whether it was reached.
    """

    name: str
    ours: float
    peer: float
    goal: str
    holds: bool

    @property
    def ratio(self) -> float | None:
        """Return ours divided by the peer's; None where the peer's is nought."""
        return self.ours / self.peer if self.peer else None
