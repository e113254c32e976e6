"""A cook in the night in which the clock is put back, entered as it was on the wall.

The clock goes from 03:00 +02:00 back to 02:00 +01:00 (Berlin, 26 October 2025, at 01:00
UTC on the last Sunday of October: Directive 2000/84/EC, article 3, from memory), so
02:10 in the first hour and 02:40 in the second lie 90 minutes apart.
"""

from __future__ import annotations

import csv
import datetime
import io
import itertools
from pathlib import Path

import pypdfium2
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Reading
from batches.services.excursions import excursions_of
from producer.models import Premises
from quality.documents.dossier import dossier_pdf
from quality.services.reading_order.timeline import timeline
from quality.services.reviewing import review_of
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

NIGHT = "2025-10-26T"
# As the wall showed it, which of the two, and what the thermometer said.
COOK = (
    ("02:10", "+02:00", "65"),
    ("02:40", "+02:00", "74"),  # too hot …
    ("02:10", "+01:00", "76"),  # … half an hour later, though the clock shows less
    ("02:40", "+01:00", "68"),
)
BY_THE_CLOCK = [f"26 Oct 2025, {wall} {offset}" for wall, offset, _ in COOK]


@pytest.fixture
def pot(crew: make.Crew, premises: Premises) -> Batch:
    """Return a batch opened before that night, in a premises in Berlin."""
    Premises.objects.update(time_zone="Europe/Berlin")
    opened = datetime.datetime(2025, 10, 25, 22, 0, tzinfo=datetime.UTC)
    batch = make.open_batch(crew, opened_at=opened)
    make.charge_all(crew, batch)
    make.thermometer(crew.maker)
    return make.fresh(batch)


@pytest.fixture
def cook(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def entered(
    cook: Client, pot: Batch, wall: str, celsius: str, which: str = ""
) -> Reading | str:
    """Type a temperature as at the pot; return what was kept, or what was said."""
    address = reverse("batches:read", args=[pot.number, "temperature"])
    form = cook.get(address).context["form"]
    answer = cook.post(
        address,
        {
            "submission": str(form["submission"].value()),
            "value": celsius,
            "instrument": make.thermometer(pot.maker).pk,
            "observed_at": NIGHT + wall,
            **({"observed_at_which": which} if which else {}),
        },
    )
    if answer.status_code == 302:
        return Reading.objects.latest("pk")
    return page_of(answer).words


def cooked(cook: Client, pot: Batch) -> list[Reading]:
    """Enter the cook out of order: the second hour first."""
    kept = []
    for wall, which, celsius in (*COOK[2:], *COOK[:2]):
        reading = entered(cook, pot, wall, celsius, which)
        assert isinstance(reading, Reading), reading
        kept.append(reading)
    return kept


def in_order(words: str) -> bool:
    """Say whether the four times stand in the words once each and in order."""
    places = [words.find(shown) for shown in BY_THE_CLOCK]
    return -1 not in places and places == sorted(places)


def test_scenario_06_clock_change_asks_which_of_the_two_hours(
    cook: Client, pot: Batch
) -> None:
    said = entered(cook, pot, "02:10", "65")
    assert isinstance(said, str)
    assert "showed 02:10 on 26 Oct 2025 twice" in said
    assert "02:10 +02:00, the first, before the clock was put back" in said
    assert "02:10 +01:00, the second, after it was" in said
    assert not Reading.objects.exists()
    kept = entered(cook, pot, "02:10", "65", "+01:00")
    assert isinstance(kept, Reading)
    assert kept.observed_at == datetime.datetime(
        2025, 10, 26, 1, 10, tzinfo=datetime.UTC
    )


def test_scenario_06_clock_change_keeps_order_and_durations(
    cook: Client, pot: Batch
) -> None:
    cooked(cook, pot)
    rows = list(Reading.objects.order_by("observed_at"))
    assert [row.value for row in rows] == [65, 74, 76, 68]
    waited = [
        later.observed_at - earlier.observed_at
        for earlier, later in itertools.pairwise(rows)
    ]
    assert waited == [datetime.timedelta(minutes=30)] * 3
    # Control: by what the clock shows alone, the second hour comes before the first.
    zone = Premises.objects.get().zone
    shown = [f"{row.observed_at.astimezone(zone):%H:%M}" for row in rows]
    assert shown != sorted(shown)


def test_scenario_06_clock_change_the_timeline_is_in_the_order_in_which_it_happened(
    cook: Client, pot: Batch, crew: make.Crew
) -> None:
    cooked(cook, pot)
    events = timeline(review_of(pot, by=crew.maker).entries)
    read = [one.words for one in events if isinstance(one.row, Reading)]
    assert read == ["65 °C", "74 °C", "76 °C", "68 °C"]


def test_scenario_06_clock_change_every_page_shows_both_hours_with_their_offset(
    cook: Client, pot: Batch
) -> None:
    cooked(cook, pot)
    for name in ("batches:batch", "quality:review"):
        words = page_of(cook.get(reverse(name, args=[pot.number]))).words
        assert in_order(words), name


def test_scenario_06_clock_change_the_pot_screen_tells_the_two_hours_apart(
    cook: Client, pot: Batch
) -> None:
    cooked(cook, pot)
    words = page_of(cook.get(reverse("batches:pot", args=[pot.number]))).words
    for wall, offset, _ in COOK:
        assert f"{wall} {offset}" in words
    (too_hot,) = excursions_of(pot)
    assert too_hot.end is not None
    assert too_hot.end > too_hot.start
    assert too_hot.above < datetime.timedelta(minutes=90)


def test_scenario_06_clock_change_both_hours_are_on_paper_and_in_the_export(
    cook: Client, pot: Batch, crew: make.Crew, tmp_path: Path
) -> None:
    cooked(cook, pot)
    make.read_clarity(crew, pot)
    with timezone.override(Premises.objects.get().zone):
        pdf = dossier_pdf(make.fresh(pot), printed_by="Mirja Aalto")
    pages = pypdfium2.PdfDocument(pdf)
    printed = [page.get_textpage().get_text_bounded() for page in pages]
    words = " ".join(" ".join(printed).split())
    for shown in BY_THE_CLOCK:
        assert shown in words
    folder = tmp_path / "out"
    call_command("export", str(folder), batch=pot.number, stdout=io.StringIO())
    with (folder / "tables" / "readings.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {
        row["observed_at"] for row in rows if row["characteristic"] == "temperature"
    } == {f"{NIGHT}{wall}:00{offset}" for wall, offset, _ in COOK}
