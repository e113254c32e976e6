"""What the public page of a bottle is made of: read with as few questions as can be.

One joined question by the code, and one for the approved texts. Whether there is a
real recall at all comes with the first; only then is the genealogy walked, to any
depth, so that the page is right for bottles filled after the recall was opened, too.
Nothing here knows of suppliers, people, prices, consignees or other bottles.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
from typing import Any

from django.core.cache import cache
from django.db import connections
from django.db.models import Exists, OuterRef, Subquery, Value
from django.db.models.expressions import RawSQL
from django.db.models.functions import Coalesce

from batches import trace
from batches.label_words import signal_in
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import (
    Bottle,
    BottleDiscrepancy,
    Classification,
    FillingRelease,
    Formula,
    LabelCopy,
    LabelVersion,
)
from batches.services import label_texts
from batches.services.label_state import classes_now
from producer import reads
from quality.models import Recall
from quality.services import recall_scope

TEXTS_KEPT = 30  # seconds: texts change once a year, and pages open in bursts
# Came back to us or was fetched by a recall: nobody outside should have it.
_CAME_BACK = {BottleStatus.RETURNED, BottleStatus.RECOVERED}


@dataclasses.dataclass(frozen=True, slots=True)
class Sheet:
    """What bottles of one filling lot have in common, if they are in one state.

    The fields are the columns of one row, in order, after those of :class:`Face`.
    """

    status: str
    nominal_ul: int
    filled_at: datetime.datetime
    use_by: datetime.date
    filling_lot_id: int
    batch_id: int
    batch: str
    batch_status: str
    formula_id: int
    purpose: str
    authority_reference: str
    product_name: str
    directions: str
    cautions: str
    band: str
    is_released: bool
    is_doubled: bool
    any_recall: bool

    @property
    def is_spray(self) -> bool:
        """Say whether it is for plants."""
        return self.purpose == Formula.Purpose.SPRAY

    @property
    def is_destroyed(self) -> bool:
        """Say whether it was recorded as destroyed."""
        return self.status == BottleStatus.DESTROYED

    @property
    def came_back(self) -> bool:
        """Say whether it came back, so that nobody outside should have it."""
        return self.status in _CAME_BACK

    @property
    def is_kept(self) -> bool:
        """Say whether it is kept as a sample, so that nobody else should have it."""
        return self.status == BottleStatus.RETAINED

    @property
    def never_left(self) -> bool:
        """Say whether it stands in a stock that was not released to leave."""
        return self.status == BottleStatus.FILLED and not self.is_released

    @property
    def is_held(self) -> bool:
        """Say whether it, or the batch it is of, may not be used for now."""
        return (
            self.status == BottleStatus.ON_HOLD
            or self.batch_status != BatchStatus.RELEASED
        )


@dataclasses.dataclass(frozen=True, slots=True)
class Face:
    """A bottle as its label shows it, and what stands against using it."""

    bottle_id: int
    code: str
    number: int
    sheet: Sheet


@dataclasses.dataclass(frozen=True, slots=True)
class Text:
    """What the maker says of the product, and in which language.

    ``language`` is empty where nobody said which it is. ``is_foreign`` when it is
    another than the one asked for. ``signal`` is in ``language``, or in the one asked
    for where that is empty. ``statements`` are pairs of language and wording; the
    language is empty where it is not known.
    """

    language: str
    product_name: str
    directions: str
    cautions: str
    signal: str = ""
    statements: tuple[tuple[str, str], ...] = ()
    identifier: str = ""
    has_doses: bool = False
    is_foreign: bool = False


# Marks for values that are put in later; no row has such an id.
_IDS, _LOT, _BATCH = "ids", -1, -2

_COLUMNS = (
    "pk",
    "code",
    "number",
    "status",
    "filling_lot__nominal_ul",
    "filling_lot__observed_at",
    "filling_lot__use_by",
    "filling_lot_id",
    "filling_lot__batch_id",
    "filling_lot__batch__stock__code",
    "filling_lot__batch__status",
    "filling_lot__batch__formula_version__formula_id",
    "filling_lot__batch__formula_version__formula__purpose",
    "filling_lot__batch__formula_version__authority_reference",
    "filling_lot__batch__formula_version__product_name",
    "filling_lot__batch__formula_version__directions",
    "filling_lot__batch__formula_version__cautions",
    "_band",
    "_released",
    "_doubled",
    "_any_recall",
)


def face_of(code: str) -> Face | None:
    """Return the bottle that carries this bare code, None if there is none."""
    sql, fixed = _question()
    with connections[reads.alias()].cursor() as cursor:
        cursor.execute(sql, [*fixed, code])
        row = cursor.fetchone()
    if row is None:
        return None
    bottle_id, its_code, number, status, nominal_ul, filled_at, *facts = row
    if filled_at.tzinfo is None:
        # SQLite keeps moments without their offset, in UTC, and no truth values.
        filled_at = filled_at.replace(tzinfo=datetime.UTC)
        facts[-3:] = map(bool, facts[-3:])
    sheet = Sheet(status, nominal_ul, filled_at, *facts)
    return Face(bottle_id, its_code, number, sheet)


def text_of(sheet: Sheet, language: str) -> Text:
    """Return the approved label text in a language, or in another one we have.

    Where no label text is approved, what the formula version says. An approval or
    withdrawal shows within :data:`TEXTS_KEPT` seconds.
    """
    texts: dict[str, Text] = cache.get_or_set(  # type: ignore[assignment]
        f"label_texts.{sheet.formula_id}",
        lambda: _texts_of(Formula(pk=sheet.formula_id)),
        TEXTS_KEPT,
    )
    if language in texts:
        return texts[language]
    for text in texts.values():
        return dataclasses.replace(text, is_foreign=True)
    # No text may be printed now: perhaps because the hazard class is another one since.
    # What was recorded of that is shown whatever the text, and nothing that nobody
    # approved stands in for what was withdrawn.
    classes, languages, has_text = cache.get_or_set(  # type: ignore[misc]
        f"without_text.{sheet.formula_id}",
        lambda: _without_text(Formula(pk=sheet.formula_id)),
        TEXTS_KEPT,
    )
    hazards = [one for one in classes if one.signal != Classification.Signal.NONE]
    return Text(
        language="",
        product_name=sheet.product_name,
        directions="" if hazards or has_text else sheet.directions,
        cautions="" if has_text else sheet.cautions,
        signal=signal_in(hazards[0].signal, language) if hazards else "",
        statements=tuple(
            (languages.get(one.pk, ""), one.statements) for one in hazards
        ),
        identifier=hazards[0].identifier if hazards else "",
    )


def _without_text(
    formula: Formula,
) -> tuple[list[Classification], dict[int, str], bool]:
    """Return the hazard classes of a product, and whether it ever had a label text.

    Between them stands in which language the statements of a class are, by its id: that
    of the texts that took it. A class itself does not say.
    """
    texts = LabelVersion.objects.filter(formula=formula).order_by()
    used = set(texts.values_list("classification_id", "language"))
    taken = [of for of, _ in used]
    # One that stands in texts of two languages is in neither for certain.
    languages = {of: language for of, language in used if of and taken.count(of) == 1}
    return classes_now(formula), languages, bool(used)


def _texts_of(formula: Formula) -> dict[str, Text]:
    return {
        language: _text(label)
        for language, label in label_texts.approved_in(formula).items()
    }


def _text(label: LabelVersion) -> Text:
    hazard = label.classification
    return Text(
        language=label.language,
        product_name=label.product_name,
        directions=label.directions,
        cautions=label.cautions,
        signal=signal_in(hazard.signal, label.language) if hazard else "",
        statements=((label.language, hazard.statements),) if hazard else (),
        identifier=hazard.identifier if hazard else "",
        has_doses=label.doses,
    )


def recalls_of(sheet: Sheet) -> list[Recall]:
    """Return the real recalls, open or past, that a bottle falls under; newest first.

    As :func:`quality.services.recalling.recalls_of_bottle`, without a question where
    there is no recall of anything.
    """
    if not sheet.any_recall:
        return []
    (ids,) = trace.among(trace.upstream_ids(sheet.batch_id)).params
    asked = {_LOT: sheet.filling_lot_id, _BATCH: sheet.batch_id}
    sql, values = _which_recalls()
    return list(
        Recall.objects.raw(
            sql, [ids if one == _IDS else asked.get(one, one) for one in values]
        )
    )


@functools.lru_cache(maxsize=1)
def _which_recalls() -> tuple[str, tuple[Any, ...]]:
    """Return the question which recalls reach a bottle, worded once as the other one.

    In its values stand marks for what it is asked about.
    """
    marked = RawSQL(trace.among([]).sql, [_IDS])  # noqa: S611 - the text is ours
    asked = recall_scope.reaching(marked, _LOT, batch_id=_BATCH)
    sql, values = asked.query.sql_with_params()
    if not {_IDS, _LOT, _BATCH} <= set(values):
        raise AssertionError("The question is asked about something else.")
    return sql, values


@functools.lru_cache(maxsize=1)
def _question() -> tuple[str, tuple[Any, ...]]:
    """Return the one question as text, and all its values but the last, the code.

    Django takes ten times as long to word it as the database to answer; so it is
    worded once in the life of the process.
    """
    doubled = BottleDiscrepancy.objects.filter(
        bottle=OuterRef("pk"),
        kind=BottleDiscrepancy.Kind.DUPLICATE,
        end__isnull=True,
    )
    released = FillingRelease.objects.filter(filling_lot=OuterRef("filling_lot"))
    # The label that was printed last for the bottle is the one it carries.
    printed = LabelCopy.objects.filter(bottle=OuterRef("pk")).order_by("-copy")
    asked = (
        Bottle.objects.order_by()
        .filter(code="")
        .annotate(
            _band=Coalesce(Subquery(printed.values("issue__band")[:1]), Value("")),
            _released=Exists(released),
            _doubled=Exists(doubled),
            _any_recall=Exists(Recall.objects.filter(is_mock=False)),
        )
        .values_list(*_COLUMNS)
    )
    sql, values = asked.query.sql_with_params()
    return sql, values[:-1]
