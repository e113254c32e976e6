"""What somebody does who has the database file, SQLite and time: one attack each.

Each returns what ``verify`` must say of it. The hand takes the triggers away and puts
them back, and knows how every hash is computed.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable

from producer.models.journal import WRITTEN, canonical
from tests.quality.attacked import JOURNAL, Hand

SEALED = "sealed data"  # what is somebody's own is not said aloud

Attack = Callable[[Hand], list[str]]


def a_mass_in_the_pot(hand: Hand) -> list[str]:
    """Change one charge, and nothing that is summed from it."""
    hand.change("batches_charge", 4, "net_mg", 1)
    return ["Charge 4: net mg is 1, but journal row", "(charge weighed, B26-0001-9)"]


def a_mass_with_everything_it_is_summed_in(hand: Hand) -> list[str]:
    """Change a charge, its edge, its movement, the balances after it and the stock."""
    more = 5_000
    batch, source, net = hand.file.execute(
        "SELECT batch_id, source_id, net_mg FROM batches_charge WHERE id = 4"
    ).fetchone()
    with hand.unwatched():
        hand.do(
            "UPDATE batches_charge SET gross_mg = gross_mg + ?, net_mg = net_mg + ?"
            " WHERE id = 4",
            more,
            more,
        )
        hand.do(
            "UPDATE batches_input SET mass_mg = mass_mg + ?"
            " WHERE batch_id = ? AND source_id = ?",
            more,
            batch,
            source,
        )
        movement = hand.one(
            "SELECT min(id) FROM producer_stockmovement"
            " WHERE stock_id = ? AND amount_mg = ?",
            source,
            -net,
        )
        hand.do(
            "UPDATE producer_stockmovement SET amount_mg = amount_mg - ? WHERE id = ?",
            more,
            movement,
        )
        hand.do(
            "UPDATE producer_stockmovement SET balance_mg = balance_mg - ?"
            " WHERE stock_id = ? AND id >= ?",
            more,
            source,
            movement,
        )
        hand.do(
            "UPDATE producer_stock SET on_hand_mg = on_hand_mg - ? WHERE id = ?",
            more,
            source,
        )
    return [
        f"Charge 4: net mg is {net + more}, but journal row",
        f"wrote {net}.",
        f"Stock movement {movement}: amount mg is",
    ]


def a_ph_reading(hand: Hand) -> list[str]:
    """Make a sharp paste a mild one."""
    hand.change("batches_reading", 5, "value", 9.4)
    return ["Reading 5: value is 9.4", "wrote 11.050."]


def a_reading_past_the_triggers(hand: Hand) -> list[str]:
    """Use REPLACE, which no trigger sees without a switch of the connection."""
    names = [row[0] for row in hand.file.execute(_columns("batches_reading"))]
    kept = ", ".join("9.4" if name == "value" else name for name in names)
    hand.do(
        f"INSERT OR REPLACE INTO batches_reading ({', '.join(names)})"  # noqa: S608
        f" SELECT {kept} FROM batches_reading WHERE id = 5"
    )
    return ["Reading 5: value is 9.4"]


def a_reading_from_before_the_signature(hand: Hand) -> list[str]:
    """Add a reading nobody took, with times from before somebody signed."""
    names = [row[0] for row in hand.file.execute(_columns("batches_reading"))]
    kept = ", ".join({"id": "9001", "value": "9.4"}.get(name, name) for name in names)
    hand.do(
        f"INSERT INTO batches_reading ({', '.join(names)})"  # noqa: S608
        f" SELECT {kept} FROM batches_reading WHERE id = 5"
    )
    number = hand.one(
        "SELECT code FROM producer_stock WHERE id ="
        " (SELECT batch_id FROM batches_reading WHERE id = 5)"
    )
    return [
        f"Reading 9001 ({number}) was not written by any act",
        f"Signature 1 on batch {number}: the batch",
    ]


def a_journal_row_gone(hand: Hand) -> list[str]:
    """Delete an act."""
    with hand.unwatched():
        hand.do(f"DELETE FROM {JOURNAL} WHERE sequence = 60")  # noqa: S608
    return ["Journal rows 60 to 60 are missing"]


def a_journal_row_gone_and_closed_up(hand: Hand) -> list[str]:
    """Delete an act and write the journal anew without it."""
    entries = hand.entries()
    # What it wrote is not forgotten: the rows are there and no act wrote them.
    written = [json.loads(entry.after)[WRITTEN] for entry in entries]
    at = next(row for row, tables in enumerate(written) if "batches_charge" in tables)
    del entries[at]
    hand.write_anew(entries)
    charge = written[at]["batches_charge"]["rows"][0][0]
    return [f"Charge {charge} (B26-0001-9) was not written by any act"]


def a_journal_cut_short(hand: Hand) -> list[str]:
    """Take the last acts away and set the end of the chain back."""
    entries = hand.entries()[:100]
    with hand.unwatched():
        hand.do(f"DELETE FROM {JOURNAL} WHERE sequence > 100")  # noqa: S608
    hand.set_head(100, entries[-1].hash)
    return ["was not written by any act in the journal"]


def a_journal_emptied(hand: Hand) -> list[str]:
    """Take all acts away, as if nothing had ever been done."""
    hand.write_anew([])
    return ["Person 1 (", "Charge 1 (", "was not written by any act"]


def a_journal_row_slipped_in(hand: Hand) -> list[str]:
    """Put an act in the middle, with its own right hash."""
    entries = hand.entries()
    with hand.unwatched():
        for entry in reversed(entries[60:]):
            hand.do(
                f"UPDATE {JOURNAL} SET sequence = ? WHERE sequence = ?",  # noqa: S608
                entry.sequence + 1,
                entry.sequence,
            )
        new = entries[60]
        new.act, new.submission, new.after = (
            "pH recorded",
            None,
            canonical({"value": 9}),
        )
        new.previous_hash = entries[59].hash
        new.hash = new.expected_hash()
        hand.put(new)
    return ["Journal row 62 does not follow the row before it."]


def a_journal_row_at_the_end(hand: Hand) -> list[str]:
    """Add an act with its own right hash, and forget the end of the chain."""
    entry = hand.entries()[-1]
    entry.previous_hash, entry.sequence = entry.hash, entry.sequence + 1
    entry.submission = None
    entry.hash = entry.expected_hash()
    hand.put(entry)
    return [f"The journal should end at row {entry.sequence - 1}"]


def two_journal_rows_in_the_other_order(hand: Hand) -> list[str]:
    """Swap two acts."""
    with hand.unwatched():
        for old, new in ((60, -1), (61, 60), (-1, 61)):
            hand.do(
                f"UPDATE {JOURNAL} SET sequence = ? WHERE sequence = ?",  # noqa: S608
                new,
                old,
            )
    return ["Journal row 60 does not follow", "Journal row 61 was altered"]


def a_signed_record_and_its_hash(hand: Hand) -> list[str]:
    """Let somebody have signed another text."""
    text = hand.one("SELECT record FROM quality_signature WHERE id = 1")
    forged = text.replace('"value":"11.05"', '"value":"9.4"')
    assert forged != text
    digest = hashlib.sha256(forged.encode()).hexdigest()
    with hand.unwatched():
        hand.do(
            "UPDATE quality_signature SET record = ?, record_sha256 = ? WHERE id = 1",
            forged,
            digest,
        )
        hand.do("UPDATE batches_reading SET value = 9.4 WHERE id = 5")
    return [
        "Signature 1 on batch B26-0001-9: the journal knows of no signature",
        "Signature 1: record is a text of",
    ]


def an_assay(hand: Hand) -> list[str]:
    """Let the potash have been better."""
    hand.change("producer_certificate", 1, "assay_percent", 90)
    return ["Certificate 1: assay percent is 90.0", "wrote 85.0"]


def a_limit(hand: Hand) -> list[str]:
    """Let the limit have been wider."""
    hand.change("quality_limit", 1, "upper", 11.5)
    return ["Limit 1: upper is 11.500", "wrote 10.400"]


def a_bottle_that_never_left(hand: Hand) -> list[str]:
    """Take the event of a bottle away and put the bottle back on the shelf."""
    with hand.unwatched():
        event = hand.one(
            "SELECT id FROM batches_bottleevent"
            " WHERE bottle_id = 1 AND new = 'dispatched'"
        )
        hand.do("DELETE FROM batches_bottleevent WHERE id = ?", event)
        hand.do(
            "UPDATE batches_bottle SET status = 'filled', consignee_id = NULL"
            " WHERE id = 1"
        )
    return [f"Bottle event {event} is gone; journal row"]


def who_was_sent_a_crate(hand: Hand) -> list[str]:
    """Let another reseller have had it, on the dispatch and on every bottle."""
    with hand.unwatched():
        hand.do("UPDATE batches_dispatch SET consignee_id = 2 WHERE id = 1")
        hand.do("UPDATE batches_bottle SET consignee_id = 2 WHERE consignee_id = 1")
    return ["Dispatch 1: consignee is 2, but journal row", "wrote 1."]


def who_has_a_bottle(hand: Hand) -> list[str]:
    """Let somebody else have one bottle."""
    hand.change("batches_bottle", 1, "consignee_id", 2)
    return ["is with Owlswick Refill Room, but was last dispatched to The Hollinmere"]


def a_right(hand: Hand) -> list[str]:
    """Make a maker a reviewer."""
    hand.change("producer_user", 2, "is_reviewer", 1)
    return ["User 2: is reviewer is True", "wrote False"]


def a_password(hand: Hand) -> list[str]:
    """Sign in as the owner with a password of one's own."""
    own = hand.one("SELECT password FROM producer_user WHERE id = 2")
    hand.change("producer_user", 1, "password", own)
    return ["User 1: the password is not the one of journal row 1 ("]


