"""Somebody has the database file and changes it with SQLite alone; verify says what.

Each attack is made on a copy of records that verify has just called sound. The hand
takes the triggers away and puts them back, and knows how every hash is computed.
"""

from __future__ import annotations

import datetime
import json
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from producer.models.journal import WRITTEN, canonical
from tests import laid
from tests.quality.attacked import BUILD, FILE, VERIFY, Hand, run
from tests.quality.attacks import ATTACKS, a_journal_emptied

Found = Mapping[str, tuple[int, str]]

pytestmark = pytest.mark.any_engine


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return records that verify calls sound."""
    directory = tmp_path_factory.mktemp("attacked") / "sound"
    directory.mkdir()
    laid.lay(directory / FILE)
    made = run(directory, "-c", BUILD)
    assert made.returncode == 0, made.stderr
    return directory


@pytest.fixture(scope="module")
def expected() -> dict[str, list[str]]:
    """Return what each attack wants to be told, once it was made."""
    return {}


@pytest.fixture(scope="module")
def found(
    sound: Path,
    expected: dict[str, list[str]],
    tmp_path_factory: pytest.TempPathFactory,
) -> Found:
    """Make every attack on a copy of its own, and verify them all."""
    top = tmp_path_factory.mktemp("copies")
    shutil.copytree(sound, top / "sound")
    for attack in ATTACKS:
        place = top / attack.__name__
        shutil.copytree(sound, place)
        hand = Hand(place)
        expected[attack.__name__] = attack(hand)
        hand.done()
    done = run(top, "-c", VERIFY, str(top))
    assert done.returncode == 0, done.stderr
    results: Found = json.loads(done.stdout)
    return results


def test_control_before_the_attacks_the_records_are_sound(found: Found) -> None:
    code, said = found["sound"]
    assert code == 0, said
    assert "No fault found." in said


@pytest.mark.parametrize("attack", [attack.__name__ for attack in ATTACKS])
def test_an_attack_on_the_file_is_found_and_its_place_is_told(
    attack: str, found: Found, expected: Mapping[str, list[str]]
) -> None:
    code, said = found[attack]
    assert code == 1, said
    for sentence in expected[attack]:
        assert sentence in said


def written_readings(after: dict[str, Any]) -> list[list[Any]]:
    """Return the rows of readings that an act kept."""
    rows: list[list[Any]]
    rows = after.get(WRITTEN, {}).get("batches_reading", {}).get("rows", [])
    return rows


def test_a_journal_written_anew_is_found_by_a_hash_that_was_noted(
    sound: Path, tmp_path: Path
) -> None:
    place = tmp_path / "anew"
    shutil.copytree(sound, place)
    hand = Hand(place)
    entries = hand.entries()
    place_of_five = next(
        number
        for number, entry in enumerate(entries)
        if [5] in [row[:1] for row in written_readings(json.loads(entry.after))]
    )
    before, noted = entries[place_of_five - 1], entries[place_of_five + 1]
    notes = tmp_path / "notes.txt"
    digits = noted.hash[:16].upper()
    notes.write_text(f"{before.sequence}:{before.hash}\n\n{noted.sequence}: {digits}\n")
    hand.change("batches_reading", 5, "value", 9.4)
    hand.change("batches_reading", 5, "standard_uncertainty", 0.1)
    for entry in entries:
        after = json.loads(entry.after)
        for row in written_readings(after):
            if row[0] == 5:
                names = after[WRITTEN]["batches_reading"]["columns"]
                row[names.index("value")] = "9.400"
                row[names.index("standard_uncertainty")] = "0.100000"
                entry.after = canonical(after)
    hand.write_anew(entries)
    hand.done()

    plain = run(place, "manage.py", "verify")
    with_notes = run(place, "manage.py", "verify", "--noted", str(notes))
    untouched = run(sound, "manage.py", "verify", "--noted", str(notes))

    # Only the signature still says otherwise; the journal itself looks whole.
    assert "Journal row" not in plain.stdout
    assert "Reading 5" not in plain.stdout
    assert with_notes.returncode == 1
    assert "Hashes noted elsewhere: 2" in with_notes.stdout
    assert f"Journal row {noted.sequence} was noted with" in with_notes.stdout
    assert "the journal was written anew at or before" in with_notes.stdout
    assert f"Journal row {before.sequence} was noted" not in with_notes.stdout
    assert untouched.returncode == 0, untouched.stdout


@pytest.mark.parametrize(
    ("note", "said"),
    [
        ("12:abc", "is not a row and its hash"),
        ("nothing-here.txt", "cannot be read"),
        ("99999:0123456789abcdef", "there is no such row"),
    ],
)
def test_a_note_that_fits_nothing_is_told(sound: Path, note: str, said: str) -> None:
    done = run(sound, "manage.py", "verify", "--noted", note)
    assert done.returncode != 0
    assert said in done.stdout + done.stderr


def test_a_file_that_no_record_names_is_only_a_remark(
    sound: Path, tmp_path: Path
) -> None:
    place = tmp_path / "left"
    shutil.copytree(sound, place)
    (place / "uploads" / "aa").mkdir(exist_ok=True)
    (place / "uploads" / "aa" / ("aa" * 32)).write_bytes(b"half a file")

    done = run(place, "manage.py", "verify")

    assert done.returncode == 0
    assert f"Remark: The file aa/{'aa' * 32} belongs to no record" in done.stdout


def make_older(hand: Hand, until: int) -> None:
    """Leave the journal as a version kept it that did not keep rows, up to this act."""
    entries = hand.entries()
    for entry in entries[:until]:
        after = json.loads(entry.after)
        after.pop(WRITTEN, None)
        entry.after = canonical(after)
    hand.write_anew(entries)


KEEP = "import django; django.setup(); from producer import baseline; "


@pytest.mark.parametrize("later_acts", [0, 40])
def test_rows_of_an_older_version_are_counted_then_kept_and_then_compared(
    sound: Path, tmp_path: Path, later_acts: int
) -> None:
    place = tmp_path / "older"
    shutil.copytree(sound, place)
    hand = Hand(place)
    acts = len(hand.entries())
    make_older(hand, acts - later_acts)
    hand.done()

    before = run(place, "manage.py", "verify")
    kept = run(place, "-c", f"{KEEP}print(baseline.keep())")
    again = run(place, "-c", f"{KEEP}print(baseline.keep())")
    after = run(place, "manage.py", "verify")
    hand = Hand(place)
    hand.change("batches_reading", 5, "value", 9.4)
    hand.done()
    forged = run(place, "manage.py", "verify")

    assert before.returncode == 0, before.stdout
    assert "rows cannot be compared one by one" in before.stdout
    assert "Start “serve” once" in before.stdout
    assert int(kept.stdout) > 0, kept.stderr
    assert f"Remark: {kept.stdout.strip()} rows cannot be compared" in before.stdout
    assert again.stdout.strip() == "0", again.stderr
    assert after.returncode == 0, after.stdout
    assert "rows cannot be compared" not in after.stdout
    assert f"from row {acts + 1} on. What was changed behind" in after.stdout
    assert forged.returncode == 1
    assert "Reading 5: value is 9.4" in forged.stdout


def test_control_nothing_is_kept_again_where_every_act_kept_its_rows(
    sound: Path, tmp_path: Path
) -> None:
    for name, spoil in (("whole", lambda _: None), ("emptied", a_journal_emptied)):
        place = tmp_path / name
        shutil.copytree(sound, place)
        hand = Hand(place)
        spoil(hand)
        hand.done()
        done = run(place, "-c", f"{KEEP}print(baseline.keep())")
        assert done.stdout.strip() == "0", done.stderr


def test_an_act_dated_before_the_one_before_it_is_a_remark(
    sound: Path, tmp_path: Path
) -> None:
    place = tmp_path / "set-back"
    shutil.copytree(sound, place)
    hand = Hand(place)
    entries = hand.entries()
    back = entries[59].at - datetime.timedelta(minutes=2)
    entries[60].at = back
    hand.write_anew(entries)
    hand.done()

    done = run(place, "manage.py", "verify")

    assert done.returncode == 0, done.stdout
    assert f"Remark: Journal row 61 is dated {back:%Y-%m-%d %H:%M} UTC" in done.stdout
    assert "is dated" not in run(sound, "manage.py", "verify").stdout


def test_the_file_is_only_looked_at(sound: Path) -> None:
    before = (sound / FILE).read_bytes()
    assert run(sound, "manage.py", "verify").returncode == 0
    assert (sound / FILE).read_bytes() == before
