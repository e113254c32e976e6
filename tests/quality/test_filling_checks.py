"""Bottles weighed against their label: verdict, record and page."""

from __future__ import annotations

import functools
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.test import Client
from django.urls import reverse

from batches.models import FillingLot
from batches.services import places
from producer.errors import Refusal
from producer.models import Instrument, JournalEntry
from quality.models import FillCheck
from quality.services import filling_checks, supplying
from quality.services.weighings import failed, newest_check
from tests import hands, lab, make
from tests.doors.pages import page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

GOOD_MG = 511_000  # 501 ml at 1.02 g/ml


def check(
    crew: make.Crew, lot: FillingLot, net_mg: list[int], **changes: Any
) -> FillCheck:
    facts = {
        "scale": make.scale(crew.maker),
        "tare_mg": 42_000,
        "net_mg": net_mg,
        "since": "topped up" if failed(newest_check(lot)) else "",
        **changes,
    }
    return filling_checks.record_fill_check(by=crew.maker, filling_lot=lot, **facts)


def test_a_lot_that_holds_what_it_says_is_accepted(crew: make.Crew) -> None:
    row = check(crew, make.filled(crew), [GOOD_MG, 510_000])
    assert row.accepted
    assert row.net_mg == [GOOD_MG, 510_000]
    # 511 and 510 g at 1.02 g/ml
    assert "the mean of 2 bottles is 500.5 ml, at least 500.0 ml" in row.sentence
    entry = JournalEntry.objects.latest("pk")
    assert entry.act == "net content checked"
    assert row.filling_lot.code == entry.subject_label


def test_a_short_lot_is_recorded_as_not_accepted(crew: make.Crew) -> None:
    row = check(crew, make.filled(crew), [GOOD_MG, 509_000 - 2_000])
    assert not row.accepted
    assert row.sentence.startswith("Not accepted: the mean")


def test_the_density_of_the_lot_turns_grams_into_millilitres(crew: make.Crew) -> None:
    heavy = make.filled(crew, density=Decimal("1.0300"))
    assert not check(crew, heavy, [GOOD_MG, GOOD_MG]).accepted  # 496 ml
    assert check(crew, heavy, [515_000, 515_000]).accepted  # 500 ml


@pytest.mark.parametrize(
    ("net_mg", "says"),
    [
        ([GOOD_MG], "weighed as a whole: 2, not 1"),
        ([GOOD_MG] * 3, "of a lot of 2"),
        ([], "0 bottles were weighed"),
        ([GOOD_MG, -1], "tare is heavier"),
    ],
)
def test_what_cannot_be_judged_is_refused(
    crew: make.Crew, net_mg: list[int], says: str
) -> None:
    lot = make.filled(crew)
    with pytest.raises(Refusal, match=says) as refused, transaction.atomic():
        check(crew, lot, net_mg)
    assert refused.value.field == "masses"
    assert not FillCheck.objects.exists()


def test_a_slip_of_the_decimal_point_is_refused_by_its_number(
    crew: make.Crew,
) -> None:
    """12200 typed for 122.00 would lift the mean of any lot."""
    lot = make.filled(crew, nominal_ul=100_000)
    with pytest.raises(Refusal, match="Mass 2 is 12158 g net") as refused:
        check(crew, lot, [102_000, 12_158_000])
    assert refused.value.field == "masses"
    assert "a bottle of 100 ml holds about 102 g" in str(refused.value)
    with pytest.raises(Refusal, match=r"Mass 1 is 10.2 g net"):
        check(crew, lot, [10_200, 102_000])
    assert not FillCheck.objects.exists()


@pytest.mark.parametrize(
    ("net_mg", "refused"),
    [(255_000, False), (254_999, True), (765_000, False), (765_001, True)],
)
def test_half_and_one_and_a_half_times_what_it_holds_is_let_through(
    crew: make.Crew,
    net_mg: int,
    refused: bool,  # noqa: FBT001
) -> None:
    lot = make.filled(crew)  # 500 ml at 1.02 g/ml
    if refused:
        with pytest.raises(Refusal, match="Mass 1"):
            check(crew, lot, [net_mg, GOOD_MG])
    else:
        check(crew, lot, [net_mg, GOOD_MG])


