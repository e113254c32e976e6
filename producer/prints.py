"""PDF by WeasyPrint: our own templates and styles, and nothing is fetched."""

from __future__ import annotations

import dataclasses
import datetime
import io
from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any, Final, NoReturn

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils import timezone
from weasyprint import CSS, HTML, Attachment
from weasyprint.css import ColorProfile
from weasyprint.document import Document

from producer.models import Premises

COLOURS: Final = "screen"  # the name of the colour profile inside a print


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


@dataclasses.dataclass(frozen=True, kw_only=True)
class Enclosed:
    """A text that lies inside a PDF as a file: its name, what it is, when it was."""

    name: str
    text: str
    about: str
    at: datetime.datetime


def archival_pdf(
    template: str,
    context: Mapping[str, Any],
    *,
    printed_by: str,
    enclosed: Sequence[Enclosed] = (),
) -> bytes:
    """Return a template of ours as PDF for keeping, with texts enclosed as its source.

    Made to the rules of PDF/A-3 (ISO 19005-3, level B) as far as WeasyPrint knows them
    and the tests can look: metadata, colour profile, fonts inside, nothing outside,
    nothing that runs. Not run through a validator.
    """
    now = timezone.now().replace(microsecond=0)
    document = lay_out(
        template,
        {
            "printed_at": now,
            "created": now.astimezone(datetime.UTC).isoformat(),
            **context,
        },
        printed_by=printed_by,
    )
    document.color_profiles[COLOURS] = _colours()
    result: bytes = document.write_pdf(
        output_intent=COLOURS,
        finisher=_each_file_once,
        pdf_variant="pdf/a-3b",
        attachments=[
            Attachment(
                string=one.text,
                name=one.name,
                description=one.about,
                created=one.at.astimezone(datetime.UTC),
                modified=one.at.astimezone(datetime.UTC),
                relationship="Source",
                url_fetcher=refuse_to_fetch,
            )
            for one in enclosed
        ],
    )
    return result


def _colours() -> ColorProfile:
    """Return the sRGB profile of WeasyPrint, which itself would leave its file open."""
    profile = io.BytesIO((files("weasyprint.pdf") / "sRGB2014.icc").read_bytes())
    components = (["r"], ["g"], ["b"])
    return ColorProfile(profile, "sRGB2014.icc", "relative-colorimetric", components)


def _each_file_once(_document: Document, pdf: Any) -> None:
    """Name each enclosed file once: WeasyPrint 70 puts it in the list twice."""
    if "AF" in pdf.catalog:
        pdf.catalog["AF"][:] = list(dict.fromkeys(pdf.catalog["AF"]))
