"""A migration operation: the database itself refuses to change or delete rows.

Code can have mistakes and a console has no manners, so the last word is a trigger.
Migrations may import this module, as they import Django's own operations: its SQL is
frozen; a change of wording gets a new class.

SQLite rebuilds a table when a later migration alters it and forgets its triggers, so
that migration begins with :class:`AppendOnlyOnTheWayBack` and ends with
:class:`AppendOnlyAgain`. A test compares the live triggers with the models that say
``append_only``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.migrations.operations.base import Operation

if TYPE_CHECKING:
    from django.db.backends.base.schema import BaseDatabaseSchemaEditor
    from django.db.backends.utils import CursorWrapper
    from django.db.migrations.state import ProjectState

_SQLITE = """
CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table} BEGIN
  SELECT RAISE(ABORT, 'rows of {table} are never changed or deleted');
END
"""
_POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION kettlebook_refuse_change() RETURNS trigger AS $$
BEGIN
  RAISE EXCEPTION 'rows of % are never changed or deleted', TG_TABLE_NAME;
END $$ LANGUAGE plpgsql
"""
_POSTGRESQL_ROW = """
CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table}
FOR EACH ROW EXECUTE FUNCTION kettlebook_refuse_change()
"""
_POSTGRESQL_TRUNCATE = """
CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION kettlebook_refuse_change()
"""
_SQLITE_TRIGGERS = (
    "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
)
# A condition, or a column the trigger is limited to, would make it another one.
_POSTGRESQL_TRIGGERS = """
SELECT tgname, relname, concat_ws(
  ' ', tgenabled, tgtype, prosrc, pg_get_expr(tgqual, tgrelid), nullif(tgattr::text, '')
)
FROM pg_trigger
JOIN pg_class ON pg_class.oid = tgrelid
JOIN pg_proc ON pg_proc.oid = tgfoid
WHERE NOT tgisinternal AND pg_table_is_visible(tgrelid)
"""
# pg_trigger.tgtype: 1 each row, 2 before, 8 DELETE, 16 UPDATE, 32 TRUNCATE
_ROW_TYPE, _TRUNCATE_TYPE = 1 + 2 + 8 + 16, 2 + 32


def expected_triggers(vendor: str, table: str) -> dict[str, str]:
    """Return, by name, how :func:`live_triggers` must show those of ``table``."""
    if vendor == "sqlite":
        return {
            f"{table}_no_{verb}": _one_line(_SQLITE.format(table=table, verb=verb))
            for verb in ("UPDATE", "DELETE")
        }
    body = _one_line(_POSTGRESQL_FUNCTION.split("$$")[1])
    return {
        f"{table}_no_change": f"O {_ROW_TYPE} {body}",
        f"{table}_no_truncate": f"O {_TRUNCATE_TYPE} {body}",
    }


def live_triggers(cursor: CursorWrapper, vendor: str) -> dict[str, tuple[str, str]]:
    """Return the triggers that the database has now: name → table and what it does."""
    cursor.execute(_SQLITE_TRIGGERS if vendor == "sqlite" else _POSTGRESQL_TRIGGERS)
    return {name: (table, _one_line(text)) for name, table, text in cursor.fetchall()}


def _one_line(text: str) -> str:
    return " ".join(text.split())


class AppendOnly(Operation):
    """Refuse UPDATE, DELETE and TRUNCATE on the table of ``model_name``."""

    reduces_to_sql = True
    reversible = True

    def __init__(self, model_name: str) -> None:
        self.model_name = model_name

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Models are not changed by this operation."""

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Create the triggers."""
        table = to_state.apps.get_model(app_label, self.model_name)._meta.db_table
        if schema_editor.connection.vendor == "sqlite":
            for verb in ("UPDATE", "DELETE"):
                schema_editor.execute(
                    _SQLITE.format(table=table, verb=verb), params=None
                )
            return
        # params=None: a percent sign in the text is one, not a placeholder
        schema_editor.execute(_POSTGRESQL_FUNCTION, params=None)
        schema_editor.execute(_POSTGRESQL_ROW.format(table=table), params=None)
        schema_editor.execute(_POSTGRESQL_TRUNCATE.format(table=table), params=None)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Drop the triggers."""
        table = from_state.apps.get_model(app_label, self.model_name)._meta.db_table
        if schema_editor.connection.vendor == "sqlite":
            for verb in ("UPDATE", "DELETE"):
                schema_editor.execute(f"DROP TRIGGER {table}_no_{verb}")
            return
        schema_editor.execute(f"DROP TRIGGER {table}_no_change ON {table}")
        schema_editor.execute(f"DROP TRIGGER {table}_no_truncate ON {table}")

    def describe(self) -> str:
        """Say what the operation does, for ``migrate --plan``."""
        return f"Rows of {self.model_name} can be added, never changed or deleted"

    @property
    def migration_name_fragment(self) -> str:
        """Name a migration that holds only this operation."""
        return f"{self.model_name.lower()}_append_only"


class AppendOnlyAgain(AppendOnly):
    """Put the triggers back that SQLite lost when a migration rebuilt the table.

    PostgreSQL alters a table in place and keeps them.
    """

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Create the triggers on SQLite."""
        if schema_editor.connection.vendor == "sqlite":
            super().database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Drop them on SQLite, where the way back rebuilds the table once more."""
        if schema_editor.connection.vendor == "sqlite":
            super().database_backwards(app_label, schema_editor, from_state, to_state)


class AppendOnlyOnTheWayBack(AppendOnly):
    """The other half of :class:`AppendOnlyAgain`, first in the same migration.

    On the way back its turn is the last, when SQLite has rebuilt the table.
    """

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Leave the triggers: they go with the table that SQLite rebuilds."""

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Create the triggers on SQLite."""
        if schema_editor.connection.vendor == "sqlite":
            super().database_forwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """Say what the operation does, for ``migrate --plan``."""
        words = super().describe()
        return f"On the way back, {words[0].lower()}{words[1:]}"
