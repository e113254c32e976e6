"""The review page: a batch in the order in which an auditor reads it."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal

import pytest
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify

from batches.models import Batch, Charge, Reading
from batches.services import cooking, planning
from batches.services.entries import Entries
from producer.models import Instrument, User
from quality.methods.sections import found
from quality.models import InstrumentCheck
from quality.services import as_signed, changing, reading_order, reviewing
from quality.services.reading_order import InOrder
from quality.services.reading_order.instruments import Used
from quality.services.reading_order.judgements import (
    METHODS,
    OUTCOME_METHOD,
    RISK_METHOD,
    of_record,
)
from quality.services.reading_order.timeline import APART, LATE, timeline
from quality.statistics.conformity import RULE, RULES
from quality.views.reviews import PLACES
from tests import lab, make
from tests.doors.pages import Page, page_of, text_of
from tests.quality.test_signing import hours_later, one_person

pytestmark = pytest.mark.django_db

NOTHING = "Nothing unusual"


def in_order(crew: make.Crew, batch: Batch) -> InOrder:
    batch = make.fresh(batch)
    review = reviewing.review_of(batch, by=crew.reviewer)
    return reading_order.in_order(batch, review, as_signed.signatures_of([batch.pk]))


def page(crew: make.Crew, batch: Batch) -> Page:
    return page_of(response_of(crew, batch))


def response_of(crew: make.Crew, batch: Batch) -> HttpResponseBase:
    client = Client()
    client.force_login(crew.reviewer)
    return client.get(reverse("quality:review", args=[batch.number]))


def amend_ph(crew: make.Crew, batch: Batch, value: str = "9.4") -> Reading:
    reading = Reading.objects.current().get(batch=batch, characteristic="ph")
    return cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal(value),
        method=reading.method,
        reason="the meter was misread",
    )


# ------------------------------------------------- the order, and the way about


def test_the_sections_stand_in_the_order_in_which_an_auditor_reads(
    crew: make.Crew,
) -> None:
    text = text_of(response_of(crew, make.released_paste(crew)))
    places = [text.index(f'id="{place}"') for place, _ in PLACES]
    assert places == sorted(places)
    assert len(PLACES) == 9


def test_every_link_to_a_place_on_the_page_leads_somewhere(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, "0.2")
    amend_ph(crew, batch)
    before = page(crew, batch)
    for shown in (before, page(crew, make.signed(crew.reviewer, batch, "reject"))):
        places = {one["id"] for _, one in shown.elements if one.get("id")}
        links = [one["href"] for one in shown.attributes("a")]
        inside = {link[1:] for link in links if link.startswith("#")} - {"more", "main"}
        assert {place for place, _ in PLACES} <= inside
        assert inside <= places


def test_each_figure_is_one_click_from_where_it_comes_from(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    row = Reading.objects.get(batch=batch, characteristic="ph")
    links = {one.get("href", "") for one in page(crew, batch).attributes("a")}
    lot = batch.charges.filter(certificate__isnull=False).first().source.lot  # type: ignore[union-attr]
    instrument = row.instrument
    assert instrument is not None
    assert {
        f"#reading-{row.pk}",
        "#yield",
        reverse("producer:lot", args=[lot.code]),
        reverse("producer:lot", args=[lot.code]) + "#certificate-1",
        reverse("quality:instrument", args=[instrument.pk]),
        reverse("quality:limits", args=[batch.formula_version_id]),
        reverse("quality:alkali", args=[batch.number]),
        reverse("quality:methods") + "#outcome-against-a-limit",
        reverse("quality:methods") + "#alkali-charge",
        reverse("quality:dossier", args=[batch.number]),
    } <= links


def test_the_page_of_methods_and_of_a_lot_have_these_places(
    crew: make.Crew,
) -> None:
    names = {entry.name for _, entries in found("") for entry in entries}
    assert {*METHODS.values(), OUTCOME_METHOD, RISK_METHOD, "Alkali charge"} <= names
    client = Client()
    client.force_login(crew.reviewer)
    text = text_of(client.get(reverse("quality:methods")))
    for name in names:
        assert f'<h3 id="{slugify(name)}">' in text, name
    assert slugify(OUTCOME_METHOD) == "outcome-against-a-limit"
    assert slugify(RISK_METHOD) == "risk-of-a-wrong-decision"
    lot = make.released_lot(crew, make.potash(crew.maker))
    text = text_of(client.get(reverse("producer:lot", args=[lot.code])))
    assert 'id="certificate-1"' in text


# ------------------------------------------------- exceptions come first


def test_an_ordinary_batch_says_in_one_sentence_that_nothing_is_unusual(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material")
    stocks = {line.pk: make.stock_of(crew, line) for line in lines}
    planning.choose_lots(by=crew.maker, batch=batch, choices=dict(stocks))
    for line in planning.plan_of(batch).lines:
        assert line.target_mg is not None
        stock = stocks[line.line.pk]
        make.charge(crew, batch, stock, line.target_mg, line=line.line, unusual="")
    for tool in (make.scale(crew.maker), make.meter(crew.maker)):
        check(crew, tool, -1, passed=True)
    make.complete(crew, batch)
    assert NOTHING in page(crew, batch).words
    make.read_ph(crew, batch, "9.95")
    assert NOTHING not in page(crew, batch).words


def test_a_correction_stands_among_the_exceptions_old_and_new_and_why(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    amend_ph(crew, batch)
    (one,) = in_order(crew, batch).exceptions.corrections
    assert one.old.words.startswith("9.2; ")
    assert one.new.words.startswith("9.4; ")
    assert one.old.is_struck
    assert not one.new.is_struck
    shown = page(crew, batch)
    assert NOTHING not in shown.words
    head, _, _ = shown.words.partition("Judgement Of Outcome")
    for words in ("Corrected entries: 1", "9.2;", "9.4;", "the meter was misread"):
        assert words in head, words


def test_a_charge_taken_back_says_so(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = Charge.objects.filter(batch=batch).earliest("pk")
    cooking.amend_charge(by=crew.maker, charge=row, reason="wrong tin", void=True)
    (one,) = in_order(crew, batch).exceptions.corrections
    assert one.old.words.startswith("800 g net: gross 1.15 kg, tare 350 g")
    assert one.new.words == "taken back"
    assert one.new.is_struck  # it holds nothing that counts


def test_what_is_entered_late_or_dated_ahead_is_named_once_and_not_its_correction(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    now = timezone.now()
    make.read_ph(crew, batch, "9.2", observed_at=now - LATE)
    make.read_ph(crew, batch, "9.2", observed_at=now + datetime.timedelta(minutes=30))
    make.read_ph(
        crew, batch, "9.2", observed_at=now - APART + datetime.timedelta(minutes=1)
    )
    words = [
        one.word
        for one in in_order(crew, batch).exceptions.unusual
        if one.status == "off_the_clock"
    ]
    assert sorted(words) == ["dated ahead", "entered late"]
    late = [x for x in timeline(Entries(batch)) if x.is_late]
    assert len(late) == 1
    cooking.amend_reading(
        by=crew.maker,
        reading=late[0].row,  # type: ignore[arg-type]
        value=Decimal("9.3"),
        method=batch.formula_version.ph_method,
        reason="misread",
    )
    assert [x.anchor for x in timeline(Entries(batch)) if x.is_late] == [late[0].anchor]


def test_a_doubtful_result_is_an_exception_and_a_failed_one_an_obstacle(
    crew: make.Crew,
) -> None:
    doubtful = in_order(crew, make.cooked_batch(crew, ph="9.95"))
    assert [
        one.word for one in doubtful.exceptions.unusual if one.place == "judgement"
    ] == ["pH: conditional pass"]
    failed = make.cooked_batch(crew, ph="11")
    assert not [
        x for x in in_order(crew, failed).exceptions.unusual if x.place == "judgement"
    ]
    head, _, tail = page(crew, failed).words.partition("Judgement Of Outcome")
    assert "What stands in the way of a release" in head
    assert "What stands in the way of a release" not in tail


def test_a_void_signature_stands_at_the_head_and_stays_an_exception(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    make.signed(crew.reviewer, batch, "release")
    before = in_order(crew, batch)
    assert (before.exceptions.unusual, before.exceptions.head) == ([], [])
    reading = Reading.objects.current().get(batch=batch, characteristic="ph")
    changing.change_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.6"),
        method=reading.method,
        instrument=reading.instrument,
        reason="the meter was misread",
    )
    void = in_order(crew, batch)
    (one,) = void.exceptions.head  # the page says it at its head, paper in the list
    assert (one.status, one.word) == ("void", "signature void")
    assert [one.word for one in void.exceptions.unusual] == ["on hold"]
    head = page(crew, make.fresh(batch)).words.partition("Judgement Of Outcome")[0]
    assert "void since" in head
    make.sign(crew.reviewer, batch, "unhold")
    again = in_order(crew, batch)
    assert not again.exceptions.head
    (one,) = again.exceptions.unusual
    assert (one.status, one.word) == ("void", "signature void")
    assert "from 9.2 to 9.6. Because: the meter was misread" in one.sentence


def test_a_self_review_is_an_exception(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner, hours=1)
    hours_later(monkeypatch, 1.1)
    make.sign(alone, batch)
    (one,) = in_order(crew, batch).exceptions.unusual
    assert one.status == "self_reviewed"
    assert "no independent check" in one.sentence


def test_how_it_was_judged_is_folded_away_and_what_was_found_is_not(
    crew: make.Crew,
) -> None:
    text = text_of(response_of(crew, make.cooked_batch(crew)))
    folded = re.findall(r'<details class="how">.*?</details>', text, re.DOTALL)
    assert len(folded) >= 2
    for words in ("Limit version 1", "JCGM 106:2012", "Approved by Rasmus Lind"):
        assert words in folded[0]
        assert words not in text.replace("".join(folded), "").split(folded[0])[0]
    for words in ('class="plain"', 'class="window"'):
        assert words not in "".join(folded)
        assert words in text


# ------------------------------------------------- what went in, what happened


def test_needed_and_weighed_stand_beside_each_other_with_their_difference(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__kind="potash")
    cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg + 2_100,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    make.complete(crew, batch)
    lines = {line.name: line for line in in_order(crew, batch).inputs}
    potash = lines["potash flakes"]
    assert potash.needed_mg is not None
    assert potash.is_computed
    assert potash.difference_g == pytest.approx(Decimal("2.1"), abs=Decimal("0.06"))
    assert potash.difference_percent == pytest.approx(
        Decimal(100) * (potash.difference_g or 0) * 1000 / potash.needed_mg
    )
    assert lines["sunflower oil"].difference_mg == 0
    shown = page(crew, batch).words
    assert re.search(r"\+2\.[012] g \+0\.\d\d %", shown)


def test_a_lot_stands_with_the_certificate_it_was_computed_with_and_a_later_one(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": lot.stock})
    (source,) = in_order(crew, batch).inputs[-1].sources
    assert source.lot is not None
    assert (source.lot.code, source.revised) == (lot.code, None)
    assert source.certificate is not None
    assert source.certificate.version == 1
    lot.certificates.create(
        version=2,
        assay_percent=Decimal(87),
        assay_basis="hydroxide",
        reason="sent again",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    (source,) = in_order(crew, batch).inputs[-1].sources
    assert source.certificate is not None
    assert source.revised is not None
    assert (source.certificate.version, source.revised.version) == (1, 2)


def test_what_no_line_asks_for_stands_after_the_lines(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    lot = make.released_lot(crew, make.water(crew.maker))
    cooking_row = Charge(
        batch=batch,
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=2000,
        tare_mg=1000,
        net_mg=1000,
        observed_at=timezone.now(),
        entered_by=crew.maker,
        reason="to thin it",
    )
    cooking_row.save()
    last = in_order(crew, batch).inputs[-1]
    assert (last.name, last.needed_mg, last.weighed_mg) == (
        "distilled water",
        None,
        1000,
    )
    assert (last.difference_g, last.difference_percent) == (None, None)


def test_a_paste_that_went_in_leads_to_its_own_review(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    (source,) = next(
        x for x in in_order(crew, liquid).inputs if x.name == "Kitchen paste"
    ).sources
    assert source.lot is None
    assert source.batch == paste
    links = {one.get("href") for one in page(crew, liquid).attributes("a")}
    assert reverse("quality:review", args=[paste.number]) in links


def test_the_timeline_goes_by_the_clock_on_the_wall(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    long_ago = timezone.now() - datetime.timedelta(hours=5)
    make.read_ph(crew, batch, "9.2", observed_at=long_ago)
    events = timeline(Entries(batch))
    assert events[0].what == "pH"
    times = [event.row.observed_at for event in events]
    assert times == sorted(times)
    assert len(events) == sum(1 for _ in Entries(batch))
    assert [event.is_apart for event in events] == [True] + [False] * (len(events) - 1)
    shown = page(crew, batch).words
    assert shown.count(" entered ") >= 1


def test_every_entry_names_its_figures_and_what_it_was_read_with(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    row = lab.free_alkali(crew, batch)
    told = {event.what: event for event in timeline(Entries(batch), mark=",")}
    charge = told["charge of coconut oil"]
    assert charge.words == "200 g net: gross 550 g, tare 350 g"
    assert charge.instrument is not None
    assert charge.instrument.name == "bench scale"
    assert told["pH"].words == f"9,2; {batch.formula_version.ph_method}"
    assert told["clarity"].words == "clear"
    assert told["titration: free alkali"].words == row.sentence
    assert told["weighing of the yield"].title == "Weighing of the yield"
    assert told["pH"].title == "pH"


# ------------------------------------------------- instruments and bottles


def check(
    crew: make.Crew, instrument: Instrument, hours: float, *, passed: bool
) -> None:
    """Record a check so many hours from now, as it may stand in old records."""
    InstrumentCheck.objects.create(
        instrument=instrument,
        against="1 kg weight",
        reference=1000,
        shown=1000 if passed else 1010,
        tolerance=2,
        passed=passed,
        sentence="looked at",
        observed_at=timezone.now() + datetime.timedelta(hours=hours),
        entered_by=crew.maker,
    )


def test_an_instrument_stands_with_the_last_check_before_and_the_first_after(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    scale = make.scale(crew.maker)

    def used() -> Used:
        return next(x for x in in_order(crew, batch).used if x.instrument == scale)

    assert (used().before, used().after, used().doubt) == (None, None, "")
    assert used().times == 5
    for hours, passed in ((-9, False), (-5, True)):
        check(crew, scale, hours, passed=passed)
    batch = make.cooked_batch(crew)  # after both were entered
    for hours, passed in ((5, True), (9, False)):
        check(crew, scale, hours, passed=passed)
    before, after = used().before, used().after
    assert before is not None
    assert after is not None
    assert (before.passed, after.passed) == (True, True)
    assert used().doubt == ""


@pytest.mark.parametrize(
    ("hours", "says"),
    [(-1, "had failed its last check before"), (1, "failed the first check after")],
)
def test_a_failed_check_before_or_after_is_an_exception(
    crew: make.Crew, hours: float, says: str
) -> None:
    batch = make.cooked_batch(crew)
    check(crew, make.scale(crew.maker), hours, passed=False)
    (one,) = [
        x for x in in_order(crew, batch).exceptions.unusual if x.status == "in_doubt"
    ]
    assert says in one.sentence
    assert one.place == "instruments"


def test_strips_past_their_date_are_an_exception_and_are_never_checked(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    strips = make.strips(crew.maker)
    make.read_ph(crew, batch, "9", instrument=strips)
    used = next(x for x in in_order(crew, batch).used if x.instrument == strips)
    assert used.is_never_checked
    assert used.doubt == ""
    Instrument.objects.filter(pk=strips.pk).update(
        expires_on=make.TODAY - datetime.timedelta(days=2)
    )
    used = next(x for x in in_order(crew, batch).used if x.instrument == strips)
    assert used.doubt == "strips 41 was past its date when it was used."


def test_bottles_stand_by_state(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    assert in_order(crew, liquid).filled == []
    lot = make.filled(crew, liquid, count=3, nominal_ul=100_000)
    make.signed(crew.reviewer, liquid, "hold")
    (one,) = in_order(crew, liquid).filled
    assert one.lot == lot
    assert [(state.value, number) for state, number in one.counts] == [("on_hold", 3)]
    assert (one.labels, one.check) == (3, None)


# ------------------------------------------------- as signed, from the record


def test_a_judgement_of_an_old_record_has_the_only_rule_there_was() -> None:
    old = {
        "characteristic": "ph",
        "limit_version": 2,
        "lower": "8",
        "upper": "10",
        "method": "1 %",
        "value": "9.8",
        "standard_uncertainty": "0.3",
        "verdict": "conditional_pass",
        "sentence": "pH 9.8 …",
    }
    shown = of_record(old)
    assert shown.decision_rule is RULE
    assert shown.risk is None
    assert shown.limit_words == "Limit version 2: 1 %"
    assert shown.value_in_words(",") == "9,8 ± 0,6"
    other = of_record({**old, "verdict": "fail"})
    assert other.decision_rule is None  # it did not follow from the rule
    missing = of_record({**old, "value": None, "verdict": None})
    assert missing.decision_rule is None


def test_a_judgement_of_a_new_record_has_its_own_rule_and_risk() -> None:
    new = {
        "characteristic": "soap_content",
        "limit_version": 1,
        "lower": "20",
        "upper": None,
        "method": "",
        "value": "21",
        "standard_uncertainty": "1",
        "verdict": "pass",
        "sentence": "…",
        "rule": "simple_1",
        "effect": "warn",
        "origin": "budget",
        "risk": "0.158655",
    }
    shown = of_record(new)
    assert shown.decision_rule is RULES["simple_1"]
    assert shown.risk == pytest.approx(0.158655)
    assert shown.limits_in_words() == "at least 20 %"
    assert "warns" in shown.effect
    del new["rule"]
    assert of_record(new).decision_rule is None