def a_certificate_on_the_disk(hand: Hand) -> list[str]:
    """Put the paper of another lot in the place of a lot's."""
    one, other = hand.file.execute("SELECT sha256 FROM producer_attachment").fetchmany(
        2
    )
    top = hand.directory / "uploads"
    shutil.copy(top / other[0][:2] / other[0], top / one[0][:2] / one[0])
    return [f"({one[0][:2]}/{one[0]}) is not what was uploaded"]


def a_certificate_in_the_table(hand: Hand) -> list[str]:
    """Let the certificate have been another file, which is there."""
    other = hand.one("SELECT max(attachment_id) FROM producer_certificate")
    hand.change("producer_certificate", 1, "attachment_id", other)
    return [f"Certificate 1: attachment is {other}, but journal row"]


def a_trigger_gone(hand: Hand) -> list[str]:
    """Open the way for later."""
    hand.file.execute("DROP TRIGGER batches_charge_no_UPDATE")
    return ["The trigger batches_charge_no_UPDATE is gone"]


def a_trigger_that_does_nothing(hand: Hand) -> list[str]:
    """Open the way for later, and leave something of the same name."""
    hand.file.execute("DROP TRIGGER batches_charge_no_UPDATE")
    hand.file.execute(
        "CREATE TRIGGER batches_charge_no_UPDATE BEFORE UPDATE ON batches_charge"
        " WHEN 0 BEGIN SELECT RAISE(ABORT, 'rows of batches_charge are never changed or"
        " deleted'); END"
    )
    return ["The trigger batches_charge_no_UPDATE is not the one Kettlebook made"]


