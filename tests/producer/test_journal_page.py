"""Reading the journal: by record, person, day and word; on screen, paper and as CSV."""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
from typing import Any

import pypdfium2
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from producer import journal, subjects
from producer.changes import changes_of, said, said_name
from producer.models import JournalEntry, JournalHead, Supplier, User
from producer.models.journal import canonical
from producer.services import journal_reading, registers, stock
from producer.services.journal_reading import Asked
from quality.models import ComplaintAccount
from tests import make
from tests.database import run, without_triggers
from tests.doors import world as worlds
from tests.doors.pages import Page, page_of, text_of
from tests.doors.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db: None) -> World:
    """Return a premises with something of everything."""
    return worlds.build()


@pytest.fixture
def reader(world: World) -> Client:
    """Return the browser of somebody who may only read."""
    client = Client()
    client.force_login(world.accounts["auditor"])
    return client


def numbers(page: Page) -> list[int]:
    """Return the numbers of the rows shown."""
    return [int(text) for tag, text in page.texts if tag == "td" and text.isdigit()]


def shown(reader: Client, **query: Any) -> list[int]:
    return numbers(page_of(reader.get(reverse("producer:journal"), query)))


def rows(**query: Any) -> list[int]:
    found = JournalEntry.objects.filter(**query).order_by("-sequence")
    return list(found.values_list("sequence", flat=True))


# ------------------------------------------------------------------ what is found


def test_by_record_its_acts_and_no_others(world: World, reader: Client) -> None:
    for kind, code in (
        ("rawlot", world.lot.code),
        ("batch", world.cooking.number),
        ("bottle", world.bottle.code),
        ("dispatch", world.dispatch.code),
        ("recall", world.recall.code),
    ):
        expected = rows(subject_kind=kind, subject_label=code)
        assert bool(expected) == (kind != "bottle")  # nothing befell that bottle
        if kind == "bottle":  # but that it was filled, and that somebody complained
            filled = rows(act="bottles filled", subject_label=world.filling_lot.code)
            about = ComplaintAccount.objects.filter(bottle=world.bottle)
            ids = [str(pk) for pk in about.values_list("complaint", flat=True)]
            expected = rows(subject_kind="complaint", subject_id__in=ids) + filled
        assert shown(reader, on=code) == expected[:25]
        assert shown(reader, on=code.lower()) == expected[:25]


def test_a_code_that_another_begins_with_is_not_taken_for_it(
    world: World, reader: Client
) -> None:
    maker = world.accounts["maker"]
    registers.save(by=maker, entry=Supplier(name="Holm"))
    registers.save(by=maker, entry=Supplier(name="Holm and sons"))
    assert shown(reader, on="Holm") == rows(subject_label="Holm")
    assert len(shown(reader, text="Holm")) == 2
    assert shown(reader, on="holm and SONS") == rows(subject_label="Holm and sons")


def test_by_person_whatever_account_it_was(world: World, reader: Client) -> None:
    maker = world.accounts["maker"]
    second = make.account(
        by=world.accounts["owner"],
        name="",
        rights=["maker"],
        username="mirja.two",
        person=maker.person,
    )
    make.supplier(second, "By the second account")
    found = shown(reader, who=maker.person_id)
    assert found == rows(actor__in=[maker, second])[:25]
    assert JournalEntry.objects.get(sequence=found[0]).actor == second
    assert shown(reader, who=987654) == []


@pytest.fixture
def three_days(owner: User) -> list[datetime.datetime]:
    """Return the times of three acts, a day apart, just around midnight in London."""
    times = [
        datetime.datetime(2026, 6, day, 23, 30, tzinfo=datetime.UTC)
        for day in (1, 2, 3)
    ]
    for at in times:
        entry = journal.write(by=owner, act="looked", subject=owner, label="o")
        with without_triggers():
            run(
                "UPDATE producer_journalentry SET at = %s WHERE sequence = %s",
                at if connection.vendor == "postgresql" else at.replace(tzinfo=None),
                entry.sequence,
            )
    return times


