"""The life of a complaint: which step may follow, and what stands before it ends.

Open until it is closed, and open again when somebody opens it again. Pure; the steps
themselves are rows. What is asked for follows 21 CFR 211.198 as a pattern (second
hand, see the requirements): the reply, the investigation and its conclusion on record.
"""

from __future__ import annotations

import enum
from collections.abc import Collection, Sequence
from typing import Final, NamedTuple


class Step(enum.StrEnum):
    """What a step is."""

    REPLY = "reply"
    FOUND = "found"
    CAUSE = "cause"
    ACTION = "action"
    AUTHORITY = "authority"
    CONCLUSION = "conclusion"
    CLOSED = "closed"
    REOPENED = "reopened"

    @property
    def label(self) -> str:
        """The step in words."""
        return WORDS[self]


WORDS: Final = {
    Step.REPLY: "reply",
    Step.FOUND: "what was looked at and found",
    Step.CAUSE: "root cause",
    Step.ACTION: "what was done",
    Step.AUTHORITY: "an authority: asked or told, or why not",
    Step.CONCLUSION: "conclusion",
    Step.CLOSED: "closed",
    Step.REOPENED: "opened again",
}
ENDS: Final = (Step.CLOSED, Step.REOPENED)
# What is added, and corrected while the complaint is open.
ADDED: Final = tuple(one for one in Step if one not in ENDS)


class Conclusion(enum.StrEnum):
    """What came of looking into it."""

    JUSTIFIED = "justified"
    NOT_JUSTIFIED = "not_justified"
    NOT_FOUND_OUT = "not_found_out"

    @property
    def label(self) -> str:
        """The conclusion in words."""
        return CONCLUSIONS[self]


CONCLUSIONS: Final = {
    Conclusion.JUSTIFIED: "justified: it is our product",
    Conclusion.NOT_JUSTIFIED: "not justified: it is not our product",
    Conclusion.NOT_FOUND_OUT: "could not be found out",
}


def is_open(kinds: Sequence[str]) -> bool:
    """Say whether a complaint with these steps, in order, is open.

    >>> is_open([]), is_open(["reply", "closed"]), is_open(["closed", "reopened"])
    (True, False, True)
    """
    ends = [kind for kind in kinds if kind in ENDS]
    return not ends or ends[-1] == Step.REOPENED


def why_not(kinds: Sequence[str], new: str) -> str:
    """Return why this step cannot follow those, or nothing.

    >>> why_not(["closed"], "reply")
    'This complaint is closed. Open it again first, and say why.'
    >>> why_not([], "reopened")
    'This complaint is open.'
    >>> why_not([], "reply")
    ''
    """
    if is_open(kinds):
        return "This complaint is open." if new == Step.REOPENED else ""
    if new == Step.REOPENED:
        return ""
    return "This complaint is closed. Open it again first, and say why."


class Lack(NamedTuple):
    """A step that must stand before a complaint is closed, and why, as a sentence."""

    step: Step
    sentence: str


def lacking(kinds: Collection[str], *, conclusion: str, was_hurt: bool) -> list[Lack]:
    """Return what must stand before a complaint is closed.

    ``conclusion`` is the newest one, or empty. A justified one needs its root cause;
    where somebody was hurt, it must stand what was done about an authority, or why
    nothing was. Whether anything had to be done is not decided here.

    >>> lacking({"reply", "found", "conclusion"}, conclusion="not_found_out",
    ...         was_hurt=False)
    []
    >>> [sentence for _, sentence in lacking({"reply", "found", "conclusion"},
    ...                                      conclusion="justified", was_hurt=False)]
    ['It is justified: write the root cause.']
    >>> [step.value for step, _ in lacking((), conclusion="", was_hurt=True)]
    ['authority', 'reply', 'found', 'conclusion']
    """
    found = []
    if was_hurt and Step.AUTHORITY not in kinds:
        found.append(
            Lack(
                Step.AUTHORITY,
                "Somebody was hurt: write down which authority was asked or told, when"
                " and under which number, or why none was.",
            )
        )
    if Step.REPLY not in kinds:
        found.append(
            Lack(Step.REPLY, "Reply, or write down why nobody can be replied to.")
        )
    if Step.FOUND not in kinds:
        found.append(
            Lack(Step.FOUND, "Write down what was looked at, and what was found.")
        )
    if not conclusion:
        found.append(Lack(Step.CONCLUSION, "Write down the conclusion."))
    elif conclusion == Conclusion.JUSTIFIED and Step.CAUSE not in kinds:
        found.append(Lack(Step.CAUSE, "It is justified: write the root cause."))
    return found
