"""Labels printed for bottles: which, on what, with which words, and which copy.

All that is printed is kept with the issue or never changes: so the same file can be
made again, and is the same issue, not another copy.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable, Collection, Sequence

from django.conf import settings
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from batches import label_fonts
from batches.label_text import Hazard, LabelText, Serial
from batches.label_words import contents_in, day_in, signal_in, volume_in, words_in
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import (
    Batch,
    Bottle,
    Classification,
    FillingLot,
    LabelCopy,
    LabelIssue,
    LabelVersion,
)
from batches.services import label_state, label_texts
from batches.services.label_bands import require_band
from batches.services.label_counts import (
    Reconciliation,
    amend_count,
    count_labels,
    reconciliation,
)
from batches.sheets import Placement, Sheet
from producer import journal, written
from producer.errors import Refusal
from producer.models import Premises, Right, User
from producer.services.checks import local_day, require

__all__ = [
    "Reconciliation",
    "amend_count",
    "contact_of",
    "count_labels",
    "hazard_of",
    "is_at_address",
    "issue",
    "placement_of",
    "reconciliation",
    "serials_of",
    "text_of",
    "why_not_labelled",
]

MOST_SPECIMENS = 100
# Bottles that are here and may come to somebody: these get a label.
LABELLED = (BottleStatus.FILLED, BottleStatus.RETAINED, BottleStatus.RETURNED)

# Word of the water (soft, medium, hard) and whole millilitres.
Doses = Sequence[tuple[str, int]]
Fits = Callable[[LabelText, Sheet], object]


@transaction.atomic
def issue(
    *,
    by: User,
    filling_lot: FillingLot,
    label: LabelVersion,
    placement: Placement,
    numbers: Collection[int],
    fits: Fits,
    specimens: int = 0,
    band: str = "",
    band_reason: str = "",
    doses: Doses = (),
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> LabelIssue:
    """Issue labels for the bottles with these numbers; all of them or none.

    ``band`` is the class of contents, empty for a spray. ``doses`` are for a label
    with a table of doses: water and millilitres. ``specimens`` are labels without the
    identity of a bottle. ``fits`` raises :class:`Refusal` for a text that does not
    fit on such a label, as ``documents.labels.check_fit`` does; it is asked before
    anything is written. Doses and measure are handed down because imports run one way.

    A bottle that has a label gets a further copy of the same identity, and that needs
    ``reason``. Refused: a text that is not approved or is of another product; a batch
    or bottle that is held; a bottle that has left or is destroyed.
    """
    require(by, Right.MAKER)
    journal.in_line()
    _may_be_labelled(filling_lot, label)
    bottles = _bottles(filling_lot, numbers, specimens)
    reckoned = require_band(filling_lot, band, band_reason)
    copies = _copies(bottles, reason)
    premises = Premises.objects.get()
    row = LabelIssue(
        filling_lot=filling_lot,
        label=label,
        band=band,
        contact="\n".join(contact_of(premises)),
        specimens=specimens,
        reason=reason.strip(),
        observed_at=timezone.now(),
        entered_by=by,
        sheet={
            "placement": placement.as_json(),
            "doses": _doses(label, doses),
            "band_reckoned": reckoned.reckoned,
            "band_reason": band_reason.strip() if band != reckoned.reckoned else "",
            "address": settings.PUBLIC_URL,
            "poison_centre": premises.poison_centre,
            "filled_on": local_day(filling_lot.observed_at).isoformat(),
        },
    )
    row.full_clean()
    _printable(text_of(row))
    fits(text_of(row), placement.sheet)
    row.save(force_insert=True)
    written.create_all(
        LabelCopy,
        [
            LabelCopy(issue=row, bottle=bottle, copy=copies.get(bottle.pk, 0) + 1)
            for bottle in bottles
        ],
    )
    journal.write(
        by=by,
        act="labels issued",
        subject=row,
        label=filling_lot.code,
        after={
            "language": label.language,
            "version": label.version,
            "sheet": placement.sheet.name,
            "start": placement.start,
            "bottles": [bottle.number for bottle in bottles],
            "printed_again": len(copies),
            "specimens": specimens,
            "band": band,
            "band_reason": row.sheet["band_reason"],
        },
        reason=row.reason,
        submission=submission,
    )
    return row


def placement_of(row: LabelIssue) -> Placement:
    """Return the sheet as it was, with offset and start position."""
    return Placement.from_json(row.sheet["placement"])


def text_of(row: LabelIssue) -> LabelText:
    """Return all that is the same on every label of an issue, as it was printed.

    Taken from the issue and from rows that never change, so it is the same however
    often it is asked for, whatever became of premises and clock meanwhile.
    """
    label, lot, kept = row.label, row.filling_lot, row.sheet
    version = lot.batch.formula_version
    language = label.language
    waters = {
        "soft": words_in(language).water_soft,
        "medium": words_in(language).water_medium,
        "hard": words_in(language).water_hard,
    }
    return LabelText(
        language=language,
        product_name=label.product_name,
        net=volume_in(lot.nominal_ul, language),
        net_ul=lot.nominal_ul,
        batch=lot.batch.number,
        filled=day_in(datetime.date.fromisoformat(kept["filled_on"]), language),
        use_by=day_in(lot.use_by, language),
        contents=contents_in(row.band, language) if row.band else "",
        directions=label.directions,
        cautions=label.cautions,
        doses=tuple((waters[word], f"{ml} ml") for word, ml in kept["doses"]),
        hazard=hazard_of(label),
        purpose=version.formula.purpose,
        authority_reference=version.authority_reference,
        contact=tuple(row.contact.splitlines()),
        poison_centre=kept["poison_centre"],
    )


def serials_of(row: LabelIssue) -> list[Serial]:
    """Return what is only on one label each: code and number of bottle, which copy."""
    copies = row.copies.select_related("bottle").order_by("bottle__number")
    return [Serial(one.bottle.code, one.bottle.number, one.copy) for one in copies]


def is_at_address(row: LabelIssue) -> bool:
    """Say whether the codes of an issue would still lead to where they led then."""
    return bool(row.sheet["address"] == settings.PUBLIC_URL)


def hazard_of(label: LabelVersion) -> Hazard | None:
    """Return the hazard block as it was recorded; None where nothing is printed."""
    found = label.classification
    if found is None or (
        found.signal == Classification.Signal.NONE and not found.identifier
    ):
        return None
    return Hazard(
        signal=signal_in(found.signal, label.language),
        statements=found.statements,
        identifier=found.identifier,
    )


def why_not_labelled(filling_lot: FillingLot) -> str:
    """Return why no bottle of this lot gets a label as it stands, or nothing."""
    batch = Batch.objects.get(pk=filling_lot.batch_id)
    if batch.status != BatchStatus.RELEASED:
        return (
            f"Batch {batch.number} is {BatchStatus(batch.status).label}. Labels are"
            " printed for a released batch: a held bottle with a label looks as if it"
            " could leave."
        )
    return ""


def _may_be_labelled(filling_lot: FillingLot, label: LabelVersion) -> None:
    refused = why_not_labelled(filling_lot)
    if refused:
        raise Refusal(refused)
    formula = filling_lot.batch.formula_version.formula
    if label.formula_id != formula.pk:
        raise Refusal(
            f"This text is not for {formula.name}. Choose one of its own texts.",
            field="label",
        )
    refused = label_state.why_not_print(label)
    if refused:
        raise Refusal(refused, field="label")
    if label_texts.approved(formula, label.language) != label:
        raise Refusal(
            "A newer text in this language is approved. Print that one.", field="label"
        )


def _printable(text: LabelText) -> None:
    """Refuse what the label fonts have no sign for: texts from before it was asked."""
    hazard = text.hazard
    words = (text.product_name, text.directions, text.cautions)
    block = (hazard.statements, hazard.identifier) if hazard else ()
    unprintable = label_fonts.why_not(
        {
            "this text": "\n".join((*words, *block, text.authority_reference)),
            label_state.OF_THE_PREMISES: "\n".join((*text.contact, text.poison_centre)),
        }
    )
    if unprintable:
        raise Refusal(unprintable, field="label")


def _bottles(
    filling_lot: FillingLot, numbers: Collection[int], specimens: int
) -> list[Bottle]:
    """Return the bottles with these numbers in order; refuse what gets no label."""
    if not 0 <= specimens <= MOST_SPECIMENS:
        raise Refusal(
            f"Print at most {MOST_SPECIMENS} specimens at a time.", field="specimens"
        )
    wanted = set(numbers)
    if not wanted and not specimens:
        raise Refusal("Choose at least one bottle.", field="numbers")
    bottles = {bottle.number: bottle for bottle in filling_lot.bottles.all()}
    unknown = sorted(wanted - set(bottles))
    if unknown:
        raise Refusal(
            f"{filling_lot.code} has bottles 1 to {filling_lot.count}, and no"
            f" {unknown[0]}.",
            field="numbers",
        )
    chosen = [bottles[number] for number in sorted(wanted)]
    for bottle in chosen:
        if bottle.status not in LABELLED:
            raise Refusal(
                f"Bottle {bottle.number} is {BottleStatus(bottle.status).label}. Labels"
                " are printed for bottles that are here and not on hold: leave it out.",
                field="numbers",
            )
    return chosen


def _copies(bottles: Sequence[Bottle], reason: str) -> dict[int, int]:
    """Return the newest copy of each bottle that has one; a further one needs why."""
    if not bottles:
        return {}
    printed = LabelCopy.objects.filter(
        issue__filling_lot=bottles[0].filling_lot_id,
    )
    newest = printed.values("bottle").annotate(newest=Max("copy")).order_by()
    chosen = {bottle.pk for bottle in bottles}
    copies = {row["bottle"]: row["newest"] for row in newest if row["bottle"] in chosen}
    if copies and not reason.strip():
        again = next(bottle for bottle in bottles if bottle.pk in copies)
        raise Refusal(
            f"Bottle {again.number} has a label already. A further one is copy"
            f" {copies[again.pk] + 1} of the same identity: say why it is printed, and"
            " count what becomes of the other.",
            field="reason",
        )
    return copies


def _doses(label: LabelVersion, doses: Doses) -> list[list[str | int]]:
    """Return the rows of the table of doses as JSON keeps them."""
    if not label.doses:
        return []
    if not doses:
        raise Refusal(
            "This text has a table of doses, and none can be reckoned for the batch."
            " See what its soap content rests on, or approve a text without the table.",
            field="label",
        )
    return [[word, ml] for word, ml in doses]


def contact_of(premises: Premises) -> tuple[str, ...]:
    """Return the maker as it stands on a label, a line each.

    Name, address, telephone and e-mail, as far as there are: Regulation (EC) 648/2004,
    Article 11 (2), asks for them on a detergent (from memory).
    """
    lines = (
        premises.name,
        *premises.address.splitlines(),
        premises.phone,
        premises.email,
    )
    return tuple(line.strip() for line in lines if line.strip())