def test_by_day_from_and_to_in_the_time_zone_of_the_premises(
    owner: User, three_days: list[datetime.datetime]
) -> None:
    client = Client()
    client.force_login(owner)
    first, second, third = (
        JournalEntry.objects.get(at=at).sequence for at in three_days
    )
    # Half past eleven by UTC is half past midnight of the next day in London.
    assert shown(client, since="2026-06-02", until="2026-06-02") == [first]
    assert shown(client, day="2026-06-03") == [second]
    assert shown(client, since="2026-06-03", until="2026-06-04") == [third, second]
    assert shown(client, until="2026-06-03") == [second, first]
    assert shown(client, since="2026-06-04", text="looked") == [third]
    assert shown(client, day="2026-06-05") == []


def test_by_word_in_act_reason_label_name_and_values(
    world: World, reader: Client
) -> None:
    stock.adjust(
        by=world.accounts["maker"], lot=world.lot, counted_mg=77_123, reason="Ölfleck"
    )
    last = JournalEntry.objects.latest("sequence").sequence
    for word in ("fleck", "STOCK ADJ", "77123"):
        assert last in shown(reader, text=word), word
    assert shown(reader, text="nobody wrote this") == []


def test_all_that_is_asked_for_counts_together(world: World, reader: Client) -> None:
    maker = world.accounts["maker"]
    day = timezone.localtime().date().isoformat()
    both = {"on": world.lot.code, "who": maker.person_id, "since": day, "until": day}
    assert shown(reader, **both) == rows(
        subject_label=world.lot.code, subject_kind="rawlot", actor=maker
    )
    assert shown(reader, **both, text="nothing like it") == []


# ------------------------------------------------------------------ what is shown


def test_an_old_value_is_struck_and_the_new_one_stands_beside_it(
    world: World, reader: Client
) -> None:
    stock.adjust(
        by=world.accounts["maker"], lot=world.lot, counted_mg=1_500_000, reason="found"
    )
    text = text_of(reader.get(reverse("producer:journal"), {"on": world.lot.code}))
    entry = JournalEntry.objects.latest("sequence")
    (change,) = changes_of(entry)
    assert change.name == "on hand"
    assert change.new == "1.5 kg"
    assert change.old.endswith("kg")
    assert f'<span class="struck">{change.old}</span> {change.new}' in text


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("gross_mg", 1_250_000, "1.25 kg"),
        ("nominal_ul", 500_000, "500 ml"),
        ("net_mg", [1000, 2000], "1 g, 2 g"),
        ("is_void", False, "no"),
        ("in_use", "True", "yes"),
        ("value", "9.20", "9.2"),
        ("value", None, "–"),
        ("supplier_lot", "12.50", "12.50"),
        ("status", "awaiting_review", "awaiting review"),
        ("note", "awaiting_review", "awaiting_review"),
        (
            "observed_at",
            "2026-06-11T08:20:00.600000+00:00",
            "11 Jun 2026, 08:20 +00:00",
        ),
        ("received_on", "2026-06-03", "3 Jun 2026"),
        ("received_on", "soon", "soon"),
        ("rights", ["maker", "owner"], "maker, owner"),
        (
            "lines",
            [{"ingredient": "Water", "per_kg_mg": 420_000}],
            "(1) ingredient Water; per kg 420 g",
        ),
    ],
)
def test_a_value_is_told_as_people_say_it(name: str, value: Any, words: str) -> None:
    assert said(name, value) == words


def test_names_of_values_lose_what_only_a_program_needs() -> None:
    names = ("gross_mg", "observed_at", "is_void", "half_width", "7")
    assert [said_name(name) for name in names] == [
        "gross",
        "observed",
        "void",
        "half width",
        "line 7",
    ]


