"""The objects inside a PDF, enough to look at what PDF/A asks of its structure."""

from __future__ import annotations

import dataclasses
import re
import zlib

HEAD = re.compile(rb"(?:^|[\r\n])(\d+) 0 obj[\r\n ]*")
NAME = rb"/%b(?![A-Za-z0-9])[ \r\n]*(/?[^/<>\[\]()\r\n ]+)"


@dataclasses.dataclass(frozen=True)
class Thing:
    """An object: what it says of itself, and its stream, decoded."""

    words: bytes
    stream: bytes = b""

    def value(self, name: str) -> bytes:
        """Return a simple value of its dictionary, such as ``/Flate``; or nothing."""
        found = re.search(NAME % re.escape(name.encode()), self.words)
        return found.group(1) if found else b""

    def reference(self, name: str) -> int:
        """Return the number of the object that a key points to."""
        found = re.search(
            rb"/%b(?![A-Za-z0-9])[ \r\n]*\[?[ ]*(\d+) 0 R" % name.encode(), self.words
        )
        assert found, f"no reference /{name}"
        return int(found.group(1))


def objects(pdf: bytes) -> dict[int, Thing]:
    """Return every object by its number, those in object streams too."""
    found = {int(head.group(1)): _thing(pdf, head.end()) for head in HEAD.finditer(pdf)}
    for thing in list(found.values()):
        if thing.value("Type") == b"/ObjStm":
            found.update(_unpacked(thing))
    return found


def _thing(pdf: bytes, start: int) -> Thing:
    end = pdf.index(b"endobj", start)
    opened = pdf.find(b"stream", start, end)
    if opened < 0:
        return Thing(pdf[start:end])
    words = pdf[start:opened]
    data = pdf[opened + len(b"stream") :].lstrip(b"\r")[1:]
    length = int(Thing(words).value("Length"))
    data = data[:length]
    if Thing(words).value("Filter") == b"/FlateDecode":
        data = zlib.decompress(data)
    return Thing(words, data)


def _unpacked(packed: Thing) -> dict[int, Thing]:
    first, count = int(packed.value("First")), int(packed.value("N"))
    heads = [int(word) for word in packed.stream[:first].split()][: 2 * count]
    starts = [first + offset for offset in heads[1::2]]
    ends = [*starts[1:], len(packed.stream)]
    return {
        number: Thing(packed.stream[start:end])
        for number, start, end in zip(heads[::2], starts, ends, strict=True)
    }
