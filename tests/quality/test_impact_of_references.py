"""What rests on a check weight, a buffer or an indicator that was not what it says."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, ContainerWeighing
from producer.models import Instrument, User
from producer.services import registers
from quality.models import InstrumentCheck
from quality.services import checking, impact
from quality.services.checking import Known, TwoBuffers
from quality.statistics.buffers import BufferSet
from tests import lab, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
MINUTE = datetime.timedelta(minutes=1)


def impact_of(instrument: Instrument) -> impact.Impact:
    doubt = impact.doubt_of(instrument)
    assert doubt is not None
    return impact.impact_of(doubt)


def retired(by: User, entry: Instrument) -> Instrument:
    """Return an instrument that was recalled and taken out of use."""
    entry.in_use = False
    return registers.save(by=by, entry=entry)


def checked(by: User, weight: Instrument | None, shown: str = "500") -> InstrumentCheck:
    return checking.record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(
            against="" if weight else "another weight",
            reference=Decimal(500),
            shown=Decimal(shown),
            weight=weight,
        ),
        tolerance=Decimal(2),
    )


def indicator(by: User, name: str) -> Instrument:
    return make.registered(by, Instrument(kind="indicator", name=name))


def test_scenario_26_an_indicator_lot_is_recalled_and_all_titrated_with_it_is_listed(
    crew: make.Crew,
) -> None:
    bad, other = (indicator(crew.maker, name) for name in ("lot 1", "lot 2"))
    potash = make.released_lot(crew, make.potash(crew.maker))
    lab.titration(crew, potash.stock, setup={"indicator": bad})
    lab.titration(crew, potash.stock, setup={"indicator": other})
    lab.titration(crew, potash.stock)
    found = impact_of(retired(crew.maker, bad))
    (one,) = found.results
    assert (one.code, one.what) == (
        potash.code,
        "titration, potash: hydroxide and carbonate, two end points",
    )
    # By how much nobody knows, so nothing is said about a limit that could be crossed.
    assert (one.effect, one.percent, one.corrected, one.crosses) == (
        None,
        None,
        None,
        False,
    )
    assert impact.count(found.doubt) == 1
    assert [row.code for row in found.touched] == [potash.code]


def weighed_between(crew: make.Crew) -> tuple[Batch, Batch, Batch]:
    """Return batches weighed under a good check, a bad one and a good one again."""
    weight = lab.check_weight(crew.maker)
    batches = []
    for with_ in (None, weight, None):
        checked(crew.maker, with_)
        batch = make.open_batch(crew)
        make.charge_all(crew, batch)
        batches.append(batch)
    return batches[0], batches[1], batches[2]


def test_scenario_26_what_rests_on_a_check_with_a_bad_weight_is_listed(
    crew: make.Crew,
) -> None:
    before, under, after = weighed_between(crew)
    found = impact_of(retired(crew.maker, lab.check_weight(crew.maker)))
    (check,) = found.checks
    assert check.reference_instrument == lab.check_weight(crew.maker)
    codes = [one.code for one in found.results]
    # From the last check with another weight to the next: so the batch before is in it
    # too, since when the scale went wrong nobody knows.
    tins = {row.stock.code for row in ContainerWeighing.objects.all()}
    assert set(codes) == {before.number, under.number} | tins
    assert codes.count(under.number) == under.charges.count()
    assert after.number not in codes
    assert {one.effect for one in found.results} == {None}
    assert {one.alkali for one in found.results} == {None}
    assert impact.count(found.doubt) == len(found.results)
    # The scale itself passed every check.
    assert impact.doubt_of(make.scale(crew.maker)) is None


def test_a_weight_that_nothing_was_held_against_touches_nothing(
    crew: make.Crew,
) -> None:
    before = make.open_batch(crew)
    make.charge_all(crew, before)
    found = impact_of(lab.check_weight(crew.maker))
    assert (found.results, list(found.checks), found.touched) == ([], [], [])
    assert impact.count(found.doubt) == 0


def test_scenario_26_a_bad_buffer_in_either_place_puts_the_ph_values_in_doubt(
    crew: make.Crew,
) -> None:
    lots = [
        make.registered(
            crew.maker,
            Instrument(kind="buffer", name=f"buffer {name}", nominal=Decimal(name)),
        )
        for name in ("7.00", "10.01")
    ]
    checking.record_check(
        by=crew.maker,
        instrument=make.meter(crew.maker),
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("7.00", "10.01"),
            shown=(Decimal("7.02"), Decimal("10.06")),
            temperature=Decimal(20),
            lots=(lots[0], lots[1]),
        ),
        tolerance=Decimal("0.1"),
        half_width=Decimal("0.02"),
        observed_at=timezone.now() - MINUTE,
    )
    batch = make.cooked_batch(crew, ph="9.3")
    for lot in lots:
        found = impact_of(lot)
        assert [(one.code, one.value) for one in found.results] == [
            (batch.number, Decimal("9.3"))
        ]
        assert found.results[0].limits == "8 to 10"
        assert found.results[0].margin == Decimal("0.7")


def test_the_pages_the_paper_and_the_lines_say_that_the_size_is_not_known(
    crew: make.Crew,
) -> None:
    _, under, _ = weighed_between(crew)
    weight = retired(crew.maker, lab.check_weight(crew.maker))
    browser = Client()
    browser.force_login(crew.maker)
    page = page_of(browser.get(reverse("quality:instrument", args=[weight.pk])))
    assert "It is out of use. 9 results rest on it: see which" in page.words
    listed = page_of(
        browser.get(reverse("quality:instrument_impact", args=[weight.pk]))
    )
    assert under.number in listed.words
    assert "not known" in listed.words
    assert "how far off they were nobody knows" in listed.words
    assert "bench scale" in listed.words
    lines = browser.get(reverse("quality:instrument_impact_csv", args=[weight.pk]))
    rows = b"".join(lines).decode().splitlines()
    assert len(rows) == 1 + 9
    pdf = browser.get(reverse("quality:instrument_impact_pdf", args=[weight.pk]))
    assert pdf.content.startswith(b"%PDF-")
