"""Levels of effectiveness checks: of how many holders a recall makes sure.

After 21 CFR 7.42(b)(3) as a pattern. A, C, D and E are second hand, by section 2.9 of
the requirements and its source S59; that B lies above 10 % and below 100 % is from
memory. No statement about the law: what an authority asks of you, ask it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from producer.errors import Refusal

SOURCE: Final = (
    "After 21 CFR 7.42(b)(3) as a pattern: A, C, D and E second hand, the bounds of B"
    " from memory."
)
DEFAULT: Final = "A"
CHOSEN: Final = "B"  # the one whose share somebody decides
PERCENT: Final[Mapping[str, int | None]] = {
    "A": 100,
    "B": None,
    "C": 10,
    "D": 2,
    "E": 0,
}
WORDS: Final[Mapping[str, str]] = {
    "A": "A: every holder (100 %)",
    "B": "B: more than 10 % and less than 100 % of the holders",
    "C": "C: 10 % of the holders",
    "D": "D: 2 % of the holders",
    "E": "E: no checks",
}
ABOVE, BELOW = 10, 100  # what B lies between
# Section 2.9 of the requirements: with fewer holders than this, every one is checked.
MANY: Final = 100


def chosen(level: str, percent: int | None, *, holders: int) -> dict[str, Any]:
    """Return a level as plain JSON: ``level``, ``percent`` and ``holders``.

    ``percent`` is needed for B and for no other. Raises :class:`.Refusal` for an
    unknown level, a share that is not its, and less than A for fewer than 100 holders.

    >>> chosen("C", None, holders=250)
    {'level': 'C', 'percent': 10, 'holders': 250}
    """
    if level not in PERCENT:
        raise Refusal("Choose how many holders are checked.", field="level")
    if level != DEFAULT and holders < MANY:
        raise Refusal(
            f"There are {holders} holders. With fewer than {MANY} every one is made"
            " sure of: choose A.",
            field="level",
        )
    fixed = PERCENT[level]
    if fixed is None:
        if percent is None or not ABOVE < percent < BELOW:
            raise Refusal(
                f"Level B is more than {ABOVE} % and less than {BELOW} %. Write how"
                " many per cent.",
                field="percent",
            )
        fixed = percent
    elif percent is not None:
        raise Refusal(
            f"Level {level} says how many itself. Leave the per cent empty.",
            field="percent",
        )
    return {"level": level, "percent": fixed, "holders": holders}


def to_reach(percent: int, holders: int) -> int:
    """Return of how many holders it must be known that they were reached.

    Rounded up: a share of a person is one.

    >>> to_reach(10, 101), to_reach(100, 3), to_reach(0, 500)
    (11, 3, 0)
    """
    return -(-percent * holders // 100)


def in_words(facts: Mapping[str, Any] | None) -> str:
    """Return a level that was chosen as a sentence, or that none was.

    >>> in_words({"level": "B", "percent": 40, "holders": 120})
    'B: more than 10 % and less than 100 % of the holders; 40 % were chosen'
    """
    if not facts or "level" not in facts:
        return "not chosen yet"
    words = WORDS[facts["level"]]
    if facts["level"] == CHOSEN:
        words += f"; {facts['percent']} % were chosen"
    return words