def a_trigger_more(hand: Hand) -> list[str]:
    """Let every new reading be a mild one."""
    hand.file.execute(
        "CREATE TRIGGER mild AFTER INSERT ON batches_bottle BEGIN"
        " UPDATE batches_bottle SET status = 'filled' WHERE id = NEW.id; END"
    )
    return ["There is a trigger mild on batches_bottle"]


def a_table_more(hand: Hand) -> list[str]:
    """Leave something in the file."""
    hand.file.execute("CREATE TABLE notes (text)")
    return ["There is a table or view “notes”"]


def a_rule_gone(hand: Hand) -> list[str]:
    """Let the stock be below zero."""
    hand.file.execute("PRAGMA writable_schema = ON")
    hand.do(
        "UPDATE sqlite_master SET sql = replace(sql, 'CONSTRAINT"
        ' "stock_never_below_zero"\', \'CONSTRAINT "stock"\') WHERE name ='
        " 'producer_stock'"
    )
    return ["The rule “stock_never_below_zero” of the table producer_stock is gone"]


def a_rule_that_lets_everything_pass(hand: Hand) -> list[str]:
    """Leave a rule its name, and take away what it says."""
    hand.file.execute("PRAGMA writable_schema = ON")
    hand.do(
        "UPDATE sqlite_master SET sql = replace(sql, '(\"on_hand_mg\" >= 0)',"
        " '(1)') WHERE name = 'producer_stock'"
    )
    return ["The table producer_stock is not as Kettlebook made it", "CHECK (1)"]