def test_no_bottle_is_heavier_than_its_scale_can_carry(crew: make.Crew) -> None:
    lot = make.filled(crew)
    scale = make.scale(crew.maker)
    Instrument.objects.filter(pk=scale.pk).update(capacity=Decimal(553))
    scale.refresh_from_db()
    assert check(crew, lot, [GOOD_MG, GOOD_MG], scale=scale).accepted  # 553 g gross
    with pytest.raises(Refusal, match="Mass 2: bench scale carries up to 553 g") as no:
        check(crew, lot, [GOOD_MG, GOOD_MG + 1], scale=scale)
    assert no.value.field == "masses"


def test_the_sentence_names_the_density_and_a_mean_that_is_not_clear(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    near = check(crew, lot, [GOOD_MG, GOOD_MG])  # 501 ml, known to ± 2.9
    assert near.accepted
    assert "Judged with a density of 1.02 g/ml." in near.sentence
    assert "cannot be told from the nominal 500.0 ml" in near.sentence
    assert "known to ± 3.0 ml" in near.sentence
    clear = check(crew, lot, [514_000, 514_000])  # 503.9 ml
    assert clear.accepted
    assert "Judged with a density of 1.02 g/ml." in clear.sentence
    assert "cannot be told" not in clear.sentence
    short = check(crew, lot, [509_500, 509_500])  # 499.5 ml: the rule stays the rule
    assert not short.accepted
    assert "cannot be told from the nominal" in short.sentence


def test_a_coarse_scale_cannot_judge_a_small_bottle(crew: make.Crew) -> None:
    lot = make.filled(crew, nominal_ul=10_000)  # T is 0.9 ml, a fifth 0.18
    with pytest.raises(Refusal, match="Take a finer scale") as refused:
        check(crew, lot, [10_300, 10_300])
    assert refused.value.field == "scale"
    assert "± 0.82 g" in str(refused.value)
    assert "± 0.18 g or better" in str(refused.value)
    fine = make.registered(
        crew.maker,
        Instrument(kind="scale", name="fine scale", resolution=Decimal("0.01")),
    )
    assert check(crew, lot, [10_300, 10_300], scale=fine).accepted


def test_the_uncertainty_of_a_net_mass_counts_step_and_bias() -> None:
    scale = Instrument(
        kind="scale", resolution=Decimal(1), bias_half_width=Decimal("1.5")
    )
    # 2·√(1/6 + 2.25/3)
    assert float(filling_checks.net_uncertainty_g(scale)) == pytest.approx(
        1.9149, abs=1e-4
    )


def test_only_a_scale_weighs(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="is not a scale") as refused:
        check(
            crew,
            make.filled(crew),
            [GOOD_MG] * 2,
            scale=make.thermometer(crew.maker),
        )
    assert refused.value.field == "scale"


def test_an_empty_bottle_weighs_something(crew: make.Crew) -> None:
    with pytest.raises(ValidationError):
        check(crew, make.filled(crew), [GOOD_MG] * 2, tare_mg=0)


def test_only_a_maker_records_it(crew: make.Crew) -> None:
    with pytest.raises(PermissionDenied):
        filling_checks.record_fill_check(
            by=crew.reviewer,
            filling_lot=make.filled(crew),
            scale=make.scale(crew.maker),
            tare_mg=42_000,
            net_mg=[GOOD_MG] * 2,
        )


def test_it_may_be_written_down_later_than_it_was_weighed(crew: make.Crew) -> None:
    lot = make.filled(crew)
    row = check(crew, lot, [GOOD_MG] * 2, observed_at=lot.observed_at)
    assert row.observed_at == lot.observed_at < row.entered_at


def test_bottles_of_each_size_are_counted_from_a_mass() -> None:
    rows = {
        row.nominal_ul: (row.count, row.rest_mg)
        for row in filling_checks.bottles_of(1_300_000, Decimal("1.02"))
    }
    assert rows == {
        100_000: (12, 76_000),
        250_000: (5, 25_000),
        500_000: (2, 280_000),
        750_000: (1, 535_000),
        1_000_000: (1, 280_000),
    }
    assert filling_checks.bottles_of(0, Decimal(1)) == []


# ------------------------------------------------------------------ pages


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def form(crew: make.Crew, masses: str, **changes: str) -> dict[str, str]:
    return {
        "submission": str(uuid.uuid4()),
        "scale": str(make.scale(crew.maker).pk),
        "tare_mg": "42",
        "masses": masses,
        "are_gross": "gross",
        **changes,
    }


def test_gross_masses_with_commas_are_understood(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew)
    address = reverse("quality:fill_check", args=[lot.code])
    response = browser.post(address, form(crew, "553,5 g\r\n\r\n552.75;"))
    assert response.headers["Location"] == reverse(
        "batches:filling_lot", args=[lot.code]
    )
    assert FillCheck.objects.get().net_mg == [511_500, 510_750]
    words = page_of(browser.get(response.headers["Location"])).words
    assert "accepted" in words
    assert "the mean of 2 bottles is" in words
    assert "bench scale" in words


def test_net_masses_are_taken_as_they_are(browser: Client, crew: make.Crew) -> None:
    lot = make.filled(crew)
    address = reverse("quality:fill_check", args=[lot.code])
    browser.post(address, form(crew, "511\n511", are_gross="net"))
    row = FillCheck.objects.get()
    assert (row.net_mg, row.tare_mg) == ([511_000, 511_000], 42_000)


@pytest.mark.parametrize(
    ("masses", "says"),
    [
        ("553\n5x3", "Mass 2:"),
        ("553\n1,250", "Mass 2:"),
        ("553\n42", "Mass 2: not above that of the empty bottle"),
        ("553", "weighed as a whole"),
        ("", "This is needed."),
    ],
)
def test_what_was_mistyped_is_said_beside_the_masses(
    browser: Client, crew: make.Crew, masses: str, says: str
) -> None:
    lot = make.filled(crew)
    response = browser.post(
        reverse("quality:fill_check", args=[lot.code]), form(crew, masses)
    )
    assert response.status_code == 200
    page = page_of(response)
    assert says in page.words
    assert "Not recorded yet" in page.words
    assert not FillCheck.objects.exists()


def test_the_page_of_a_lot_says_what_it_is_held_to(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew)
    words = page_of(browser.get(reverse("batches:filling_lot", args=[lot.code]))).words
    assert "at least 500 ml, few bottles are below 485 ml, none below 470 ml" in words
    assert "No bottle of this lot has been weighed" in words


def test_a_size_without_a_rule_says_so_and_offers_no_check(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew, count=1)
    big = FillingLot.objects.create(
        code="F26-0099-X",
        batch=lot.batch,
        nominal_ul=20_000_000,
        density=Decimal(1),
        count=1,
        filled_mg=20_000_000,
        use_by=lot.use_by,
        observed_at=lot.observed_at,
        entered_by=crew.maker,
    )
    address = reverse("quality:fill_check", args=[big.code])
    page = page_of(browser.get(reverse("batches:filling_lot", args=[big.code])))
    assert "from 5 ml to 10 l" in page.words
    assert address not in {one.get("href") for one in page.attributes("a")}
    response = browser.post(address, form(crew, "20 kg"))
    assert "from 5 ml to 10 l" in page_of(response).words


def test_the_fill_page_says_how_many_bottles_the_mass_gives(
    browser: Client, crew: make.Crew
) -> None:
    liquid = make.released_liquid(crew)  # about 1.2 kg
    address = reverse("batches:fill", args=[liquid.number])
    words = page_of(browser.get(address)).words
    assert "At 1.02 g/ml, usual for a liquid soap" in words
    assert "500 ml 2" in words
    make.filled(crew, liquid, count=1, density=Decimal("1.0100"), nominal_ul=100_000)
    assert "At 1.01 g/ml, as in F" in page_of(browser.get(address)).words


# ------------------------------------------------- the limit of the mean content


def test_a_mean_below_a_limit_that_holds_keeps_the_bottles_here(
    crew: make.Crew,
) -> None:
    lot = lab.short_bottles(crew)
    row = FillCheck.objects.get()
    assert (row.verdict, row.limit and row.limit.characteristic) == (
        "fail",
        "net_content",
    )
    # 480 g at 1.02 g/ml are 470.6 ml of 500
    assert "Mean content, of the nominal one, 94.1" in row.sentence
    assert "% of the nominal content is too low, even if" in row.sentence
    assert "These bottles must not leave" in row.sentence
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"on_hold"}
    entry = JournalEntry.objects.latest("pk")
    assert entry.after_values["bottles_held"] == 2
    assert entry.after_values["limit"]["lower"] == "100.000"
    with pytest.raises(Refusal, match="on hold and cannot leave"):
        supplying.dispatch(
            by=crew.maker,
            bottles=make.bottles_of(lot),
            consignee=make.consignee(crew.maker),
        )


