"""A PDF file written forwards, a page at a time, with its table of contents last.

The form of the file is that of ISO 32000-1:2008, 7.5. What a page needs may be written
after it: fonts come last, when it is known which of their signs were used.
"""

from __future__ import annotations

import pikepdf

HEAD = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"


class PdfFile:
    """Writes objects one after the other; ``taken`` hands over what was written."""

    def __init__(self, first: int = 1) -> None:
        """Begin a file whose own objects are numbered from ``first`` on."""
        self._waiting: list[bytes] = [HEAD]
        self._length = len(HEAD)
        self._offsets: dict[int, int] = {}
        self._next = first
        self._catalogue, self._pages, self.resources = (self.new() for _ in range(3))
        self._kids: list[int] = []

    def new(self) -> int:
        """Return the number of an object to be written, here or later."""
        number = self._next
        self._next += 1
        return number

    def has(self, number: int) -> bool:
        """Say whether an object was written already."""
        return number in self._offsets

    def object(self, number: int, body: bytes) -> None:
        """Write an object."""
        self._offsets[number] = self._length
        self._write(b"%d 0 obj\n%b\nendobj\n" % (number, body))

    def stream(self, number: int, head: bytes, content: bytes) -> None:
        """Write a stream; ``content`` is deflated unless ``head`` names a filter."""
        if b"/Filter" not in head:
            head += b" /Filter /FlateDecode"
        self.object(
            number,
            b"<< %b /Length %d >>\nstream\n%b\nendstream"
            % (head, len(content), content),
        )

    def page(self, size: tuple[float, float], content: bytes) -> None:
        """Write a page; ``size`` in points, ``content`` deflated."""
        stream, number = self.new(), self.new()
        self.stream(stream, b"", content)
        self.object(
            number,
            b"<< /Type /Page /Parent %d 0 R /MediaBox [0 0 %.4f %.4f]"
            b" /Resources %d 0 R /Contents %d 0 R >>"
            % (self._pages, *size, self.resources, stream),
        )
        self._kids.append(number)

    def remark(self, words: str) -> None:
        """Write a comment between two objects: no reader shows it, a program may."""
        self._write(b"%% %b\n" % words.encode("ascii"))

    def end(self, title: str, language: str, *, preferences: bytes = b"") -> None:
        """Write the list of pages, the catalogue and the table of contents.

        ``preferences`` ask the viewer for more than to show the title.
        """
        kids = b" ".join(b"%d 0 R" % kid for kid in self._kids)
        self.object(
            self._pages,
            b"<< /Type /Pages /Count %d /Kids [%b] >>" % (len(self._kids), kids),
        )
        self.object(
            self._catalogue,
            b"<< /Type /Catalog /Pages %d 0 R /Lang %b /ViewerPreferences"
            b" << %b/DisplayDocTitle true >> >>"
            % (self._pages, pikepdf.String(language).unparse(), preferences),
        )
        about = self.new()
        self.object(about, b"<< /Title %b >>" % pikepdf.String(title).unparse())
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

    def _write(self, piece: bytes) -> None:
        self._waiting.append(piece)
        self._length += len(piece)
