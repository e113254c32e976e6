"""What a recall can begin with, as it stands in an address, and back."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from typing import Final

from batches.models import FillingLot
from producer.models import Certificate, Container, Instrument, Stock
from quality.models import InstrumentCheck, Recall
from quality.services import impact
from quality.services.impact.plain import Doubt
from quality.services.recall_roots import Beginning, Window, why_no_time
from quality.services.references import REFERENCES

MINUTE: Final = "%Y%m%dT%H%MZ"
WRITTEN: Final = re.compile(r"[0-9]{8}T[0-9]{4}Z")
LONGEST_ID: Final = 19  # digits; a database counts no further
# Nothing proves them good from day to day: all that was read with them is in doubt.
UNCHECKED: Final = {*REFERENCES, Instrument.Kind.PH_STRIPS}


def find(kind: str, ident: str) -> Beginning | None:
    """Return what an address names, None where there is no such thing."""
    if kind == "filling-lot":
        return FillingLot.objects.filter(code=ident.upper()).first()
    if kind == "time":
        return _window(ident)
    by_id = BY_ID.get(kind)
    is_id = ident.isascii() and ident.isdecimal() and len(ident) < LONGEST_ID
    return by_id(int(ident)) if by_id and is_id else None


def address(beginning: Beginning) -> tuple[str, str]:
    """Return kind and name of something in an address; see :func:`find`."""
    match beginning:
        case Stock():
            return "stock", beginning.code
        case FillingLot():
            return "filling-lot", beginning.code
        case Window():
            first, last = _plain(beginning.since), _plain(beginning.until)
            return "time", f"{first}.{last}.{beginning.during}"
        case Doubt(check=None):
            return "instrument", str(beginning.instrument.pk)
        case Doubt(check=check):
            return "check", str(check.pk if check else "")
        case _:
            return beginning._meta.model_name or "", str(beginning.pk)


def file_name(beginning: Beginning) -> str:
    """Return what a file about it is called: letters, digits, dots and strokes."""
    kind, ident = address(beginning)
    return ident if kind in {"stock", "filling-lot"} else f"{kind}-{ident}"


def _container(pk: int) -> Container | None:
    return Container.objects.select_related("lot__stock").filter(pk=pk).first()


def _certificate(pk: int) -> Certificate | None:
    rows = Certificate.objects.select_related("lot__stock", "attachment")
    return rows.filter(pk=pk).first()


def _check(pk: int) -> Doubt | None:
    rows = InstrumentCheck.objects.select_related("instrument")
    check = rows.filter(pk=pk).first()
    return impact.doubt_of(check.instrument, check.pk) if check else None


def _instrument(pk: int) -> Doubt | None:
    instrument = Instrument.objects.filter(pk=pk, kind__in=UNCHECKED).first()
    return impact.doubt_of(instrument) if instrument else None


BY_ID: Final[dict[str, Callable[[int], Beginning | None]]] = {
    "container": _container,
    "certificate": _certificate,
    "check": _check,
    "instrument": _instrument,
}


def _plain(at: datetime.datetime) -> str:
    return at.astimezone(datetime.UTC).strftime(MINUTE)


def _window(ident: str) -> Window | None:
    try:
        first, last, during = ident.split(".")
        since, until = _moment(first), _moment(last)
    except ValueError:
        return None
    known = during in Recall.During.values and since < until
    if not known or why_no_time(since) or why_no_time(until):
        return None
    return Window(since=since, until=until, during=during)


def _moment(text: str) -> datetime.datetime:
    if not WRITTEN.fullmatch(text):
        raise ValueError(text)
    return datetime.datetime.strptime(text, MINUTE).replace(tzinfo=datetime.UTC)
