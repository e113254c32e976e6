"""SQLite files with their tables laid: migrated once in a run, copied ever after.

To lay them takes Django a quarter of a minute, nearly all of it for putting together
again and again what the models once were. That the migrations do what they say is shown
by the one file and by ``tests/house/test_migrations.py``.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from django.conf import settings

LAID = "KETTLEBOOK_LAID"  # the directory of the run; see tests/settings.py
NAME = "records.sqlite3"  # of the file in a directory of records
PATIENCE = 600  # seconds


def lay(file: Path) -> None:
    """Let ``file`` be a database with all tables and no record, whatever it was."""
    place = Path(os.environ[LAID])
    with (place / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # the first process lays, the others wait
        if not (place / NAME).exists():
            _migrate(place)
    for rest in ("-wal", "-shm"):
        file.with_name(file.name + rest).unlink(missing_ok=True)
    shutil.copyfile(place / NAME, file)


def _migrate(place: Path) -> None:
    with tempfile.TemporaryDirectory(dir=place) as made:
        environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("KETTLEBOOK_", "DATABASE_"))
        }
        environment |= {
            "KETTLEBOOK_DATA": made,
            "DJANGO_SETTINGS_MODULE": "producer.settings",
        }
        subprocess.run(
            [sys.executable, "manage.py", "migrate", "--verbosity", "0"],
            cwd=settings.BASE_DIR,
            env=environment,
            check=True,
            timeout=PATIENCE,
        )
        # Ended well, it has left all in the file and nothing beside it.
        assert not Path(made, f"{NAME}-wal").exists()
        Path(made, NAME).rename(place / NAME)
