"""The database itself refuses to change what was recorded, on both engines."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, models, transaction

from producer.models import JournalEntry, User
from tests import (
    bottling,
    hands,
    items,
    kept,
    lab,
    label_texts,
    liquids,
    make,
    sprays,
    told,
)
from tests.database import (
    append_only_models,
    our_models,
    query,
    row_counts,
    run,
    without_triggers,
)
from tests.house import bottle_services
from tests.quality import faulty

TABLES = sorted(model._meta.db_table for model in append_only_models())


def guarded() -> dict[str, set[str]]:
    """Return, from the live database, which verbs each table's triggers refuse."""
    found: dict[str, set[str]] = {}
    if connection.vendor == "postgresql":
        rows = query(
            "SELECT event_object_table, event_manipulation"
            " FROM information_schema.triggers WHERE action_timing = 'BEFORE'"
        )
        # TRUNCATE is not in the standard, so not in the information schema.
        rows += query(
            "SELECT relname, 'TRUNCATE' FROM pg_trigger"
            " JOIN pg_class ON pg_class.oid = tgrelid"
            " WHERE NOT tgisinternal AND tgenabled = 'O' AND tgtype & 32 > 0"
        )
    else:
        rows = [
            (table, verb)
            for table, sql in query(
                "SELECT tbl_name, sql FROM sqlite_master WHERE type = 'trigger'"
            )
            for verb in ("UPDATE", "DELETE")
            if f"BEFORE {verb} ON" in sql and "RAISE(ABORT" in sql
        ]
    for table, verb in rows:
        found.setdefault(table, set()).add(verb)
    return found


@pytest.mark.django_db
def test_every_model_that_says_append_only_has_its_triggers() -> None:
    verbs = {"UPDATE", "DELETE"}
    if connection.vendor == "postgresql":
        verbs.add("TRUNCATE")
    assert guarded() == dict.fromkeys(TABLES, verbs)


@pytest.mark.django_db
def test_control_a_missing_trigger_is_noticed() -> None:
    with without_triggers():
        if connection.vendor == "sqlite":
            assert guarded() == {}
        else:
            assert "TRUNCATE" not in guarded()["producer_journalentry"]


def test_every_record_of_something_that_happened_is_append_only() -> None:
    named = {model.__name__ for model in append_only_models()}
    assert named >= {
        "JournalEntry",
        "StockMovement",
        "Certificate",
        "Attachment",
        "Charge",
        "Reading",
        "BulkWeighing",
        "FormulaVersion",
        "FormulaLine",
        "BottleEvent",
        "FillingLot",
        "Dispatch",
        "Limit",
        "Signature",
        "Judgement",
        "RecallItem",
        "RecallRoot",
        "RecallRevision",
        "RecallChange",
        "HazardEvaluation",
        "AllClear",
        "RecallContact",
        "RecallEvent",
    }
    assert len(our_models()) > len(named)