def test_a_long_list_is_cut_in_the_list_and_whole_on_its_own_page(
    owner: User,
) -> None:
    entry = journal.write(
        by=owner,
        act="counted",
        subject=owner,
        label="o",
        after={"net_mg": [n * 1000 for n in range(1, 31)], "note": "x" * 500},
    )
    cut = {change.name: change.new for change in changes_of(entry)}
    assert cut["net"].endswith("8 g … and 22 more")
    assert cut["note"].endswith("x …")
    whole = {change.name: change.new for change in changes_of(entry, in_full=True)}
    assert whole["net"].endswith("29 g, 30 g")
    assert whole["note"] == "x" * 500


def test_the_same_figure_written_otherwise_is_no_change(owner: User) -> None:
    entry = journal.write(
        by=owner,
        act="changed",
        subject=owner,
        label="o",
        before={"resolution": "0.5000", "capacity": "2.0", "supplier_lot": "1.0"},
        after={"resolution": "0.5", "capacity": "2.5", "supplier_lot": "1"},
    )
    changes = {change.name: (change.old, change.new) for change in changes_of(entry)}
    assert changes == {"capacity": ("2", "2.5"), "supplier lot": ("1.0", "1")}


def test_what_somebody_typed_is_never_taken_for_markup(
    world: World, reader: Client
) -> None:
    registers.save(by=world.accounts["maker"], entry=Supplier(name="<b>bold</b>"))
    last = JournalEntry.objects.latest("sequence").sequence
    for address in (reverse("producer:journal"), reverse("producer:act", args=[last])):
        text = text_of(reader.get(address))
        assert "&lt;b&gt;bold" in text
        assert "<b>bold" not in text


def test_every_record_that_acts_are_on_is_one_click_away(
    world: World, reader: Client
) -> None:
    entries = list(JournalEntry.objects.all())
    pages = subjects.addresses(entries)
    without = {e.subject_kind for e in entries if e.sequence not in pages}
    assert without == {"premises"}
    for address in sorted(set(pages.values())):
        assert reader.get(address).status_code == 200, address
    first = page_of(reader.get(reverse("producer:journal")))
    links = {one.get("href") for one in first.attributes("a")}
    assert {pages[n] for n in numbers(first) if n in pages} <= links


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("producer:lot", "lot.code"),
        ("batches:batch", "cooking.number"),
        ("batches:filling_lot", "filling_lot.code"),
        ("batches:dispatch", "dispatch.code"),
        ("quality:recall", "recall.code"),
    ],
)
def test_the_page_of_a_record_leads_to_its_acts(
    world: World, reader: Client, name: str, part: str
) -> None:
    row, attribute = part.split(".")
    code = getattr(getattr(world, row), attribute)
    page = page_of(reader.get(reverse(name, args=[code])))
    links = [one.get("href", "") for one in page.attributes("a")]
    assert f"{reverse('producer:journal')}?on={code}" in links
    assert shown(reader, on=code)


def test_a_row_has_a_page_with_its_hash_and_says_if_it_was_altered(
    world: World, reader: Client
) -> None:
    entry = JournalEntry.objects.get(sequence=5)
    address = reverse("producer:act", args=[5])
    words = page_of(reader.get(address)).words
    assert entry.hash in words
    assert entry.previous_hash in words
    assert "hash fits" in words
    with without_triggers():
        run("UPDATE producer_journalentry SET reason = 'better' WHERE sequence = 5")
    words = page_of(reader.get(address)).words
    assert "hash does not fit" in words
    assert "altered after it was written" in words


def test_the_page_says_where_the_journal_ends_and_to_note_it(
    world: World, reader: Client
) -> None:
    head = JournalHead.objects.get()
    words = page_of(reader.get(reverse("producer:journal"))).words
    assert f"Row {head.sequence}, with the hash {head.hash}" in words
    assert "Write both on paper" in words


# ------------------------------------------------------------------ out of the house


def test_the_csv_holds_all_that_the_hash_covers(world: World, reader: Client) -> None:
    response = reader.get(reverse("producer:journal_csv"))
    assert response.streaming
    lines = list(csv.DictReader(io.StringIO(text_of(response))))
    assert [int(line["sequence"]) for line in lines] == rows()
    for line in lines[:20]:
        content = {
            **{name: value for name, value in line.items() if name != "hash"},
            "sequence": int(line["sequence"]),
            "actor": int(line["actor_id"]) if line["actor_id"] else None,
            "submission": line["submission"] or None,
        }
        del content["actor_id"]
        told = hashlib.sha256(canonical(content).encode()).hexdigest()
        assert told == line["hash"]


