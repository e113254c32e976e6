"""``manage.py transfer --to ADDRESS``: all records into an empty PostgreSQL database.

From SQLite to PostgreSQL when a premises grows; the other way works as well. Nothing
changes where the records come from, and where they go nothing shows until every row
was read back and compared.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.management import (
    BaseCommand,
    CommandError,
    CommandParser,
    call_command,
)
from django.core.management.color import no_style
from django.db import (
    DataError,
    IntegrityError,
    connection,
    connections,
    models,
    transaction,
)
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

from producer import database_url
from producer.management.commands.backup import is_begun
from producer.models import JournalHead
from producer.serving import explained

TARGET = "target"
ROWS = 500  # read, written and compared at a time, so that memory stays bounded
PROGRESS = 20_000
# Django fills the first two itself; a session ends, and people sign in anew.
NOT_COPIED = {"contenttypes.ContentType", "auth.Permission", "sessions.Session"}
NOT_RECORDS = {"django_migrations", "django_content_type", "auth_permission"}

Row = tuple[Any, ...]


class Command(BaseCommand):
    """Copy, compare, and have the copy verified."""

    help = (
        "Copy all records into an empty PostgreSQL database, compare every row and"
        " verify the copy. Uploads stay where they are. Stop “serve” first."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the address of the empty database."""
        parser.add_argument(
            "--to",
            required=True,
            metavar="DATABASE_URL",
            help="like postgres://user@host/name. Others on this computer can read what"
            " you type here: leave the password to PGPASSWORD or ~/.pgpass.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it, or leave the target without a row."""
        address = options["to"]
        with explained():
            require_records()
            target = open_target(address)
            try:
                require_empty(target)
                self._say("Laying the tables …")
                call_command("migrate", database=TARGET, verbosity=0, interactive=False)
                rows = self._copy_all(target)
                head = JournalHead.objects.using(TARGET).get(pk=1)
            finally:
                target.close()
        self._say(f"{rows:,} rows copied, every one read back and the same.")
        self._say(f"The journal ends at row {head.sequence} with {head.hash}.")
        self._verify(address)
        self._say(next_step(target))

    def _copy_all(self, target: BaseDatabaseWrapper) -> int:
        """Copy and compare in one transaction; return how many rows there are."""
        try:
            with transaction.atomic(), transaction.atomic(using=TARGET):
                hold_still()
                for model in copied_models():
                    self._copy(model, target)
                self._say("Comparing every row …")
                rows = sum(compared(model) for model in copied_models())
                reset_sequences(target)
        except (IntegrityError, DataError) as error:
            raise CommandError(
                f"That database does not take a row: {str(error).strip()} Nothing was"
                " kept of the copy."
            ) from error
        return rows

    def _copy(self, model: type[models.Model], target: BaseDatabaseWrapper) -> None:
        written = 0
        if model is JournalHead:  # laid with the tables
            JournalHead.objects.using(TARGET).all().delete()
        for rows in pieces(model, "default"):
            insert(model, rows, target)
            written += len(rows)
            if written % PROGRESS == 0:
                self._say(f"  {written:,} of {model._meta.verbose_name_plural} …")
        if written:
            self._say(f"  {written:>9,} {model._meta.verbose_name_plural}")

    def _verify(self, address: str) -> None:
        self._say("Verifying the copy …")
        done = subprocess.run(  # noqa: S603 - ourselves
            [sys.executable, str(settings.BASE_DIR / "manage.py"), "verify"],
            env={**os.environ, "DATABASE_URL": address},
            capture_output=True,
            text=True,
            check=False,
        )
        for line in (done.stdout + done.stderr).splitlines():
            self._say(f"  {line}")
        if done.returncode:
            raise CommandError(
                "The copy does not verify, so go on with the records you have. Type:"
                " python3 manage.py verify"
            )

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def require_records() -> None:
    """Raise :class:`CommandError` unless there are records of this very version."""
    if not is_begun():
        raise CommandError(
            f"There are no records in {settings.DATA_DIR}. Name the directory that has"
            " them with KETTLEBOOK_DATA, then repeat the command."
        )
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError(
            "These records are older than this program. Start “serve” once, which backs"
            " them up and brings them up to date; stop it, then repeat the command."
        )


def open_target(address: str) -> BaseDatabaseWrapper:
    """Return a connection to the database that is to be filled."""
    try:
        facts = database_url.parse(address)
    except (ValueError, KeyError) as error:
        raise CommandError(
            f"--to takes an address like postgres://user@host/name: {error}."
        ) from error
    if facts["ENGINE"].endswith("sqlite3"):
        facts["OPTIONS"] = settings.SQLITE_OPTIONS
    elif not facts["ENGINE"].endswith("postgresql"):
        raise CommandError(
            "Records are kept in PostgreSQL or SQLite. Give an address like"
            " postgres://user@host/name."
        )
    known = connections.configure_settings({"default": {}, TARGET: facts})
    connections.settings[TARGET] = known[TARGET]
    return connections[TARGET]


def require_empty(target: BaseDatabaseWrapper) -> None:
    """Raise :class:`CommandError` where there is a row of anybody's.

    Tables without rows may be there: a transfer that was broken off left them.
    """
    with target.cursor() as cursor:
        tables = set(target.introspection.table_names(cursor))
        known = {
            model._meta.db_table for model in apps.get_models(include_auto_created=True)
        }
        if foreign := sorted(tables - known - NOT_RECORDS):
            raise CommandError(
                f"That database has tables of something else: {', '.join(foreign)}."
                " Make an empty one and give its address."
            )
        for table in sorted(tables - NOT_RECORDS):
            where = " WHERE sequence > 0" if table == JournalHead._meta.db_table else ""
            cursor.execute(f'SELECT 1 FROM "{table}"{where} LIMIT 1')  # noqa: S608 - ours
            if cursor.fetchone():
                raise CommandError(
                    f"That database has rows in {table} already. Nothing was changed"
                    " there. Make an empty one and give its address."
                )


def hold_still() -> None:
    """Let nobody write here until the transaction ends, and see one moment of it."""
    if connection.vendor == "sqlite":
        return  # the transaction is IMMEDIATE
    with connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        cursor.execute(f"LOCK TABLE {JournalHead._meta.db_table} IN EXCLUSIVE MODE")


def copied_models() -> list[type[models.Model]]:
    """Return the models whose rows are copied; foreign keys are checked at the end."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed
        and not model._meta.proxy
        and model._meta.label not in NOT_COPIED
    ]


def columns_of(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    """Return the columns of the model's own table."""
    return list(model._meta.local_concrete_fields)


def pieces(model: type[models.Model], alias: str) -> Iterator[list[Row]]:
    """Yield the rows of a table as Python values, some at a time, by primary key."""
    names = [field.attname for field in columns_of(model)]
    query = model._default_manager.using(alias).order_by("pk").values_list(*names)
    rows: list[Row] = []
    for row in query.iterator(chunk_size=ROWS):
        rows.append(row)
        if len(rows) == ROWS:
            yield rows
            rows = []
    if rows:
        yield rows


def insert(
    model: type[models.Model], rows: list[Row], target: BaseDatabaseWrapper
) -> None:
    """Write rows as they are: their own keys and their own times of entry."""
    fields = columns_of(model)
    quote = target.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    with target.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({places})",  # noqa: S608 - names of ours
            [
                [
                    field.get_db_prep_save(value, connection=target)
                    for field, value in zip(fields, row, strict=True)
                ]
                for row in rows
            ],
        )


