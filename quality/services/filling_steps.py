"""What is done with a filling lot until its bottles may leave, and what comes next."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from django.urls import reverse

from batches.models import FillingBalance
from producer.models import Right
from quality.services.filling_release import LookedAt

DONE, NOW, LATER, LEFT_OUT = "done", "now", "later", "left_out"
WHY_A_SAMPLE = (
    "A bottle or a jar that stays here shows later what was sent out. Where none is"
    " kept, the release says why."
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Step:
    """A step: what, how far, where it is done, by whom, and a sentence about it."""

    label: str
    state: str
    url: str
    right: Right
    words: str
    do: str


@dataclasses.dataclass(frozen=True, kw_only=True)
class MassRow:
    """A line of the mass balance; all lines but the first add up to the first."""

    words: str
    mass_mg: int


def steps_of(found: LookedAt) -> list[Step]:
    """Return the steps in their order; the first that is not done is the next one."""
    here = reverse("batches:filling_lot", args=[found.lot.code])
    wanted = [
        ("Fill", True, here, Right.MAKER, "", ""),
        (
            "Print labels",
            found.labels.issued > 0,
            reverse("quality:labels", args=[found.lot.code]),
            Right.MAKER,
            "Each bottle has a label of its own, with its number.",
            "Print them",
        ),
        (
            "Weigh bottles",
            found.is_checked,
            reverse("quality:fill_check", args=[found.lot.code]),
            Right.MAKER,
            "Weigh bottles against what their label says; below 100 all that are here.",
            "Weigh them",
        ),
        (
            "Keep a sample",
            bool(found.samples),
            reverse("batches:sample", args=[found.lot.code]),
            Right.MAKER,
            WHY_A_SAMPLE,
            "Keep one",
        ),
        (
            "Count labels",
            found.is_labelled,
            reverse("batches:label_count", args=[found.lot.code]),
            Right.MAKER,
            found.labels.sentence,
            "Count them",
        ),
        (
            "Release",
            found.release is not None,
            reverse("quality:fill_release", args=[found.lot.code]),
            Right.REVIEWER,
            "Somebody who did not fill them looks at it all; then they may leave.",
            "Look at it and release",
        ),
    ]
    is_over = found.release is not None
    steps: list[Step] = []
    for label, is_done, url, right, words, do in wanted:
        earlier_is_open = any(step.state == NOW for step in steps)
        if is_done:
            state = DONE
        elif is_over:  # the release says why
            state = LEFT_OUT
        else:
            state = LATER if earlier_is_open else NOW
        steps.append(
            Step(label=label, state=state, url=url, right=right, words=words, do=do)
        )
    return steps


def next_of(steps: Sequence[Step]) -> Step | None:
    """Return the step to do next, or None when all is done."""
    return next((step for step in steps if step.state == NOW), None)


def mass_rows(balance: FillingBalance) -> list[MassRow]:
    """Return where the mass went, first what there was before."""
    lot = balance.filling_lot
    by_book = balance.before_mg - lot.filled_mg - lot.loss_mg - balance.sample_mg
    rest_mg = by_book if balance.rest_mg is None else balance.rest_mg
    weighed = "by the book" if balance.rest_mg is None else "weighed"
    rows = [
        ("on hand before", balance.before_mg),
        ("in the bottles, by count, size and density", lot.filled_mg),
        ("lost in filling", lot.loss_mg),
        ("taken as a sample", balance.sample_mg),
        (f"left over, {weighed}", rest_mg),
        ("unexplained", balance.unexplained_mg),
    ]
    return [MassRow(words=words, mass_mg=mass_mg) for words, mass_mg in rows]