def test_a_limit_that_warns_holds_no_bottle(crew: make.Crew) -> None:
    lot = lab.short_bottles(crew, effect="warn")
    row = FillCheck.objects.get()
    assert row.verdict == "fail"
    assert "must not leave" not in row.sentence
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"filled"}


def test_without_a_limit_only_the_rule_judges(crew: make.Crew) -> None:
    lot = make.filled(crew)
    row = check(crew, lot, [480_000, 480_000])
    assert not row.accepted
    assert (row.limit, row.verdict) == (None, "")
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"filled"}


def test_topped_up_and_weighed_again_a_reviewer_frees_them(crew: make.Crew) -> None:
    lot = lab.short_bottles(crew)
    free = functools.partial(
        filling_checks.free_bottles, filling_lot=lot, reason="topped up"
    )
    with pytest.raises(Refusal, match="newest weighing"), transaction.atomic():
        free(by=crew.reviewer)
    lab.weigh_bottles(crew, lot, 520_000)
    with pytest.raises(PermissionDenied), transaction.atomic():
        free(by=crew.maker)
    assert free(by=crew.reviewer) == 2
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"filled"}
    with pytest.raises(Refusal, match="No weighing holds"), transaction.atomic():
        free(by=crew.reviewer)


def test_a_bottle_held_for_another_cause_is_not_freed_with_them(
    crew: make.Crew,
) -> None:
    lot = lab.topped_up_bottles(crew)
    leaking = make.bottles_of(lot)[0]
    for new in ("filled", "on_hold"):
        hands.moved(crew.reviewer, leaking, new, "it leaks")
    freed = filling_checks.free_bottles(
        by=crew.reviewer, filling_lot=lot, reason="topped up"
    )
    assert freed == 1
    assert [bottle.status for bottle in make.bottles_of(lot)] == ["on_hold", "filled"]


