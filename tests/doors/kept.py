"""A world that is built once and put back, row by row, for each further test.

Building it takes a second of real services; some fifty tests start from it.
"""

from __future__ import annotations

import pickle
from pathlib import Path

from django.conf import settings
from django.core.management.color import no_style
from django.db import connection
from django.db.models import Model

from producer.models import JournalHead
from tests.database import our_models, row_counts
from tests.doors import world as worlds
from tests.doors.world import World

_KEPT: dict[str, bytes] = {}


def world() -> World:
    """Return the world, in the database and with its uploaded files."""
    known = _KEPT.get(connection.vendor)
    if known is None:
        made = worlds.build()
        _KEPT[connection.vendor] = pickle.dumps((made, _rows(), _files()))
        return made
    restored, rows, files = pickle.loads(known)  # noqa: S301 - our own, of this run
    _put_back(rows)
    for name, content in files.items():
        path = Path(settings.MEDIA_ROOT, name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    assert isinstance(restored, World)
    return restored


def _rows() -> dict[type[Model], list[Model]]:
    return {model: list(model._base_manager.all()) for model in our_models()}


def _put_back(rows: dict[type[Model], list[Model]]) -> None:
    for model, known in rows.items():
        if model is JournalHead:  # put there by a migration
            known[0].save(force_update=True)
        else:
            for row in known:
                # raw: as it was, with its own time of entry instead of a new one
                row.save_base(raw=True, force_insert=True)
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(rows)):
            cursor.execute(statement)
    assert row_counts() == {model._meta.label: len(rows[model]) for model in rows}


def _files() -> dict[str, bytes]:
    root = Path(settings.MEDIA_ROOT)
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in root.rglob("*")
        if path.is_file()
    }
