"""What to do next about a complaint, what can hurt somebody first.

Sentences and the way to each act; who may do it stands with it. Nothing is decided.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Final

from django.urls import reverse
from django.utils.http import urlencode

from batches.models import Batch, RetainedSample, SampleLook
from producer.models import Right, User
from quality.complaint_life import Step
from quality.services.complaint_leads import Leads
from quality.services.complaints import Standing

MAKER_OR_REVIEWER: Final = (Right.MAKER, Right.REVIEWER)
REVIEWER: Final = (Right.REVIEWER,)
EVERYBODY: Final[tuple[Right, ...]] = ()


@dataclasses.dataclass(frozen=True, kw_only=True)
class Todo:
    """What to do next: a sentence, and perhaps the act with its page and who may."""

    words: str
    do: str = ""
    at: str = ""
    rights: tuple[Right, ...] = EVERYBODY

    @property
    def whose(self) -> str:
        """Whose it is, for those who may not: “a maker or a reviewer”."""
        return " or ".join(f"a {right.label.lower()}" for right in self.rights)

    def is_for(self, user: User) -> bool:
        """Say whether this account may do it."""
        return not self.rights or any(user.may(right) for right in self.rights)


def next_steps(now: Standing, leads: Leads) -> list[Todo]:
    """Return what to do next, what can hurt somebody first."""
    if not now.is_open:
        return [
            Todo(
                words="Nothing: it is closed. If they write again, open it again.",
                do="Open it again",
                at=_page("complaint_reopen", now.code),
                rights=MAKER_OR_REVIEWER,
            )
        ]
    return [
        *_harm(now, leads),
        *_code(now, leads),
        *_sample(now, leads),
        *_pattern(now, leads),
        *_rest(now, leads),
    ]


def _harm(now: Standing, leads: Leads) -> Iterator[Todo]:
    """Yield what comes first where somebody was hurt."""
    if not now.account.was_hurt:
        return
    yield Todo(
        words=(
            "Somebody was hurt. Ask how they are, and send them to a doctor or the"
            " poison centre; the cautions stand below."
        )
    )
    if not now.has(Step.AUTHORITY):
        yield Todo(
            words=(
                "Look up today whether an authority must be told, how and how soon."
                " Write down whom you asked or told, when, and their number."
            ),
            do="Write it down",
            at=_page("complaint_step", now.code, kind=Step.AUTHORITY.value),
            rights=MAKER_OR_REVIEWER,
        )
    if leads.batch is None:
        return
    yield from _hold(leads, leads.batch)
    yield from _recall(leads, leads.batch)


def _hold(leads: Leads, batch: Batch) -> Iterator[Todo]:
    """Yield what is released still: the batch with its bottles, and what is in it."""
    for one in leads.released:
        is_used_up = one.stock.on_hand_mg <= 0
        if is_used_up and (one.pk != batch.pk or not leads.here):
            continue  # nothing more comes of it
        if one.pk != batch.pk:
            words = (
                f"Batch {one.number} is in it and is released: more can be made of it."
            )
        elif leads.here:
            words = (
                f"{_bottles(leads.here)} of {batch.number}"
                f" {'is' if leads.here == 1 else 'are'} here and may leave."
            )
        else:
            words = f"Batch {batch.number} is released: more of it can be filled."
        yield Todo(
            words=(
                f"{words} Until you know more, hold it: a critical deviation of the"
                " batch does, or a reviewer puts it on hold."
            ),
            do="Put the batch on hold",
            at=_page("sign", one.number),
            rights=REVIEWER,
        )


def _recall(leads: Leads, batch: Batch) -> Iterator[Todo]:
    """Yield the question for a recall, or whether one that is open covers this."""
    if not leads.out:
        return
    out = (
        f"{_bottles(leads.out)} of it {'is' if leads.out == 1 else 'are'} with somebody"
        " else."
    )
    for one in leads.open_recalls:
        yield Todo(
            words=(
                f"{out} Recall {one.recall.code} is open and reaches it, because:"
                f" “{one.recall.reason}”. Does it cover what this complaint tells of,"
                " its harm and its advice to who has a bottle? If not, a reviewer opens"
                " another."
            ),
            do="See the recall",
            at=_page("recall", one.recall.code),
        )
    if not leads.open_recalls:
        yield Todo(
            words=(
                f"{out} See if a recall is due: who has them, and what could it do to"
                " them? A reviewer opens one."
            ),
            do="Open a recall",
            at=_page("recall_open", batch.number),
            rights=REVIEWER,
        )


def _bottles(count: int) -> str:
    return f"{count} bottle{'' if count == 1 else 's'}"


def _code(now: Standing, leads: Leads) -> Iterator[Todo]:
    if leads.batch is None:
        yield Todo(
            words=(
                "The code is not known. Ask for a picture of the label, or for the"
                " bottle; then correct the complaint."
            ),
            do="Correct it",
            at=_page("complaint_amend", now.code),
            rights=MAKER_OR_REVIEWER,
        )


def _sample(now: Standing, leads: Leads) -> Iterator[Todo]:
    """Yield the retained samples that were not looked at since it came."""
    if leads.batch is None:
        return
    own = [
        one
        for one in leads.samples
        if leads.lot is None or one.filling_lot_id == leads.lot.pk
    ]
    if not own:
        yield Todo(
            words=(
                "No sample was kept of this filling. Ask for the bottle back, or open"
                " one that is still here and compare."
            )
        )
    for one in own:
        looks = list(one.looks.all())
        if any(look.state == SampleLook.State.GONE for look in looks[-1:]):
            continue
        if not any(look.observed_at >= now.account.observed_at for look in looks):
            yield _look_at(now, one)


def _look_at(now: Standing, sample: RetainedSample) -> Todo:
    """Return that a sample is to be looked at, and the way back to the complaint."""
    what = "bottle" if sample.bottle else "jar"
    test = (
        "Somebody was hurt: read its pH, or titrate its free alkali"
        if now.account.was_hurt
        else "Test it as the complaint asks"
    )
    address = reverse("batches:sample_look", args=[sample.filling_lot.code, sample.pk])
    back = urlencode({"then": _page("complaint", now.code)})
    return Todo(
        words=(
            f"Look at the retained {what} of {sample.filling_lot.code} in"
            f" {sample.place.name}. {test}, and write down what you found."
        ),
        do="Look at it",
        at=f"{address}?{back}",
        rights=MAKER_OR_REVIEWER,
    )


def _pattern(now: Standing, leads: Leads) -> Iterator[Todo]:
    """Yield what more than one complaint, or a fault of ours, asks for."""
    if leads.batch is None:
        return
    if leads.near:
        codes = ", ".join(one.account.complaint.code for one in leads.near)
        yield Todo(
            words=(
                f"It is not the only one about this batch: {codes}. What they have in"
                " common is the first place to look."
            )
        )
    is_serious = now.account.was_hurt or now.conclusion == "justified" or leads.near
    if is_serious and not any(one.is_open for one in leads.deviations):
        yield Todo(
            words=(
                f"No deviation of {leads.batch.number} is open. Open one: while it is"
                " open, nothing that has the batch in it is released."
            ),
            do="Open a deviation",
            at=_page("deviation_open", leads.batch.number),
            rights=MAKER_OR_REVIEWER,
        )


def _rest(now: Standing, leads: Leads) -> Iterator[Todo]:
    """Yield what stands before it is closed; an authority was told of above."""
    for one in leads.obstacles:
        yield Todo(words=one.words, do=one.do, at=one.at)
    for step, sentence in now.lacking:
        if step != Step.AUTHORITY:
            yield Todo(
                words=sentence,
                do="Write it down",
                at=_page("complaint_step", now.code, kind=step.value),
                rights=REVIEWER if step == Step.CONCLUSION else MAKER_OR_REVIEWER,
            )
    if not now.lacking and not leads.obstacles:
        yield Todo(
            words="All that is asked for stands. Close it.",
            do="Close it",
            at=_page("complaint_close", now.code),
            rights=REVIEWER,
        )


def _page(name: str, code: str, **query: str) -> str:
    address = reverse(f"quality:{name}", args=[code])
    return f"{address}?{urlencode(query)}" if query else address