def fill_every_table(crew: make.Crew) -> None:
    """Do one of everything, so that each append-only table has a row."""
    from batches.services import (  # noqa: PLC0415
        bottle_doubts,
        costs,
        discrepancies,
        losses,
        transcribing,
    )
    from producer.services import counting, safety  # noqa: PLC0415
    from quality.services import (  # noqa: PLC0415
        changing,
        checking,
        dispatch_back,
        filling_checks,
        recall_contacts,
        recalling,
        supplying,
        weighing_back,
    )

    lot = bottling.bottled(crew)
    bottling.looked_at(crew, lot)
    signed = make.released_paste(crew)
    changing.change_reading(
        by=crew.maker,
        reading=signed.readings.get(characteristic="clarity"),
        clarity="cloudy",
        reason="seen again in better light",
    )
    sent = supplying.dispatch(
        by=crew.maker,
        bottles=make.bottles_of(lot)[:1],
        consignee=make.consignee(crew.maker),
    )
    dispatch_back.take_back(by=crew.maker, dispatch=sent, reason="another was meant")
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=lot.batch.stock,
        hazard_class="3",
        reason="a smell",
        public_notice="Bring it back.",
    )
    recall_contacts.record_contact(
        by=crew.maker,
        recall=recall,
        consignee=make.consignee(crew.maker),
        means="telephone",
        outcome="not_reached",
    )
    hands.cleared(crew)
    hands.of_a_time(crew, is_mock=True)
    check = filling_checks.record_fill_check(
        by=crew.maker,
        filling_lot=lot,
        scale=make.scale(crew.maker),
        tare_mg=42_000,
        net_mg=[511_000] * lot.count,
    )
    weighing_back.take_back(by=crew.reviewer, check=check, reason="the other crate")
    bottle_services.found_again(crew, make.bottles_of(lot)[0])
    titrated = make.cooked_batch(crew)
    transcribing.begin(by=crew.maker, batch=titrated, note="power out")
    faulty.closed(crew, titrated, "ph", "no_effect")
    lab.free_alkali(crew, titrated)
    costs.record_cost(
        by=crew.maker, batch=titrated, kind="energy", amount_hundredths=90
    )
    safety.record_note(by=crew.maker, kind="rules", topic="read", done_on=make.TODAY)
    losses.record_loss(by=crew.maker, batch=titrated, kind="spill", mass_mg=9_000)
    liquids.set_aside(crew, titrated)
    liquids.measured(crew, lot.batch)
    potash = make.released_lot(crew, make.potash(crew.maker))
    lab.container(crew, potash)
    counting.take_stock(
        by=crew.maker, counts=[counting.Counted(lot=potash, counted_mg=5 * make.KG)]
    )
    checking.record_check(
        by=crew.maker,
        instrument=make.scale(crew.maker),
        held=checking.Known(
            against="500 g", reference=Decimal(500), shown=Decimal(500)
        ),
        tolerance=Decimal(2),
    )
    label_texts.classified(crew)
    discrepancies.explain(**kept.explaining(crew))
    bottle_doubts.settle(**bottle_services.settled_facts(crew))
    lab.half_weighing(crew, make.open_batch(crew))
    sprays.scene(crew)
    told.closed(crew, told.opened(crew))
    told.inspected(crew.reviewer)
    items.with_prefix(items.owner())
    items.given(crew, lot.batch.formula_version.formula)


@pytest.mark.django_db
def test_update_and_delete_by_raw_sql_are_refused_on_every_table(
    crew: make.Crew,
) -> None:
    fill_every_table(crew)
    counted = row_counts()
    for model in append_only_models():
        table, key = model._meta.db_table, model._meta.pk.column
        assert counted[model._meta.label] > 0, table
        for sql in (
            f'UPDATE "{table}" SET "{key}" = "{key}"',  # noqa: S608
            f'DELETE FROM "{table}"',  # noqa: S608
        ):
            with (
                pytest.raises(DatabaseError, match=f"rows of {table} are never"),
                transaction.atomic(),
            ):
                run(sql)
    assert row_counts() == counted


@pytest.mark.django_db
def test_update_and_delete_through_models_are_refused_too(owner: User) -> None:
    entry = JournalEntry.objects.get()
    for act in (entry.save, entry.delete, JournalEntry.objects.all().delete):
        with (
            pytest.raises((DatabaseError, models.ProtectedError)),
            transaction.atomic(),
        ):
            act()
    assert JournalEntry.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_whole_table_cannot_be_emptied_or_replaced_at_once(owner: User) -> None:
    if connection.vendor == "postgresql":
        sql = "TRUNCATE producer_journalentry CASCADE"
    else:
        # REPLACE deletes a row; its trigger fires because of recursive_triggers.
        sql = (
            "REPLACE INTO producer_journalentry"
            " SELECT * FROM producer_journalentry WHERE sequence = 1"
        )
    with pytest.raises(DatabaseError, match="never changed or deleted"):
        run(sql)
    assert JournalEntry.objects.count() == 1


@pytest.mark.django_db
def test_control_a_register_is_edited_in_place(owner: User) -> None:
    assert run("UPDATE producer_person SET name = 'Odile B.'") == 1


@pytest.mark.django_db
def test_control_without_its_trigger_a_row_can_be_changed(owner: User) -> None:
    with without_triggers():
        assert run("UPDATE producer_journalentry SET reason = 'better'") == 1


@pytest.mark.django_db
def test_the_triggers_are_back_after_they_were_lifted(owner: User) -> None:
    before = guarded()
    with without_triggers():
        assert guarded() != before
    assert guarded() == before
