"""Texts of labels: written by a maker, approved by a reviewer, never changed.

A text stands for one product in one language. What it says is the maker's; the fixed
words stand in :mod:`batches.label_words`. The program classifies nothing: a hazard
block is what the maker recorded, and no text may bring one of its own.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches import label_fonts
from batches.models import Classification, Formula, LabelDecision, LabelVersion
from batches.services import label_state
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.alone import may_review_alone
from producer.services.checks import need_reason, require


@transaction.atomic
def classify(
    *,
    by: User,
    formula: Formula,
    signal: str,
    basis: str,
    statements: Sequence[str] = (),
    identifier: str = "",
    submission: uuid.UUID | None = None,
) -> list[Classification]:
    """Record what the maker decided about the hazard class of a product, and from what.

    ``signal`` is one of :class:`Classification.Signal`. ``statements`` are printed word
    for word: one text for each language of a label, and a row for each is returned. A
    text that was approved with another block is not printed any more: see
    :func:`batches.services.label_state.class_changed`.
    """
    journal.in_line()
    require(by, Right.MAKER)
    wordings = list(dict.fromkeys(filter(None, map(str.strip, statements))))
    if signal == Classification.Signal.NONE and wordings:
        raise Refusal(
            "Without a class there are no statements to print. Choose the signal word,"
            " or take the statements out.",
            field="signal",
        )
    printed = "\n".join((*wordings, identifier))
    unprintable = label_fonts.why_not({"the words of the class": printed})
    if unprintable:
        raise Refusal(unprintable)
    former = label_state.classes_now(formula)
    now = timezone.now()
    rows = [
        Classification(
            formula=formula,
            signal=signal,
            statements=wording,
            identifier=identifier.strip(),
            basis=basis.strip(),
            entered_by=by,
            observed_at=now,
        )
        for wording in wordings or [""]
    ]
    for row in rows:
        row.full_clean()
        row.save(force_insert=True)
    journal.write(
        by=by,
        act="hazard class recorded",
        subject=rows[0],
        label=formula.name,
        before=_classified(former),
        after=_classified(rows),
        submission=submission,
    )
    return rows


@transaction.atomic
def write_label(
    *,
    by: User,
    formula: Formula,
    language: str,
    product_name: str,
    directions: str = "",
    cautions: str = "",
    doses: bool = False,
    classification: Classification | None = None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> LabelVersion:
    """Write the next version of a text; what was printed before stays as it was.

    From the second version on it needs a reason. Approving is somebody else's.
    """
    journal.in_line()
    require(by, Right.MAKER)
    former = label_state.newest(formula, language)
    row = LabelVersion(
        formula=formula,
        language=language,
        version=former.version + 1 if former else 1,
        product_name=product_name.strip(),
        directions=directions.strip(),
        cautions=cautions.strip(),
        doses=doses,
        classification=classification,
        reason=need_reason(reason) if former else reason.strip(),
        entered_by=by,
        observed_at=timezone.now(),
    )
    row.full_clean()
    _check(row, former)
    row.save(force_insert=True)
    journal.write(
        by=by,
        act="label text written",
        subject=row,
        label=_label(row),
        before=_facts(former) if former else {},
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


@transaction.atomic
def approve(
    *, by: User, label: LabelVersion, submission: uuid.UUID | None = None
) -> LabelDecision:
    """Approve the newest version of a text for printing.

    By another person than the writer; on a one-person premises by the writer after the
    pause, and then the journal says that nobody else looked. Raises :class:`Refusal`
    for all that :func:`batches.services.label_state.against_approval` finds.
    """
    journal.in_line()
    require(by, Right.REVIEWER)
    against = label_state.against_approval(label)
    if against:
        raise Refusal(" ".join(against))
    after: dict[str, Any] = {"decision": LabelDecision.Kind.APPROVED}
    if by.person_id == label.entered_by.person_id:
        after["self_reviewed"] = True
        after["pause_hours"] = may_review_alone(
            by=by, last_at=label.entered_at, what="text"
        )
    return _decide(by, label, LabelDecision.Kind.APPROVED, "", after, submission)


@transaction.atomic
def withdraw(
    *, by: User, label: LabelVersion, reason: str, submission: uuid.UUID | None = None
) -> LabelDecision:
    """Withdraw an approved text: nothing more is printed with it."""
    journal.in_line()
    require(by, Right.REVIEWER)
    reason = need_reason(reason)
    if not label_state.is_approved(label):
        raise Conflict("This text is not approved, so there is nothing to withdraw.")
    after = {"decision": LabelDecision.Kind.WITHDRAWN}
    return _decide(by, label, LabelDecision.Kind.WITHDRAWN, reason, after, submission)


def approved(formula: Formula, language: str) -> LabelVersion | None:
    """Return the text to print in a language, or None if there is none to print."""
    return approved_in(formula).get(language)


def approved_in(formula: Formula) -> dict[str, LabelVersion]:
    """Return, by language, the newest approved version that may be printed."""
    now = label_state.classes_now(formula)
    found: dict[str, LabelVersion] = {}
    for label in label_state.versions(formula):  # newest first
        if label.language not in found and label_state.may_print(label, now):
            found[label.language] = label
    return found


def _check(row: LabelVersion, former: LabelVersion | None) -> None:
    """Refuse what no text can be, whether or not anybody will approve it."""
    if row.doses and row.formula.purpose != Formula.Purpose.WASH:
        raise Refusal(
            "A table of doses is for a wash. This product is for something else.",
            field="doses",
        )
    of = row.classification
    if of is not None and of.formula_id != row.formula_id:
        raise Refusal(
            "This class was recorded for another product.", field="classification"
        )
    for part, words in label_state.own_words(row).items():
        unprintable = label_fonts.why_not({part: words})
        if unprintable:
            raise Refusal(unprintable, field=label_state.FIELDS[part])
    if former is not None and _said(row) == _said(former):
        raise Refusal(f"Version {former.version} says the same. Nothing was written.")


def _said(label: LabelVersion) -> dict[str, Any]:
    facts = _facts(label)
    return {name: value for name, value in facts.items() if name != "version"}


def _facts(label: LabelVersion) -> dict[str, Any]:
    return {
        "language": label.language,
        "version": label.version,
        "product_name": label.product_name,
        "directions": label.directions,
        "cautions": label.cautions,
        "doses": label.doses,
        "classification": label.classification_id,
    }


def _classified(rows: list[Classification]) -> dict[str, Any]:
    if not rows:
        return {}
    return {
        "signal": rows[0].signal,
        "statements": [row.statements for row in rows],
        "identifier": rows[0].identifier,
        "basis": rows[0].basis,
    }


def _label(label: LabelVersion) -> str:
    return f"{label.formula.name}, {label.language} {label.version}"


def _decide(
    by: User,
    label: LabelVersion,
    kind: str,
    reason: str,
    after: dict[str, Any],
    submission: uuid.UUID | None,
) -> LabelDecision:
    row = LabelDecision(
        label=label,
        kind=kind,
        reason=reason,
        entered_by=by,
        observed_at=timezone.now(),
    )
    row.full_clean()
    row.save(force_insert=True)
    journal.write(
        by=by,
        act=f"label text {kind}",
        subject=label,
        label=_label(label),
        after=after,
        reason=reason,
        submission=submission,
    )
    return row
