"""Every bottle of a recall, one by one: the page that offers the files, and the files.

A file is written while it is sent. The page counts along and compares with what the
file says at its end; without its script the links are plain ones.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse

from batches.documents import labels
from producer.codes import BOTTLE_LENGTH
from producer.models import Premises
from producer.reads import only_looks
from producer.views.acts import read_only, user_of
from quality.documents import recalls as documents
from quality.documents.recalls import Listed
from quality.models import Recall
from quality.services import recall_beginnings
from quality.views.recalls import address_of, beginning_at, recall_by_code

KINDS = {
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
}
# What stands behind “affected_” or “recall_” in the name of an address; _pdf alone is
# the list to telephone from.
NAMES = {"pdf": "bottles_pdf", "csv": "csv", "json": "json"}
# About how long a line is beside the address of the bottle, and what a page holds:
# measured on lists of invented names. A longer name takes more.
BYTES = {"csv": 75, "json": 245, "pdf": 12}
ON_A_PAGE, FONTS = 220, 34_000


@dataclasses.dataclass(frozen=True, kw_only=True)
class Offered:
    """A file to be written: its address and name, and about how large it will be."""

    kind: str
    address: str
    name: str
    size: int
    pages: int


@read_only
@only_looks
def affected_bottles(
    request: HttpRequest, code: str = "", kind: str = "", ident: str = ""
) -> HttpResponse:
    """Offer every bottle that something went into, one by one."""
    found = beginning_at(code, kind, ident)
    return _page(
        request,
        documents.of(found),
        {
            name: address_of(f"affected_{name}", found)
            for name in (*NAMES.values(), "pdf")
        }
        | {"back": address_of("affected", found)},
        f"bottles-{recall_beginnings.file_name(found)}",
    )


@read_only
@only_looks
def affected_list(
    request: HttpRequest,
    form: str,
    code: str = "",
    kind: str = "",
    ident: str = "",
) -> StreamingHttpResponse:
    """Write every bottle that something went into, one by one."""
    found = beginning_at(code, kind, ident)
    name = f"bottles-{recall_beginnings.file_name(found)}"
    return _file(request, documents.of(found), form, name)


@read_only
@only_looks
def recall_bottles(request: HttpRequest, code: str) -> HttpResponse:
    """Offer every bottle of a recall, one by one."""
    found = recall_by_code(code)
    return _page(
        request,
        documents.of_recall(found),
        {
            name: reverse(f"quality:recall_{name}", args=[found.code])
            for name in (*NAMES.values(), "pdf")
        }
        | {"back": reverse("quality:recall", args=[found.code])},
        _name(found),
    )


@read_only
@only_looks
def recall_list(request: HttpRequest, code: str, form: str) -> StreamingHttpResponse:
    """Write every bottle of a recall, one by one."""
    found = recall_by_code(code)
    return _file(request, documents.of_recall(found), form, _name(found))


def _page(
    request: HttpRequest, listed: Listed, at: Mapping[str, str], name: str
) -> HttpResponse:
    count = listed.find().bottle_count()
    return render(
        request,
        "quality/bottle_lists.html",
        {
            "listed": listed,
            "recall": listed.recall,
            "at": at,
            "count": count,
            "files": [
                Offered(
                    kind=kind,
                    address=at[NAMES[kind]],
                    name=f"{name}.{kind}",
                    size=estimated(kind, count),
                    pages=1 + count // ON_A_PAGE,
                )
                for kind in KINDS
            ],
        },
    )


def _file(
    request: HttpRequest, listed: Listed, form: str, name: str
) -> StreamingHttpResponse:
    pieces: Iterator[bytes] = documents.list_of(
        listed,
        form,
        printed_by=user_of(request).person.name,
        premises=_premises(request),
    )
    return StreamingHttpResponse(
        pieces,
        content_type=KINDS[form],
        headers={"Content-Disposition": f'attachment; filename="{name}.{form}"'},
    )


def estimated(kind: str, count: int) -> int:
    """Return about how many bytes a file of so many bottles has."""
    if kind == "pdf":
        return FONTS + count * BYTES[kind]
    return count * (BYTES[kind] + len(labels.bottle_address("2" * BOTTLE_LENGTH)))


def _name(recall: Recall) -> str:
    return f"{'MOCK-' if recall.is_mock else ''}bottles-{recall.code}"


def _premises(request: HttpRequest) -> Premises | None:
    found: Any = getattr(request, "premises", None)
    return found if isinstance(found, Premises) else None
