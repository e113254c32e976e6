"""What an act changed, in words: masses as masses, times by the premises' clock."""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from producer.models import JournalEntry
from producer.templatetags.kettlebook import day, mass, moment, number, volume

NOTHING = "–"
MOST = 8  # values of a list that are shown where there is little room
LONGEST = 240  # characters of a text there
UNITS = {"_mg": mass, "_ul": volume}
# Endings of names whose values are figures; any other text stays as it was typed.
FIGURES = re.compile(
    r"(?:^|_)(value|figure|density|percent|uncertainty|ml|half_width|lower|upper"
    r"|resolution|tolerance|shown|low|high|concentration|discount|temperature|limit"
    r"|target|hardness|capacity|risk)$"
)
DECIMAL = re.compile(r"-?\d+(\.\d+)?")
# Names whose values are words of our own, with a low line for a blank.
OUR_WORDS = {"status", "kind", "characteristic", "assay_basis", "meaning", "loss"}
ENDINGS = re.compile(r"_(mg|ul|at|on)$")


@dataclasses.dataclass(frozen=True)
class Change:
    """A value before and after; ``old`` is empty where there was none."""

    name: str
    old: str
    new: str


def changes_of(entry: JournalEntry, *, in_full: bool = False) -> list[Change]:
    """Return what an act changed or wrote down, in the order of the names.

    What was nothing and stays nothing is left out. Not ``in_full``, long lists and
    texts are cut, and say so.
    """
    before, after = entry.before_values, entry.after_values
    return list(_changes(before, after, in_full=in_full))


def _changes(
    before: dict[str, Any], after: dict[str, Any], *, in_full: bool
) -> Iterator[Change]:
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        if _is_same(name, old, new):
            continue
        yield Change(
            said_name(name),
            "" if _is_nothing(old) else said(name, old, in_full=in_full),
            said(name, new, in_full=in_full),
        )


def _is_same(name: str, old: Any, new: Any) -> bool:
    if old == new or (_is_nothing(old) and _is_nothing(new)):
        return True
    if not (FIGURES.search(name) and isinstance(old, str) and isinstance(new, str)):
        return False
    if not (DECIMAL.fullmatch(old) and DECIMAL.fullmatch(new)):
        return False
    return Decimal(old) == Decimal(new)  # written otherwise: 0.5000 and 0.5


def _is_nothing(value: Any) -> bool:
    return value is None or value in ("", [], {})


def said_name(name: str) -> str:
    """Return the name of a value as people read it.

    >>> said_name("gross_mg"), said_name("is_void"), said_name("12")
    ('gross', 'void', 'line 12')
    """
    if name.isdigit():
        return f"line {name}"  # of a formula
    return ENDINGS.sub("", name).removeprefix("is_").replace("_", " ")


def said(name: str, value: Any, *, in_full: bool = True) -> str:
    """Return a value in words."""
    if _is_nothing(value):
        return NOTHING
    if isinstance(value, bool) or value in ("True", "False"):
        return "yes" if str(value) == "True" else "no"
    if isinstance(value, list):
        return _list(name, value, in_full=in_full)
    if isinstance(value, dict):
        return "; ".join(
            f"{said_name(key)} {said(key, one, in_full=in_full)}"
            for key, one in value.items()
            if not _is_nothing(one) and one is not False
        )
    if isinstance(value, int):
        unit = UNITS.get(name[-3:])
        return unit(value) if unit else number(value)
    return _text(name, str(value), in_full=in_full)


def _list(name: str, values: list[Any], *, in_full: bool) -> str:
    shown = values if in_full else values[:MOST]
    more = len(values) - len(shown)
    if values and isinstance(values[0], dict):
        parts = [f"({n}) {said(name, one)}" for n, one in enumerate(shown, start=1)]
    else:
        parts = [said(name, one) for one in shown]
    rest = f" … and {more} more" if more else ""
    return f"{', '.join(parts)}{rest}"


def _text(name: str, text: str, *, in_full: bool) -> str:
    if name.endswith("_at"):
        return _moment(text)
    if name.endswith("_on"):
        return _day(text)
    if name in OUR_WORDS:
        return text.replace("_", " ")
    if FIGURES.search(name) and DECIMAL.fullmatch(text):
        return number(Decimal(text))
    if in_full or len(text) <= LONGEST:
        return text
    return f"{text[:LONGEST].rstrip()} …"


def _moment(text: str) -> str:
    try:
        at = datetime.datetime.fromisoformat(text)
    except ValueError:
        return text
    return moment(at) if at.tzinfo else text


def _day(text: str) -> str:
    try:
        return day(datetime.date.fromisoformat(text))
    except ValueError:
        return text