def test_the_csv_keeps_to_the_question_and_is_no_formula(
    world: World, reader: Client
) -> None:
    maker = world.accounts["maker"]
    registers.save(by=maker, entry=Supplier(name="=1+1"))
    registers.save(by=maker, entry=Supplier(name="plain"))
    text = text_of(reader.get(reverse("producer:journal_csv"), {"on": "=1+1"}))
    (line,) = csv.DictReader(io.StringIO(text))
    assert line["subject_label"] == "'=1+1"


def pdf_text(content: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(content)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def test_the_print_says_what_was_asked_where_the_journal_ends_and_which_page(
    world: World, reader: Client
) -> None:
    query = {"on": world.lot.code}
    response = reader.get(reverse("producer:journal_pdf"), query)
    pages = pdf_text(response.getvalue())
    head = JournalHead.objects.get()
    whole = "".join(" ".join(pages).split())
    assert f"Asked for: on {world.lot.code}." in pages[0]
    assert f"Page 1 of {len(pages)}" in pages[0]
    assert f"Journal to row {head.sequence}, hash {head.hash[:16]}" in pages[-1]
    assert head.hash in whole
    assert "raw lot received" in " ".join(pages)
    assert "dispatched" not in " ".join(pages)


def test_a_print_of_more_than_it_takes_says_what_is_left_out(
    world: World, reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("producer.documents.journal.MOST_PRINTED", 3)
    pages = pdf_text(reader.get(reverse("producer:journal_pdf")).getvalue())
    count = JournalEntry.objects.count()
    assert f"here are the newest 3, {count - 3} older ones are left out" in pages[0]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked(), "all acts"),
        (Asked(on="L26", text="x"), "on L26, with “x”"),
        (
            Asked(since=datetime.date(2026, 1, 2), until=datetime.date(2026, 1, 2)),
            "on 2026-01-02",
        ),
        (
            Asked(since=datetime.date(2026, 1, 2), until=datetime.date(2026, 1, 3)),
            "from 2026-01-02, to 2026-01-03",
        ),
        (Asked(who=987654), "by nobody we know"),
    ],
)
def test_what_was_asked_is_said_in_words(asked: Asked, words: str) -> None:
    assert journal_reading.words(asked) == words


# ------------------------------------------------------------------ how much work it is


def queries(reader: Client, **query: Any) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert reader.get(reverse("producer:journal"), query).status_code == 200
    return len(caught)


def test_the_number_of_queries_does_not_grow_with_the_journal(
    world: World, reader: Client
) -> None:
    before = queries(reader), queries(reader, text="e"), queries(reader, page=2)
    maker = world.accounts["maker"]
    for number in range(60):
        make.supplier(maker, f"Supplier {number}")
    make.strips(maker, name="other strips")
    after = queries(reader), queries(reader, text="e"), queries(reader, page=2)
    assert all(now <= then for now, then in zip(after, before, strict=True))
    assert max(before) < 20


def plan_of(asked: Asked) -> str:
    return journal_reading.acts(asked)[:25].explain().lower()


@pytest.mark.parametrize("what", ["record", "person", "day"])
def test_record_person_and_day_are_found_by_an_index(world: World, what: str) -> None:
    asked = {
        "record": Asked(on=world.lot.code),
        "person": Asked(who=world.accounts["maker"].person_id),
        "day": Asked(since=timezone.localdate(), until=timezone.localdate()),
    }[what]
    if connection.vendor == "postgresql":
        run("SET LOCAL enable_seqscan = off")  # it would, for so few rows
        assert "seq scan" not in plan_of(asked)
    else:
        assert "search" in plan_of(asked)
        assert "scan producer" not in plan_of(asked)
