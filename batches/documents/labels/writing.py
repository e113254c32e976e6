"""Sheets of labels in a PDF file that is written forwards.

The objects of a page laid out elsewhere (fonts and what they need) are copied as they
are.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping

import pikepdf

from batches.documents.pdf_file import PdfFile

BEST = 9
TRUE_SIZE = b"/PrintScaling /None "  # viewers are asked not to scale when they print


class Writer(PdfFile):
    """A file of labels: forms that are stamped, and fonts copied with them."""

    def __init__(self, source: pikepdf.Pdf) -> None:
        super().__init__(len(source.objects) + 1)  # copied objects keep their numbers

    def form(self, page: pikepdf.Page) -> int:
        """Write a page as a form object and all that it needs; return its number."""
        self._copy(page.Resources)
        box = b" ".join(b"%.4f" % float(edge) for edge in page.MediaBox)
        resources = page.Resources.unparse()
        head = b"/Type /XObject /Subtype /Form /BBox [%b] /Resources %b"
        content = page.Contents.read_bytes()
        number = self.new()
        self.stream(number, head % (box, resources), zlib.compress(content, BEST))
        return number

    def begin(self, forms: Mapping[str, int], *, fonts: pikepdf.Object) -> None:
        """Write what all pages share: the forms, and the fonts of what is stamped."""
        self._copy(fonts)
        named = b" ".join(
            b"%b %d 0 R" % (name.encode(), number) for name, number in forms.items()
        )
        self.object(
            self.resources,
            b"<< /XObject << %b >> /Font %b >>" % (named, fonts.unparse()),
        )

    def _copy(self, thing: pikepdf.Object) -> None:
        """Write an object and whatever it refers to, each once."""
        number = thing.objgen[0] if thing.is_indirect else 0
        if self.has(number):
            return
        is_stream = isinstance(thing, pikepdf.Stream)
        if number and is_stream:
            head = pikepdf.Dictionary(
                {key: value for key, value in thing.items() if key != "/Length"}
            )
            self.stream(number, head.unparse()[2:-2].strip(), thing.read_raw_bytes())
        elif number:
            self.object(number, thing.unparse(resolved=True))
        if is_stream or isinstance(thing, pikepdf.Dictionary):
            parts = [value for _, value in thing.items()]
        else:
            parts = list(thing) if isinstance(thing, pikepdf.Array) else []
        for part in parts:
            if isinstance(part, pikepdf.Object):
                self._copy(part)
