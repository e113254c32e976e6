"""Every row answers to the journal: what no act wrote is found in every table."""

from __future__ import annotations

import contextlib
import hashlib
import io
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth import authenticate
from django.core.management import CommandError, call_command
from django.db import connection, models, transaction
from django.test import override_settings

from producer import journal, written
from producer.models import JournalEntry, Supplier, User
from producer.models.journal import GONE, WRITTEN
from producer.services import people, registers
from producer.written import noted_models
from quality.management.commands import verify as command
from quality.services.verification import CHECKS, Remark, database, rows
from quality.services.verification.checks import quiet
from quality.services.verification.numbers import Numbers
from tests import make
from tests.database import append_only_models, run, without_triggers
from tests.producer.test_append_only import fill_every_table

APPEND_ONLY = [model for model in append_only_models() if model is not JournalEntry]


def faults() -> list[str]:
    return [text for text in rows.faults(quiet) if not isinstance(text, Remark)]


def remarks() -> list[str]:
    return [text for text in rows.faults(quiet) if isinstance(text, Remark)]


def copy_of_newest(model: type[models.Model]) -> dict[str, Any]:
    """Return the columns of the newest row, changed where they must be unique."""
    newest = model._default_manager.order_by("-pk").values().first()
    assert newest is not None, f"no row of {model.__name__} to copy"
    copy = {**newest, model._meta.pk.attname: newest[model._meta.pk.attname] + 1000}
    for field in model._meta.concrete_fields:
        if field.attname in _unique(model) and field.attname in copy:
            copy[field.attname] = _another(field, copy[field.attname])
    if copy.get("reason") == "":
        copy["reason"] = "copied"  # several tables want one of a second row
    return copy


def insert(model: type[models.Model], values: dict[str, Any]) -> None:
    """Add a row by SQL alone."""
    prepared = {
        field.column: field.get_db_prep_save(values[field.attname], connection)
        for field in model._meta.concrete_fields
    }
    names = ", ".join(f'"{name}"' for name in prepared)
    marks = ", ".join(["%s"] * len(prepared))
    run(
        f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES ({marks})',  # noqa: S608
        *prepared.values(),
    )


def _unique(model: type[models.Model]) -> set[str]:
    fields = {
        field.attname
        for field in model._meta.concrete_fields
        if field.unique and not field.primary_key
    }
    last = {
        rule.fields[-1]
        for rule in model._meta.constraints
        if isinstance(rule, models.UniqueConstraint)
    }
    fields |= {
        field.attname for field in model._meta.concrete_fields if field.name in last
    }
    return fields


def _another(field: models.Field[Any, Any], value: Any) -> Any:
    """Return another value; a reference then leads nowhere, as by a careless hand."""
    if value is None or field.null:
        return None
    return value + 1000 if isinstance(value, int) else f"{value[:-1]}?"


@pytest.fixture
def something_of_everything(crew: make.Crew) -> None:
    """Return records with a row in every append-only table that the builders fill."""
    fill_every_table(crew)


@pytest.mark.django_db
def test_a_row_put_into_any_append_only_table_by_hand_is_found(
    something_of_everything: None,
) -> None:
    assert faults() == []
    assert remarks() == []
    tried = set()
    for model in APPEND_ONLY:
        if not model._default_manager.exists():
            continue
        tried.add(model.__name__)
        with transaction.atomic():
            copy = copy_of_newest(model)
            insert(model, copy)
            found = faults()
            transaction.set_rollback(True)
        words = str(model._meta.verbose_name)
        start = f"{words[0].upper()}{words[1:]} {copy[model._meta.pk.attname]}"
        assert len(found) == 1, (model, found)
        assert found[0].startswith(start)
        assert found[0].endswith("was not written by any act in the journal.")
    assert faults() == []
    # What the builders do not make yet must not shrink the proof unseen.
    assert tried >= {model.__name__ for model in APPEND_ONLY}


@pytest.mark.django_db
def test_a_row_taken_out_of_any_table_is_found(something_of_everything: None) -> None:
    for model in noted_models():
        newest = model._default_manager.order_by("-pk").first()
        if newest is None:
            continue
        table, key = model._meta.db_table, model._meta.pk.column
        with transaction.atomic():
            with nobody_watching():
                run(f'DELETE FROM "{table}" WHERE "{key}" = %s', newest.pk)  # noqa: S608
            found = [text for text in faults() if " is gone; journal row " in text]
            transaction.set_rollback(True)
        words = str(model._meta.verbose_name)
        assert found, model
        assert found[0].startswith(f"{words[0].upper()}{words[1:]} {newest.pk} is gone")


@contextlib.contextmanager
def nobody_watching() -> Iterator[None]:
    """Lift triggers and foreign keys until the transaction is rolled back."""
    if connection.vendor == "postgresql":
        run("SET LOCAL session_replication_role = replica")
        yield
        return
    run("PRAGMA defer_foreign_keys = ON")
    with without_triggers():
        yield


