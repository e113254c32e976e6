"""A PDF file written forwards, a page at a time, with its table of contents last.

The form of the file is that of ISO 32000-1:2008, 7.5. The objects of a page laid out
elsewhere (fonts and what they need) are copied as they are.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping

import pikepdf

HEAD = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"
BEST = 9


class Writer:
    """Writes objects one after the other; ``taken`` hands over what was written."""

    def __init__(self, source: pikepdf.Pdf) -> None:
        self._waiting: list[bytes] = [HEAD]
        self._length = len(HEAD)
        self._offsets: dict[int, int] = {}
        self._next = len(source.objects) + 1  # copied objects keep their numbers
        self._catalogue, self._pages, self._resources = (self._new() for _ in range(3))
        self._kids: list[int] = []

    def form(self, page: pikepdf.Page) -> int:
        """Write a page as a form object and all that it needs; return its number."""
        self._copy(page.Resources)
        box = b" ".join(b"%.4f" % float(edge) for edge in page.MediaBox)
        resources = page.Resources.unparse()
        head = b"/Type /XObject /Subtype /Form /BBox [%b] /Resources %b"
        content = page.Contents.read_bytes()
        number = self._new()
        self._stream(number, head % (box, resources), zlib.compress(content, BEST))
        return number

    def begin(self, forms: Mapping[str, int], *, fonts: pikepdf.Object) -> None:
        """Write what all pages share: the forms, and the fonts of what is stamped."""
        self._copy(fonts)
        named = b" ".join(
            b"%b %d 0 R" % (name.encode(), number) for name, number in forms.items()
        )
        self._object(
            self._resources,
            b"<< /XObject << %b >> /Font %b >>" % (named, fonts.unparse()),
        )

    def page(self, size: tuple[float, float], content: bytes) -> None:
        """Write a page; ``size`` in points, ``content`` deflated."""
        stream, number = self._new(), self._new()
        self._stream(stream, b"", content)
        self._object(
            number,
            b"<< /Type /Page /Parent %d 0 R /MediaBox [0 0 %.4f %.4f]"
            b" /Resources %d 0 R /Contents %d 0 R >>"
            % (self._pages, *size, self._resources, stream),
        )
        self._kids.append(number)

    def end(self, title: str, language: str) -> None:
        """Write the list of pages, the catalogue and the table of contents.

        Viewers are asked not to scale when they print: a label has its true size.
        """
        kids = b" ".join(b"%d 0 R" % kid for kid in self._kids)
        self._object(
            self._pages,
            b"<< /Type /Pages /Count %d /Kids [%b] >>" % (len(self._kids), kids),
        )
        self._object(
            self._catalogue,
            b"<< /Type /Catalog /Pages %d 0 R /Lang %b /ViewerPreferences"
            b" << /PrintScaling /None /DisplayDocTitle true >> >>"
            % (self._pages, pikepdf.String(language).unparse()),
        )
        about = self._new()
        self._object(about, b"<< /Title %b >>" % pikepdf.String(title).unparse())
        self._contents(about)

    def taken(self) -> bytes:
        """Return what was written since this was last asked."""
        taken = b"".join(self._waiting)
        self._waiting.clear()
        return taken

    def _contents(self, about: int) -> None:
        start, size = self._length, self._next
        lines = [b"0000000000 65535 f \n"]
        for number in range(1, size):
            offset = self._offsets.get(number)
            lines.append(
                b"0000000000 00000 f \n"
                if offset is None
                else b"%010d 00000 n \n" % offset
            )
        self._write(b"xref\n0 %d\n" % size + b"".join(lines))
        self._write(
            b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\n"
            b"startxref\n%d\n%%%%EOF\n" % (size, self._catalogue, about, start)
        )

    def _copy(self, thing: pikepdf.Object) -> None:
        """Write an object and whatever it refers to, each once."""
        number = thing.objgen[0] if thing.is_indirect else 0
        if number in self._offsets:
            return
        is_stream = isinstance(thing, pikepdf.Stream)
        if number and is_stream:
            head = pikepdf.Dictionary(
                {key: value for key, value in thing.items() if key != "/Length"}
            )
            self._stream(number, head.unparse()[2:-2].strip(), thing.read_raw_bytes())
        elif number:
            self._object(number, thing.unparse(resolved=True))
        if is_stream or isinstance(thing, pikepdf.Dictionary):
            parts = [value for _, value in thing.items()]
        else:
            parts = list(thing) if isinstance(thing, pikepdf.Array) else []
        for part in parts:
            if isinstance(part, pikepdf.Object):
                self._copy(part)

    def _stream(self, number: int, head: bytes, content: bytes) -> None:
        if b"/Filter" not in head:
            head += b" /Filter /FlateDecode"
        self._object(
            number,
            b"<< %b /Length %d >>\nstream\n%b\nendstream"
            % (head, len(content), content),
        )

    def _object(self, number: int, body: bytes) -> None:
        self._offsets[number] = self._length
        self._write(b"%d 0 obj\n%b\nendobj\n" % (number, body))

    def _write(self, piece: bytes) -> None:
        self._waiting.append(piece)
        self._length += len(piece)

    def _new(self) -> int:
        number = self._next
        self._next += 1
        return number
