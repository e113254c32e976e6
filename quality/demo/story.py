"""Half a year at Hollinmere Croft, told in the order in which it happened."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Callable, Sequence
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from quality.demo import first_months, last_months
from quality.demo.clock import Clock
from quality.demo.people import TIME_ZONE, write_logins
from quality.demo.scene import Scene

Chapter = Callable[[Scene], None]

CHAPTERS: tuple[tuple[str, Chapter], ...] = (
    ("People, registers, formulas, limits", first_months.move_in),
    ("First deliveries", first_months.first_deliveries),
    ("A cook too sharp, and its rework", first_months.first_cook_and_its_rework),
    ("First bottles", first_months.first_sales),
    ("A cook given up", first_months.a_cook_given_up),
    ("A new oil, and where it went", first_months.a_new_oil),
    ("New lots; one sent back", last_months.new_stock),
    ("A hot afternoon", last_months.a_hot_afternoon),
    ("A recall", last_months.the_recall),
    ("Fuller shelves and a mock recall", last_months.fuller_shelves),
    ("The last weeks", last_months.the_last_weeks),
    ("This week", last_months.this_week),
)


@transaction.atomic
def tell(
    *,
    logins: Path,
    say: Callable[[str], None],
    chapters: Sequence[tuple[str, Chapter]] = CHAPTERS,
) -> Scene:
    """Load the whole story, or nothing of it, and write the passwords to ``logins``.

    One transaction: a story broken off half way would look like somebody's records.
    """
    zone = zoneinfo.ZoneInfo(TIME_ZONE)
    today: datetime.date = timezone.now().astimezone(zone).date()
    scene = Scene(clock=Clock(today, zone))
    with scene.clock.running():
        for number, (title, chapter) in enumerate(chapters, start=1):
            say(f"  {number:2d} of {len(chapters)}  {title}")
            chapter(scene)
    write_logins(scene, logins)
    return scene
