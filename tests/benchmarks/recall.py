"""Every bottle of a recall as CSV, JSON and PDF, on both engines: time and memory.

The records are those of ``benchmark trace``: one lot, the water, went into all of the
first 20,000 and 100,000 bottles. Ours is what the site streams, written to a file.

The peer is the driver alone, read into memory by the best text we know, and then the
obvious writer from those values: ``csv.writer``, ``json.dumps`` of the whole, and a
canvas of reportlab with the same lines in as many columns. The shares, which no driver
knows, are given to it. Both must name the same bottles. Asked in turns; medians.

Peak memory is of a process that writes one file and nothing else.
"""

from __future__ import annotations

import csv
import json
import re
import resource
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

from producer.codes import grouped
from tests.benchmarks import Row, trace

FEW, MANY = 20_000, 100_000  # bottles
FORMS = ("csv", "json", "pdf")
TURNS = 5
GOAL, GOAL_MEMORY = 1.5, 1.25
CALL = "import django; django.setup(); from tests.benchmarks import recall; recall."
CODE = re.compile(rb"[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}")
SIZE, STEP, LINES, COLUMNS = 7.5, 9.6, 74, 4  # of the columns on paper, in points

Rows = list[tuple[Any, ...]]
Shares = Mapping[int, tuple[str, bool]]


def rows() -> Iterator[Row]:
    """Measure each form on each engine."""
    for engine in trace.ENGINES:
        memory: dict[tuple[str, int], float] = {}
        for size in (FEW, MANY):
            with trace.records(engine, size) as environment:
                for form in FORMS:
                    peak = trace.run(environment, f"{CALL}write_one({form!r})")
                    memory[form, size] = json.loads(peak)
                if size == MANY:
                    found = trace.run(environment, f"{CALL}measure()").splitlines()[-1]
        for form, (ours, peer) in json.loads(found).items():
            yield Row(
                f"{engine}: s to write {MANY:,} bottles as {form}; peer: the driver and"
                " the obvious writer",
                ours,
                peer,
                f"ratio ≤ {GOAL}",
                ours <= GOAL * peer,
            )
        for form in FORMS:
            many, few = memory[form, MANY], memory[form, FEW]
            yield Row(
                f"{engine}: peak memory in MB, {MANY:,} bottles as {form}; peer:"
                f" {FEW:,}",
                many,
                few,
                f"ratio ≤ {GOAL_MEMORY}: bounded",
                many <= GOAL_MEMORY * few,
            )


def write_one(form: str) -> None:
    """Write one file; print the peak memory in MB."""
    with tempfile.TemporaryFile() as file:
        _ours(form, file)
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)  # noqa: T201


def measure() -> None:
    """Write each form in turns with its peer; print the medians in seconds."""
    from django.db import connection  # noqa: PLC0415

    root = _water()
    peer = trace.PEERS[connection.vendor]()
    shares = _shares(root)
    found = {}
    for form in FORMS:

        def theirs(form: str, file: IO[bytes]) -> None:
            PEERS[form](list(peer.bottles(root.pk)), shares, file)

        _same(form, theirs)
        times: dict[Any, list[float]] = {_ours: [], theirs: []}
        for turn in range(TURNS):
            for way in (_ours, theirs) if turn % 2 else (theirs, _ours):
                times[way].append(_timed(way, form))
        found[form] = (
            statistics.median(times[_ours]),
            statistics.median(times[theirs]),
        )
    print(json.dumps(found))  # noqa: T201


def _ours(form: str, file: IO[bytes]) -> None:
    from quality.documents import recalls  # noqa: PLC0415

    for piece in recalls.list_of(recalls.of(_water()), form, printed_by="Mirja Aalto"):
        file.write(piece)


def _water() -> Any:
    from producer.models import Stock  # noqa: PLC0415

    return Stock.objects.get(code="XL0")


def _shares(root: Any) -> Shares:
    from batches import trace as genealogy  # noqa: PLC0415

    found = genealogy.shares_in(root.pk, genealogy.downstream_ids(root.pk))
    return {pk: (f"{one.percent:.4f}", one.is_least) for pk, one in found.items()}


def _timed(way: Callable[[str, IO[bytes]], None], form: str) -> float:
    with tempfile.TemporaryFile() as file:
        start = time.perf_counter()
        way(form, file)
        file.flush()
        return time.perf_counter() - start


