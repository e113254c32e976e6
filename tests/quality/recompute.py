"""Compute again what an export says is true, by its README.txt and nothing else.

Standard library only, nothing of Kettlebook: run as ``python3 -I recompute.py FOLDER``.
Prints what it counted; each thing that does not hold is a line, and the exit code is 1.
"""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn


def main(folder: Path) -> int:
    """Look at everything, say what was seen and what does not hold."""
    faults = [
        *checksums(folder),
        *signatures(folder),
        *deviations(folder),
        *attachments(folder),
        *journal(folder),
    ]
    for fault in faults:
        say(fault)
    say(f"{len(faults)} faults")
    return 1 if faults else 0


def checksums(folder: Path) -> Iterator[str]:
    """Every file but the list itself is in the list, with its SHA-256."""
    listed = {}
    for line in (folder / "SHA256SUMS").read_text("utf-8").splitlines():
        digest, name = line.split("  ", 1)
        listed[name] = digest
    there = {
        str(path.relative_to(folder)): path
        for path in folder.rglob("*")
        if path.is_file() and path.name != "SHA256SUMS"
    }
    for name in sorted(set(listed) ^ set(there)):
        yield f"{name}: only in the list, or only in the folder"
    for name in sorted(set(listed) & set(there)):
        if sha256(there[name].read_bytes()) != listed[name]:
            yield f"{name}: not the bytes of SHA256SUMS"
    say(f"{len(there)} files")


def signatures(folder: Path) -> Iterator[str]:
    """Each signature has its record: the bytes hash to it, and they are canonical.

    A photograph of a paper sheet that a record names is the one in the folder.
    """
    rows = table(folder, "signatures")
    papers = {one["id"]: one["attachment_sha256"] for one in sheets(folder)}
    for row in rows:
        path = folder / "batches" / row["batch"] / row["record_file"]
        yield from of_record(path, row["record_sha256"])
        record = json.loads(path.read_text("utf-8"))
        said = (record["facts"]["batch"], record["decision"]["printed_name"])
        if said != (row["batch"], row["printed_name"]):
            yield f"{path.name}: is not what tables/signatures.csv says"
        for sheet in record["facts"].get("sheets", []):
            if papers.get(str(sheet["id"])) != (sheet["photograph_sha256"] or ""):
                yield f"{path.name}: sheet {sheet['id']} has another photograph"
    known = {json.loads(act["after"]).get("record_sha256") for act in acts(folder)}
    for row in rows:
        if row["record_sha256"] not in known:
            yield f"{row['record_file']}: the journal does not know this signature"
    kept = {path.name for path in folder.glob("batches/*/signature-*.json")}
    for name in sorted(kept ^ {row["record_file"] for row in rows}):
        yield f"{name}: a record without a signature, or the other way round"
    say(f"{len(rows)} signatures")


def sheets(folder: Path) -> list[dict[str, str]]:
    """Read the paper sheets that entries were copied from."""
    return table(folder, "paper_sheets")


def deviations(folder: Path) -> Iterator[str]:
    """Each closed deviation has its record, too."""
    closed = {
        row["deviation"]: row["record_sha256"]
        for row in table(folder, "deviation_steps")
        if row["record_sha256"]
    }
    for code, digest in closed.items():
        yield from of_record(folder / "deviations" / f"{code}.json", digest)
    say(f"{len(closed)} closed deviations")


def of_record(path: Path, digest: str) -> Iterator[str]:
    """Hash the bytes as they are, then as they must be written."""
    data = path.read_bytes()
    if sha256(data) != digest:
        yield f"{path.name}: its SHA-256 is not the one that was signed"
    parsed = json.loads(data.decode("utf-8"), parse_float=no_float)
    if canonical(parsed) != data:
        yield f"{path.name}: is not in the canonical form"


def attachments(folder: Path) -> Iterator[str]:
    """Each paper is what was noted when it came in."""
    noted = {
        row["attachment_sha256"]: row["attachment"]
        for row in (*table(folder, "certificates"), *table(folder, "paper_sheets"))
        if row["attachment_sha256"]
    }
    for digest, name in noted.items():
        path = folder / "attachments" / f"{digest[:12]}-{name}"
        if sha256(path.read_bytes()) != digest:
            yield f"{path.name}: not the bytes that came in"
    say(f"{len(noted)} papers")


def journal(folder: Path) -> Iterator[str]:
    """Each row hashes to its hash, and neighbours are bound to each other."""
    rows = acts(folder)
    for row in rows:
        content = {name: value for name, value in row.items() if name != "hash"}
        if sha256(canonical(content)) != row["hash"]:
            yield f"journal row {row['sequence']}: its hash does not fit it"
    neighbours = [
        (before, row)
        for before, row in itertools.pairwise(rows)
        if row["sequence"] == before["sequence"] + 1
    ]
    for before, row in neighbours:
        if row["previous_hash"] != before["hash"]:
            yield f"journal row {row['sequence']}: does not follow its neighbour"
    head = json.loads((folder / "journal" / "head.json").read_text("utf-8"))
    ends = [(row["sequence"], row["hash"]) for row in rows[-1:]]
    for sequence, digest in ends:
        there = sequence == head["sequence"]
        if sequence > head["sequence"] or (there and digest != head["hash"]):
            yield "the journal does not end as journal/head.json says"
    say(f"{len(rows)} journal rows, {len(neighbours)} bound to the row before")


def acts(folder: Path) -> list[dict[str, Any]]:
    """Read the rows of the journal extract."""
    lines = (folder / "journal" / "extract.jsonl").read_text("utf-8").splitlines()
    return [json.loads(line) for line in lines]


def table(folder: Path, name: str) -> list[dict[str, str]]:
    """Read a table as lines by the names of their columns."""
    path = folder / "tables" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def canonical(value: Any) -> bytes:
    """Write JSON in the form that README.txt describes."""
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return text.encode("utf-8")


def sha256(data: bytes) -> str:
    """Return the SHA-256 in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def say(line: str) -> None:
    """Write a line."""
    sys.stdout.write(f"{line}\n")


def no_float(text: str) -> NoReturn:
    """Refuse a number with decimals: there is none in a record."""
    raise ValueError(f"a record has whole numbers only, and this has {text}")


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