def a_unique_index_gone(hand: Hand) -> list[str]:
    """Open the way for two rows of what there can be one of."""
    name = hand.one(
        "SELECT name FROM sqlite_master WHERE type = 'index' AND sql LIKE"
        " 'CREATE UNIQUE INDEX%' AND tbl_name LIKE 'batches_%'"
    )
    hand.file.execute(f'DROP INDEX "{name}"')
    return [f"The rule “{name}” of the table batches_"]


def a_column_more(hand: Hand) -> list[str]:
    """Keep something beside the record."""
    hand.file.execute("ALTER TABLE batches_charge ADD COLUMN truth text")
    return ["The table batches_charge is not as Kettlebook made it", "truth text"]


def a_long_text_in_the_words_of_the_journal(hand: Hand) -> list[str]:
    """Put what the journal seems to keep of a long text in its place."""
    text = hand.one("SELECT record FROM quality_signature WHERE id = 1")
    digest = hashlib.sha256(text.encode()).hexdigest()
    words = canonical({"length": len(text), "sha256": digest})
    hand.change("quality_signature", 1, "record", words)
    return ["Signature 1: record is {", "wrote a text of"]


def a_password_in_another_way(hand: Hand) -> list[str]:
    """Let anybody in, by a hash that looks like one of a later version."""
    hand.change("producer_user", 1, "password", "pbkdf2_sha256$9999999$salt$aGFzaA==")
    return ["User 1: the password is not the one of journal row"]


def a_time_at_another_offset(hand: Hand) -> list[str]:
    """Write the same moment of a reading so that no list by day finds it."""
    text = hand.one("SELECT observed_at FROM batches_reading WHERE id = 5")
    hand.change("batches_reading", 5, "observed_at", f"{text.replace(' ', 'T')}+00:00")
    return ["Reading 5: observed at is kept as “"]


def a_day_in_another_form(hand: Hand) -> list[str]:
    """Write the same day so that it sorts elsewhere."""
    day = hand.one("SELECT received_on FROM producer_rawlot ORDER BY stock_id")
    key = hand.one("SELECT min(stock_id) FROM producer_rawlot")
    hand.change("producer_rawlot", key, "received_on", day.replace("-", ""))
    return [f"Raw lot {key}: received on is kept as “{day.replace('-', '')}”"]


def an_act_hidden_from_its_day(hand: Hand) -> list[str]:
    """Write the same moment of an act in another way; its hash still fits."""
    text = hand.one(f"SELECT at FROM {JOURNAL} WHERE sequence = 60")  # noqa: S608
    hand.change(JOURNAL, 60, "at", f"{text.replace(' ', 'T')}Z")
    return ["Journal entry 60: at is kept as “"]


def a_number_series_set_back(hand: Hand) -> list[str]:
    """Let the next lot have a number that another has already."""
    name = hand.one("SELECT name FROM producer_numberseries WHERE name LIKE 'L%'")
    hand.do("UPDATE producer_numberseries SET last = 1 WHERE name = ?", name)
    return [f"The number series {name} is at 1, but L"]