def _same(form: str, theirs: Callable[[str, IO[bytes]], None]) -> None:
    """Raise an error unless both name the same bottles; of open data, word by word."""
    with tempfile.TemporaryDirectory() as directory:
        ours, peer = Path(directory) / "ours", Path(directory) / "peer"
        with ours.open("wb") as file:
            _ours(form, file)
        with peer.open("wb") as file:
            theirs(form, file)
        if READ[form](ours) != READ[form](peer):
            raise AssertionError(f"The peer wrote another {form}.")


def _read_csv(path: Path) -> list[str]:
    lines = path.read_text("utf-8").splitlines()
    return [line for line in lines if not line.startswith("end,")]


def _read_json(path: Path) -> Any:
    return json.loads(path.read_bytes())["bottles"]


def _read_pdf(path: Path) -> list[bytes]:
    import pypdfium2  # noqa: PLC0415

    document = pypdfium2.PdfDocument(path)
    text = [page.get_textpage().get_text_range().encode() for page in document]
    document.close()
    return sorted(CODE.findall(b"\n".join(text)))


READ: Mapping[str, Callable[[Path], Any]] = {
    "csv": _read_csv,
    "json": _read_json,
    "pdf": _read_pdf,
}


# ------------------------------------------------------------------ the obvious writers


def _cells(bottles: Rows, shares: Shares) -> Iterator[tuple[Any, ...]]:
    from batches.documents.labels import bottle_address  # noqa: PLC0415
    from batches.lifecycle import BottleStatus  # noqa: PLC0415

    for code, lot, number, batch_id, batch, status, name, phone, email in bottles:
        is_out = status == "dispatched"
        yield (
            grouped(code),
            bottle_address(code),
            lot,
            number,
            batch,
            BottleStatus(status).label,
            name if is_out else "on the premises",
            phone if is_out else "",
            email if is_out else "",
            *shares[batch_id],
        )


def csv_of(bottles: Rows, shares: Shares, file: IO[bytes]) -> None:
    """Write a CSV by csv.writer."""
    from quality.documents.bottle_lists import COLUMNS as NAMES  # noqa: PLC0415

    with open(file.fileno(), "w", newline="", closefd=False) as text:
        writer = csv.writer(text)
        writer.writerow(NAMES)
        for *cells, is_least in _cells(bottles, shares):
            writer.writerow([*cells, "yes" if is_least else "no"])


def json_of(bottles: Rows, shares: Shares, file: IO[bytes]) -> None:
    """Write a JSON document by json.dumps."""
    from quality.documents.bottle_lists import COLUMNS as NAMES  # noqa: PLC0415

    names = list(NAMES.values())
    found = []
    for cells in _cells(bottles, shares):
        facts = dict(zip(names, cells, strict=True))
        found.append({**facts, "share_percent": float(facts["share_percent"])})
    file.write(json.dumps({"bottles": found}, ensure_ascii=False).encode())


def pdf_of(bottles: Rows, shares: Shares, file: IO[bytes]) -> None:
    """Draw the list on reportlab's canvas: a line for each bottle and heading."""
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415

    for name in ("DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    canvas = Canvas(file, pageCompression=1)
    used = 0

    def line(font: str, text: str, *, box: bool = False) -> None:
        nonlocal used
        if used == LINES * COLUMNS:
            canvas.showPage()
            used = 0
        column, place = divmod(used, LINES)
        x, y = 60 + column * 124, 770 - place * STEP
        canvas.setFont(font, SIZE)
        if box:
            canvas.rect(x - 9, y, 5, 5)
        canvas.drawString(x, y, text)
        used += 1

    last: tuple[Any, ...] = ()
    for cells, row in zip(_cells(bottles, shares), bottles, strict=True):
        code, _, lot, number, batch, status, holder, *_, percent, _ = cells
        if last[:1] != (lot,):
            line("DejaVuSans-Bold", lot)
            line("DejaVuSans", f"of batch {batch}, {percent} %")
        if last != (lot, status, row[6]):
            line("DejaVuSans", f"{holder}: {status}")
        last = (lot, status, row[6])
        line("DejaVuSansMono", f"{number:>5} {code}", box=True)
    canvas.save()


PEERS: Mapping[str, Callable[[Rows, Shares, IO[bytes]], None]] = {
    "csv": csv_of,
    "json": json_of,
    "pdf": pdf_of,
}