def test_on_another_shelf_it_is_still_the_weighing_that_holds_it(
    crew: make.Crew,
) -> None:
    lot = lab.topped_up_bottles(crew)
    short, leaking = make.bottles_of(lot)
    for new in ("filled", "on_hold"):
        hands.moved(crew.reviewer, leaking, new, "it leaks")
    # Its note is no reason of a hold, whatever it says.
    note = f"{filling_checks.HELD_WORDS} these is in doubt"
    shelf = hands.place(crew, "Quarantine shelf")
    places.put(by=crew.maker, bottles=[short, leaking], place=shelf, note=note)
    assert filling_checks.held_by_weighing(lot) == [short]
    freed = filling_checks.free_bottles(
        by=crew.reviewer, filling_lot=lot, reason="topped up"
    )
    assert freed == 1


def test_no_bottle_of_a_batch_on_hold_is_freed(crew: make.Crew) -> None:
    lot = lab.topped_up_bottles(crew)
    make.sign(crew.reviewer, make.fresh(lot.batch), "hold")
    with pytest.raises(Refusal, match="so its bottles stay"):
        filling_checks.free_bottles(
            by=crew.reviewer, filling_lot=lot, reason="topped up"
        )


def test_a_hold_of_the_batch_does_not_hide_that_of_the_weighing(
    crew: make.Crew,
) -> None:
    """Weighed short while the batch was on hold: lifting that frees no short bottle."""
    version = make.liquid_version(crew)
    lab.limit(crew, version, "net_content", lower="100")
    lot = make.filled(crew, make.released_liquid(crew, version))
    batch = make.signed(crew.reviewer, make.fresh(lot.batch), "hold")
    lab.weigh_bottles(crew, lot, 480_000)
    make.sign(crew.reviewer, batch, "unhold")
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"on_hold"}
    lab.weigh_bottles(crew, lot, 520_000)
    freed = filling_checks.free_bottles(
        by=crew.reviewer, filling_lot=lot, reason="topped up"
    )
    assert freed == 2


def test_the_page_says_that_they_must_not_leave_and_how_they_get_free(
    crew: make.Crew, client: Client
) -> None:
    lot = lab.short_bottles(crew)
    client.force_login(crew.reviewer)
    address = reverse("batches:filling_lot", args=[lot.code])
    page = page_of(client.get(address))
    assert "These bottles must not leave." in page.words
    assert "a value outside stops the release" in page.words
    assert "Free the bottles" not in page.words
    lab.weigh_bottles(crew, lot, 520_000)
    page = page_of(client.get(address))
    assert "2 bottles are on hold since an earlier weighing" in page.words
    free = reverse("quality:fill_free", args=[lot.code])
    assert {"class": "button quiet", "href": free} in page.attributes("a")
    sent = {"reason": "topped up", "submission": str(uuid.uuid4())}
    done = page_of(client.post(free, sent, follow=True))
    assert "2 bottles may leave again." in done.words