@pytest.mark.django_db
def test_a_register_answers_to_its_newest_act(crew: make.Crew) -> None:
    supplier = registers.save(by=crew.maker, entry=Supplier(name="Oil mill"))
    assert faults() == []
    run("UPDATE producer_supplier SET phone = '0' WHERE id = %s", supplier.pk)
    number = JournalEntry.objects.latest("sequence").sequence
    (fault,) = faults()
    assert fault == (
        f"Supplier {supplier.pk}: phone is 0, but journal row {number} (supplier"
        " registered, Oil mill) wrote nothing."
    )


@pytest.mark.django_db
def test_a_row_that_is_back_after_an_act_deleted_it_is_found(crew: make.Crew) -> None:
    supplier = Supplier.objects.create(name="Oil mill")
    values = Supplier.objects.filter(pk=supplier.pk).values().get()
    with transaction.atomic():
        supplier.delete()
        entry = make_entry(crew)
    assert GONE in entry.after
    assert faults() == []
    names = ", ".join(values)
    run(
        f"INSERT INTO producer_supplier ({names}) VALUES"  # noqa: S608
        f" ({', '.join(['%s'] * len(values))})",
        *values.values(),
    )
    number = entry.sequence
    assert faults() == [
        f"Supplier {values['id']} is there, but journal row {number} deleted it."
    ]


def make_entry(crew: make.Crew) -> JournalEntry:
    return journal.write(
        by=crew.maker, act="tried", subject=crew.maker, label="a trial"
    )


@pytest.mark.django_db
def test_what_was_rolled_back_is_in_no_act(crew: make.Crew) -> None:
    with transaction.atomic():
        with transaction.atomic():
            Supplier.objects.create(name="Nobody")
            transaction.set_rollback(True)
        kept = Supplier.objects.create(name="Oil mill")
        entry = make_entry(crew)
    assert f'"rows":[[{kept.pk},' in entry.after
    assert "Nobody" not in entry.after
    assert make_entry_in_atomic(crew).after == "{}"


def make_entry_in_atomic(crew: make.Crew) -> JournalEntry:
    with transaction.atomic():
        return make_entry(crew)


