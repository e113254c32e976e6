"""What a scanned code that nobody should hold means, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from django.db.models import F, OuterRef, QuerySet, Subquery

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, ScanAlert
from batches.services import scans
from producer.codes import grouped

Kind = ScanAlert.Kind
ADVICE: Final[Mapping[str, str]] = MappingProxyType(
    {
        Kind.UNKNOWN: (
            "Somebody asked for a code that is well formed and was never issued: an"
            " imitated label, or somebody trying codes out. A slip of the finger is"
            " not told here; the check character finds it. Look whether anybody called"
            " about such a bottle."
        ),
        Kind.DESTROYED: (
            "The bottle is recorded as destroyed, and somebody has its label. Was it"
            " destroyed, and its label too? If the bottle turns up, report it on its"
            " page."
        ),
        Kind.DUPLICATE: (
            "Two bottles are reported to carry this code, and one of them was looked"
            " up. Settle the doubt on the page of the bottle."
        ),
        Kind.NOT_OUT: (
            "By the records this bottle never left, or came back: only your own people"
            " can hold it. Was it one of you, without signing in? If not, look whether"
            " it is where it should be."
        ),
    }
)
_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        Kind.UNKNOWN: "never issued, and somebody asked for it",
        Kind.DESTROYED: "recorded as destroyed, and its label was scanned",
        Kind.DUPLICATE: "two bottles carry it, and one was scanned",
        Kind.NOT_OUT: "should be here, and was scanned by a visitor",
    }
)


def name_of(alert: ScanAlert) -> str:
    """Return the code in groups, or words for the codes that were only counted."""
    return grouped(alert.code) if alert.code else "further unknown codes"


def words_of(alert: ScanAlert) -> str:
    """Return what is wrong, in a few words."""
    return _WORDS[alert.kind]


def advice(alert: ScanAlert) -> str:
    """Return what it can mean, and what to do."""
    return ADVICE[alert.kind]


def listed() -> QuerySet[ScanAlert]:
    """Return all alerts, those nobody has looked into first; with what is known.

    Each has ``bottle_status``, ``filling_lot`` and ``last_event`` of the bottle, None
    for a code that was never issued. One question, however many.
    """
    bottle = Bottle.objects.filter(code=OuterRef("code"))
    events = BottleEvent.objects.filter(bottle__code=OuterRef("code")).order_by("-pk")
    return (
        ScanAlert.objects.select_related("seen_by__person")
        .annotate(
            bottle_status=Subquery(bottle.values("status")[:1]),
            filling_lot=Subquery(bottle.values("filling_lot__code")[:1]),
            last_event=Subquery(events.values("observed_at")[:1]),
        )
        .order_by(F("seen_by").asc(nulls_first=True), "-day", "code", "pk")
    )


def facts_of(alert: ScanAlert, bottle: Bottle | None) -> list[tuple[str, str]]:
    """Return what is known of a code, for the page on which it is looked into."""
    same = scans.unseen().filter(code=alert.code, kind=alert.kind)
    days = sorted(same.values_list("day", "count"))
    told = ", ".join(f"{day:%Y-%m-%d}: {count}" for day, count in days)
    facts = [("What", words_of(alert)), ("Scans", told or "looked into already")]
    if bottle is None:
        return facts
    history = "; ".join(
        f"{event.observed_at:%Y-%m-%d} {BottleStatus(event.new).label}"
        for event in bottle.events.all()
    )
    return [
        *facts,
        ("Bottle", f"no. {bottle.number} of {bottle.filling_lot.code}"),
        ("Product", bottle.filling_lot.batch.formula_version.product_name),
        ("Its history", history),
    ]