def compared(model: type[models.Model]) -> int:
    """Return how many rows both sides hold; raise if any differs or is missing."""
    here, there = pieces(model, "default"), pieces(model, TARGET)
    count = 0
    for rows in here:
        if next(there, []) != rows:
            raise CommandError(_differs(model))
        count += len(rows)
    if next(there, []):
        raise CommandError(_differs(model))
    return count


def _differs(model: type[models.Model]) -> str:
    return (
        f"The copy of {model._meta.db_table} is not the same as the original. Nothing"
        " was kept of it. Type: python3 manage.py verify"
    )


def reset_sequences(target: BaseDatabaseWrapper) -> None:
    """Let the next row of each table get a key of its own."""
    with target.cursor() as cursor:
        for statement in target.ops.sequence_reset_sql(no_style(), copied_models()):
            cursor.execute(statement)


def next_step(target: BaseDatabaseWrapper) -> str:
    """Say what to set, so that the copy is used from now on."""
    data = settings.DATA_DIR
    if target.vendor == "sqlite":
        return (
            f"Now name the directory of that file with KETTLEBOOK_DATA, copy"
            f" {Path(settings.MEDIA_ROOT)} and {data / 'secret.key'} into it, leave"
            " DATABASE_URL unset, and start “serve”."
        )
    return (
        "Now set DATABASE_URL to that address wherever “serve” is started, keep"
        f" KETTLEBOOK_DATA as it is ({data}: uploads and key stay there), and start"
        " “serve”; everybody signs in anew. From then on record nothing in the old"
        f" database. Keep {settings.DATABASES['default']['NAME']} as it is, as a"
        " backup from before."
    )
