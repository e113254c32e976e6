"""The migrations say what the models say, and go back as they came."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection, models
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.questioner import NonInteractiveMigrationQuestioner
from django.db.migrations.state import ModelState, ProjectState

from producer.append_only import AppendOnly, AppendOnlyOnTheWayBack
from producer.models import User
from tests.database import append_only_models
from tests.producer.test_append_only import guarded

OURS = {"producer", "batches", "quality"}


def missing_changes(state: ProjectState) -> list[str]:
    """Return, in words, what the models have and the migrations do not."""
    loader = MigrationLoader(None)
    detector = MigrationAutodetector(
        loader.project_state(), state, NonInteractiveMigrationQuestioner()
    )
    changes = detector.changes(graph=loader.graph)
    return [
        operation.describe()
        for app, migrations in changes.items()
        if app in OURS
        for migration in migrations
        for operation in migration.operations
    ]


@pytest.mark.any_engine
def test_no_migration_is_missing() -> None:
    assert missing_changes(ProjectState.from_apps(apps)) == []


@pytest.mark.any_engine
def test_control_a_field_without_a_migration_is_noticed() -> None:
    state = ProjectState.from_apps(apps)
    supplier: ModelState = state.models["producer", "supplier"]
    supplier.fields["mood"] = models.TextField(default="")
    assert missing_changes(state) == ["Add field mood to supplier"]


@pytest.mark.any_engine
def test_every_append_only_model_has_the_operation_in_a_migration() -> None:
    loader = MigrationLoader(None)
    guarded = {
        (migration.app_label, operation.model_name)
        for migration in loader.disk_migrations.values()
        for operation in migration.operations
        if isinstance(operation, AppendOnly)
    }
    said = {(m._meta.app_label, m.__name__) for m in append_only_models()}
    assert guarded == said


@pytest.mark.django_db
def test_the_database_is_migrated_to_the_end() -> None:
    executor = MigrationExecutor(connection)
    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []


@pytest.mark.any_engine
def test_the_user_model_is_ours_from_the_first_migration() -> None:
    assert settings.AUTH_USER_MODEL == "producer.User"
    loader = MigrationLoader(None)
    first = loader.project_state(("producer", "0001_initial"))
    assert ("producer", "user") in first.models
    assert User._meta.label == "producer.User"


@pytest.mark.any_engine
def test_the_operation_says_what_it_does_and_names_its_migration() -> None:
    operation = AppendOnly("JournalEntry")
    assert operation.describe() == (
        "Rows of JournalEntry can be added, never changed or deleted"
    )
    assert operation.migration_name_fragment == "journalentry_append_only"


@pytest.mark.any_engine
def test_the_way_back_says_what_it_does() -> None:
    assert AppendOnlyOnTheWayBack("Charge").describe() == (
        "On the way back, rows of Charge can be added, never changed or deleted"
    )


@pytest.mark.django_db(transaction=True)
def test_rows_stay_guarded_when_the_program_goes_a_version_back() -> None:
    everything = guarded()
    executor = MigrationExecutor(connection)
    ends = executor.loader.graph.leaf_nodes()
    first = [(app, "0002_append_only") for app in sorted(OURS)]
    try:
        executor.migrate(first)
        models_then = executor.loader.project_state(first).apps
        of_old = {
            models_then.get_model(key[0], operation.model_name)._meta.db_table
            for key, migration in executor.loader.disk_migrations.items()
            if key in first
            for operation in migration.operations
            if isinstance(operation, AppendOnly)
        }
        back = guarded()
    finally:
        MigrationExecutor(connection).migrate(ends)
    assert "batches_charge" in of_old
    assert back == {table: everything[table] for table in of_old}
    assert guarded() == everything
