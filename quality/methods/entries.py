"""The shape of an entry."""

from __future__ import annotations

import dataclasses


@dataclasses.dataclass(frozen=True, kw_only=True)
class Method:
    """One computation: what it gives, how, from where, and what it refuses.

    ``function`` is the dotted path of the function that computes it.
    """

    name: str
    gives: str
    formula: str
    source: str
    valid: str
    refuses: str
    function: str
