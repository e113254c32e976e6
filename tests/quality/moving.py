"""What a test of ``transfer`` does on either side, each in a process of its own.

``build`` fills the database that the environment names, ``look`` tells what it holds,
``act`` records one more thing. Each prints JSON.
"""

from __future__ import annotations

import hashlib
import json
import sys
from decimal import Decimal
from typing import Any

from django.db import DatabaseError, transaction

from batches.models import Batch, Charge
from batches.services import cooking
from producer import journal
from producer.models import JournalEntry, JournalHead, Supplier, User
from producer.services import registers
from quality.models import Signature
from tests import make
from tests.database import append_only_models, row_counts, row_values, run
from tests.doors import world as worlds

NAME = "Ölmühle Σίμος 油 ½"
NOTE = 'Erste Zeile – µ, “ß”\r\nzweite\n\n\tvierte; it\'s 100 % oil \\ and "quoted"'


def build() -> dict[str, Any]:
    """Make a premises with something of everything, and a signature with a reason."""
    world = worlds.build()
    crew = make.Crew(world.accounts["maker"], world.accounts["reviewer"])
    registers.save(by=crew.maker, entry=Supplier(name=NAME, note=NOTE))
    make.sign(crew.reviewer, world.waiting, reason=NOTE)
    return look()


def look() -> dict[str, Any]:
    """Tell what every table holds, and where the journal ends."""
    head = JournalHead.objects.get()
    signature = Signature.objects.latest("pk")
    return {
        "counts": dict(row_counts()),
        "values": row_values(),
        "head": [head.sequence, head.hash],
        "faults": list(journal.faults()),
        "note": Supplier.objects.get(name=NAME).note,
        "signature": [
            signature.record_sha256,
            hashlib.sha256(signature.record.encode()).hexdigest(),
            signature.reason,
            signature.entered_at.isoformat(),
        ],
        "charges": [
            [
                row.gross_mg,
                str(row.figure),
                str(row.figure_uncertainty),
                row.entered_at.isoformat(),
            ]
            for row in Charge.objects.order_by("pk")
        ],
        "newest": JournalEntry.objects.latest("sequence").previous_hash,
        "unguarded": unguarded(),
    }


def unguarded() -> list[str]:
    """Return the append-only tables that let a row be changed or deleted."""
    found = []
    for model in append_only_models():
        table, key = model._meta.db_table, model._meta.pk.column
        for sql in (
            f'UPDATE "{table}" SET "{key}" = "{key}"',  # noqa: S608
            f'DELETE FROM "{table}"',  # noqa: S608
        ):
            try:
                with transaction.atomic():
                    touched = run(sql)
                    transaction.set_rollback(True)
            except DatabaseError as error:
                if "never changed" not in str(error):
                    raise
            else:
                found += [sql] if touched else []
    return found


def act() -> dict[str, Any]:
    """Record one more thing, in the register and in the pot."""
    maker = User.objects.get(username="mirja.aalto")
    make.supplier(maker, "Another supplier")
    cooking.record_reading(
        by=maker,
        batch=Batch.objects.filter(status="in_process").get(),
        characteristic="temperature",
        value=Decimal("70.5"),
        instrument=make.thermometer(maker),
    )
    return look()


def main(what: str) -> None:
    """Do one of the three and print what it tells."""
    told = {"build": build, "look": look, "act": act}[what]()
    sys.stdout.write(json.dumps(told))
