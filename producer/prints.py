"""PDF by WeasyPrint: our own templates and styles, and nothing is fetched."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NoReturn

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils import timezone
from weasyprint import CSS, HTML
from weasyprint.document import Document

from producer.models import Premises


def refuse_to_fetch(url: str, *_args: object, **_options: object) -> NoReturn:
    """Raise for every address: a print needs nothing but what it is given."""
    raise ValueError(f"Prints fetch nothing, and this one asked for {url}.")


def pdf(
    template: str,
    context: Mapping[str, Any],
    *,
    stylesheet: str = "print.css",
    printed_by: str = "",
) -> bytes:
    """Return a template of ours as PDF."""
    document = lay_out(template, context, stylesheet=stylesheet, printed_by=printed_by)
    result: bytes = document.write_pdf()
    return result


def lay_out(
    template: str,
    context: Mapping[str, Any],
    *,
    stylesheet: str = "print.css",
    printed_by: str = "",
) -> Document:
    """Return a template of ours laid out on pages, to measure and then to write."""
    html = render_to_string(
        template,
        {
            "premises": Premises.objects.first(),
            "printed_at": timezone.now(),
            "printed_by": printed_by,
            **context,
        },
    )
    style = CSS(
        filename=finders.find(f"producer/{stylesheet}"), url_fetcher=refuse_to_fetch
    )
    return HTML(string=html, url_fetcher=refuse_to_fetch).render(stylesheets=[style])
