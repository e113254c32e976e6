"""The tables are what the migrations made, word by word."""

from __future__ import annotations

import pytest
from django.db import connection

from quality.services.verification import schema
from quality.services.verification.checks import Remark
from tests.database import run

HOW = (
    "After a migration write the file anew, from a fresh database of each kind: set"
    " KETTLEBOOK_DATA to an empty directory, or DATABASE_URL to an empty database; type"
    " python3 manage.py migrate, then python3 manage.py shell -c 'from"
    " quality.services.verification import schema; schema.write_down()'"
)


@pytest.mark.django_db
def test_what_is_written_down_is_what_the_migrations_make() -> None:
    made = schema.expected()
    if made.pop(schema.SERVER, "0") != str(schema.made_on()):
        pytest.skip("the words of another PostgreSQL are not known here")
    assert schema.live() == made, HOW
    assert list(schema.faults()) == []


@pytest.mark.django_db
def test_another_postgresql_is_told_and_not_accused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(schema, "made_on", lambda: 99)
    (only,) = schema.faults()
    assert isinstance(only, Remark)
    assert "this is PostgreSQL 99, so they were not compared" in only


@pytest.mark.django_db
def test_on_postgresql_every_part_of_a_table_is_compared() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("on SQLite the attacks show it")
    if schema.expected()[schema.SERVER] != str(schema.made_on()):
        pytest.skip("the words of another PostgreSQL are not known here")
    run("ALTER TABLE producer_stock DROP CONSTRAINT stock_never_below_zero")
    run(
        "ALTER TABLE producer_stock ADD CONSTRAINT stock_never_below_zero"
        " CHECK (on_hand_mg >= -1)"
    )
    run("ALTER TABLE batches_batch ALTER COLUMN basis_mg DROP NOT NULL")
    run("ALTER TABLE batches_batch ADD COLUMN truth text")
    run("ALTER TABLE batches_bottle DROP CONSTRAINT bottle_number_once")
    run(
        "ALTER TABLE quality_recall ADD CONSTRAINT more CHECK (false) NOT VALID",
    )
    found = "\n".join(schema.faults())
    assert "The column “basis_mg” of the table batches_batch is not as" in found
    assert (
        "The rule “stock_never_below_zero” of the table producer_stock is not as"
        " Kettlebook made it. It says: CHECK ((on_hand_mg >= '-1'::integer))"
    ) in found
    assert "The table batches_batch has a column “truth”" in found
    assert "The rule “bottle_number_once” of the table batches_bottle is gone." in found
    assert "The table quality_recall has a rule “more”" in found
    assert len(found.splitlines()) == 5