def a_record_past_reading(hand: Hand) -> list[str]:
    """Spoil one signature, and forge another behind it."""
    hand.change("quality_signature", 1, "record", "{")
    sha256 = hashlib.sha256(b"{").hexdigest()
    hand.change("quality_signature", 1, "record_sha256", sha256)
    last = hand.one("SELECT max(id) FROM quality_signature")
    hand.change("quality_signature", last, "printed_name", "Nobody")
    number = hand.one(
        "SELECT code FROM producer_stock WHERE id ="
        " (SELECT batch_id FROM quality_signature WHERE id = ?)",
        last,
    )
    return [
        "Signature 1 on batch",
        f"Signature {last} on batch {number}: name, meaning or reason",
    ]


def a_supplier_gone(hand: Hand) -> list[str]:
    """Delete whom a lot came from."""
    hand.do("DELETE FROM producer_supplier WHERE id = 1")
    return ["refers to a row of producer_supplier that is gone", "Supplier 1 is gone"]


def _columns(table: str) -> str:
    return f"SELECT name FROM pragma_table_info('{table}')"  # noqa: S608


def _named(
    table: str, column: str, value: str | int, expected: str, said: str = ""
) -> Attack:
    def attack(hand: Hand) -> list[str]:
        pk = hand.key_of(table)
        key = hand.one(f"SELECT min({pk}) FROM {table}")  # noqa: S608
        hand.change(table, key, column, value)
        return [f"{expected.format(key)} is {said or f'{value}, but journal row'}"]

    attack.__name__ = f"{table}_{column}"
    return attack


ATTACKS: tuple[Attack, ...] = (
    a_mass_in_the_pot,
    a_mass_with_everything_it_is_summed_in,
    a_ph_reading,
    a_reading_past_the_triggers,
    a_reading_from_before_the_signature,
    a_journal_row_gone,
    a_journal_row_gone_and_closed_up,
    a_journal_cut_short,
    a_journal_emptied,
    a_journal_row_slipped_in,
    a_journal_row_at_the_end,
    two_journal_rows_in_the_other_order,
    a_signed_record_and_its_hash,
    an_assay,
    a_limit,
    a_bottle_that_never_left,
    who_was_sent_a_crate,
    who_has_a_bottle,
    a_right,
    a_password,
    a_certificate_on_the_disk,
    a_certificate_in_the_table,
    a_trigger_gone,
    a_trigger_that_does_nothing,
    a_trigger_more,
    a_table_more,
    a_supplier_gone,
    a_rule_gone,
    a_rule_that_lets_everything_pass,
    a_unique_index_gone,
    a_column_more,
    a_long_text_in_the_words_of_the_journal,
    a_password_in_another_way,
    a_time_at_another_offset,
    a_day_in_another_form,
    an_act_hidden_from_its_day,
    a_number_series_set_back,
    a_record_past_reading,
    _named("producer_rawlot", "supplier_lot", "X9", "Raw lot {}: supplier lot"),
    _named("producer_rawlot", "expires_on", "2031-01-31", "Raw lot {}: expires on"),
    _named("producer_consignee", "phone", "0", "Consignee {}: phone", SEALED),
    _named("producer_supplier", "name", "Nobody", "Supplier {}: name"),
    _named("producer_material", "name", "Anything", "Material {}: name"),
    _named("producer_instrument", "serial_or_lot", "0", "Instrument {}: serial or lot"),
    _named("producer_premises", "poison_centre", "0", "Premises {}: poison centre"),
    _named("producer_person", "name", "Nobody", "Person {}: name"),
    _named("batches_formulaline", "per_kg_mg", 1, "Formula line {}: per kg mg"),
    _named("batches_bulkweighing", "tare_mg", 1, "Bulk weighing {}: tare mg"),
    _named("batches_titration", "method", "by eye", "Titration {}: method"),
    _named("batches_fillinglot", "use_by", "2031-01-31", "Filling lot {}: use by"),
    _named("batches_bottle", "code", "222222222224", "Bottle {}: code"),
    _named("batches_batch", "basis_mg", 1, "Batch {}: basis mg"),
    _named("quality_judgement", "verdict", "pass", "Judgement {}: verdict"),
)