@pytest.mark.django_db
def test_an_append_only_row_named_by_two_acts_is_found(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    change = lot.status_changes.get()
    with transaction.atomic():
        written.note(change)
        make_entry(crew)
    first = JournalEntry.objects.get(act="raw lot released").sequence
    (fault,) = faults()
    assert fault == (
        f"Lot status change {change.pk} is written once and never again, but journal"
        f" row {first} is not the only one that wrote it."
    )


@pytest.mark.django_db
def test_the_facts_of_an_act_do_not_show_the_rows_beside_them(crew: make.Crew) -> None:
    registers.save(by=crew.maker, entry=Supplier(name="Oil mill"))
    entry = JournalEntry.objects.latest("sequence")
    assert WRITTEN in entry.after
    assert WRITTEN not in entry.after_values
    assert entry.after_values["name"] == "Oil mill"


@pytest.mark.django_db
def test_a_password_put_there_by_hand_is_found_and_never_kept(
    crew: make.Crew, owner: User
) -> None:
    stored = User.objects.get(pk=owner.pk).password
    assert not JournalEntry.objects.filter(after__contains=stored).exists()
    run(
        "UPDATE producer_user SET password = %s WHERE id = %s",
        User.objects.get(pk=crew.maker.pk).password,
        owner.pk,
    )
    (fault,) = faults()
    assert fault.startswith(f"User {owner.pk}: the password is not the one of journal")


@pytest.mark.django_db
def test_signing_in_leaves_a_password_as_it_is_kept(owner: User) -> None:
    stored = owner.password
    stronger = [
        "django.contrib.auth.hashers.ScryptPasswordHasher",
        *settings.PASSWORD_HASHERS,
    ]
    with override_settings(PASSWORD_HASHERS=stronger):
        assert owner.check_password(make.PASSWORD)
        assert not owner.check_password("another")
        assert authenticate(None, username=owner.username, password=make.PASSWORD)
    owner.refresh_from_db()
    assert owner.password == stored
    assert [*faults(), *remarks()] == []


@pytest.mark.django_db
def test_control_a_changed_password_by_the_service_is_no_fault(owner: User) -> None:
    people.change_password(
        by=owner,
        user=owner,
        current_password=make.PASSWORD,
        password="a longer one, for a change",
    )
    assert faults() == []


@pytest.mark.django_db
def test_a_column_that_came_later_is_not_asked_for(crew: make.Crew) -> None:
    supplier = registers.save(by=crew.maker, entry=Supplier(name="Oil mill"))
    entry = JournalEntry.objects.latest("sequence")
    assert '"phone"' in entry.after
    without = entry.after.replace('"phone"', '"fax"')
    with without_triggers():
        run(
            "UPDATE producer_journalentry SET after = %s WHERE sequence = %s",
            without,
            entry.sequence,
        )
    run("UPDATE producer_supplier SET phone = '0' WHERE id = %s", supplier.pk)
    assert faults() == []


@pytest.mark.parametrize(
    ("column", "value", "plain"),
    [
        ("amount", 12, 12),
        ("is_void", False, False),
        ("value", Decimal("9.400"), "9.400"),
        ("note", "short", "short"),
        ("net_mg", [1, 2], "[1,2]"),
        (
            "record",
            "x" * 201,
            {"length": 201, "sha256": hashlib.sha256(b"x" * 201).hexdigest()},
        ),
        (
            "password",
            "short",
            {"length": 5, "sha256": hashlib.sha256(b"short").hexdigest()},
        ),
        ("nothing", None, None),
    ],
)
@pytest.mark.any_engine
def test_a_value_is_kept_as_plain_json(column: str, value: object, plain: Any) -> None:
    kept = written.plain(column, value)
    assert kept == plain
    assert type(kept) is type(plain)


@pytest.mark.any_engine
def test_numbers_far_apart_and_below_zero_are_kept_apart() -> None:
    seen = Numbers()
    given = [5, 0, -3, 1 << 40, 65_536, 65_535]
    assert [seen.add(number) for number in given] == [True] * 6
    assert [seen.add(number) for number in given] == [False] * 6
    assert 6 not in seen
    assert -4 not in seen


@pytest.mark.django_db
def test_a_trigger_lifted_or_put_out_of_force_is_found(owner: User) -> None:
    assert list(database.faults()) == []
    if connection.vendor == "postgresql":
        run("ALTER TABLE batches_charge DISABLE TRIGGER batches_charge_no_change")
        expected = "The trigger batches_charge_no_change is not the one"
    else:
        run("DROP TRIGGER batches_charge_no_DELETE")
        expected = "The trigger batches_charge_no_DELETE is gone"
    (fault,) = database.faults()
    assert fault.startswith(expected)


@pytest.mark.django_db
def test_on_postgresql_a_trigger_that_refuses_nothing_is_found(owner: User) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("on SQLite the attacks show it")
    run(
        "CREATE OR REPLACE FUNCTION kettlebook_refuse_change() RETURNS trigger AS"
        " $$ BEGIN RETURN NEW; END $$ LANGUAGE plpgsql"
    )
    found = list(database.faults())
    assert len(found) == 2 * len(append_only_models())
    assert all("is not the one Kettlebook made" in fault for fault in found)


@pytest.mark.django_db
def test_every_rule_of_every_model_is_looked_for(owner: User) -> None:
    if connection.vendor == "postgresql":
        run("ALTER TABLE producer_stock DROP CONSTRAINT stock_never_below_zero")
        run("ALTER TABLE batches_bottle DROP CONSTRAINT bottle_number_once")
        assert list(database.faults()) == [
            "The rule “bottle_number_once” of the table batches_bottle is gone.",
            "The rule “stock_never_below_zero” of the table producer_stock is gone.",
        ]
    run("CREATE TABLE notes (text varchar)")
    assert "There is a table or view “notes”" in next(iter(database.faults()))


class Terminal(io.StringIO):
    """A place to write to that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.django_db
@pytest.mark.parametrize("out", [io.StringIO, Terminal])
def test_a_long_check_says_how_far_it_is(
    owner: User, out: type[io.StringIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "ROWS_A_LOOK", 1)
    monkeypatch.setattr(command, "ON_A_TERMINAL", 0.0)
    monkeypatch.setattr(command, "IN_A_FILE", 0.0)
    said = out()
    call_command("verify", stdout=said)
    counted = f"  0 of {JournalEntry.objects.count():,} rows"
    assert counted in said.getvalue()
    assert ("\r" in said.getvalue()) is said.isatty()


@pytest.mark.django_db
def test_the_checks_walk_as_many_rows_as_they_say(crew: make.Crew) -> None:
    fill_every_table(crew)
    for check in CHECKS:
        walked: list[int] = []
        assert list(check.faults(walked.append)) == []
        assert not walked or max(walked) < check.count()


@pytest.mark.django_db
def test_a_fault_ends_with_code_one_and_a_remark_does_not(owner: User) -> None:
    call_command("verify", stdout=io.StringIO())
    run("UPDATE producer_premises SET name = 'Elsewhere'")
    with pytest.raises(CommandError) as raised:
        call_command("verify", stdout=io.StringIO())
    assert raised.value.returncode == 1


@pytest.mark.django_db
def test_signing_in_leaves_the_account_as_the_journal_has_it(owner: User) -> None:
    authenticate(None, username=owner.username, password=make.PASSWORD)
    User.objects.filter(pk=owner.pk).update(last_login="2026-01-01T00:00:00Z")
    assert faults() == []


@pytest.mark.any_engine
def test_nothing_but_its_own_door_creates_many_rows_at_once() -> None:
    # bulk_create sends no signal, so what it makes would be in no journal row.
    careless = [
        str(path.relative_to(settings.BASE_DIR))
        for app in ("producer", "batches", "quality")
        for path in (settings.BASE_DIR / app).rglob("*.py")
        if ".bulk_create(" in path.read_text(encoding="utf-8")
    ]
    assert careless == ["producer/written.py"]
