"""Tanks of spray for own use: drawn, refused, minded, corrected; verify is clean."""

from __future__ import annotations

import csv
import datetime
import io
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, PatchTest, SprayMix
from batches.services import portions, spraying
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import JournalEntry, StockMovement
from producer.quantities import grams
from quality.services import dosing, goods, spray_mixes, verification
from quality.services.today import sprays as today
from tests import make
from tests.database import run, without_triggers
from tests.doors.pages import field_value, page_of, text_of
from tests.sprays import DAY, leaf, made_days_ago, mixed, short_lived, tank

pytestmark = pytest.mark.django_db
NOW = timezone.now
MOVEMENTS, OF_A_MIX = "UPDATE producer_stockmovement", "WHERE kind = 'own_use'"


@pytest.fixture
def paste(crew: make.Crew) -> Batch:
    """Return a paste that was weighed out three days ago."""
    return made_days_ago(crew)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def on_hand(batch: Batch) -> int:
    return make.fresh(batch).stock.on_hand_mg


def faults() -> list[str]:
    """Return what verify has to say, all its checks."""
    return [
        str(fault)
        for check in verification.CHECKS
        for fault in check.walk(verification.quiet)
    ]


# ------------------------------------------------------------------- the mass


def test_a_mix_draws_what_was_weighed_and_keeps_the_figures_of_the_day(
    crew: make.Crew, paste: Batch
) -> None:
    before = on_hand(paste)
    row = mixed(crew, paste, observed_at=NOW() - datetime.timedelta(hours=2))
    product = dosing.product_of(paste)
    assert on_hand(paste) == before - 100_000
    assert row.soap_percent == round(product.percent, 3)
    assert row.molar_mass == round(product.molar_mass, 2)
    movement = StockMovement.objects.latest("pk")
    assert (movement.kind, movement.amount_mg, movement.purpose) == (
        "own_use",
        -100_000,
        row.code,
    )
    assert row.code.startswith("M")
    assert JournalEntry.objects.latest("sequence").act == "spray mixed"
    assert faults() == []


def test_the_mass_reckoned_for_a_rate_gives_that_rate(
    crew: make.Crew, paste: Batch
) -> None:
    """The tank has outside checks in tests/reference/test_soap_sprays.py."""
    for rate, hardness in (("5", "0"), ("8", "2.5"), ("20", "4")):
        asked = dosing.spray(
            dosing.product_of(paste),
            litres=Decimal(3),
            rate=Decimal(rate),
            hardness=Decimal(hardness),
            unit="mmol/l",
        )
        row = mixed(
            crew,
            paste,
            mass_mg=asked.paste_mg,
            tank_ul=3_000_000,
            target_g_per_l=Decimal(rate),
            hardness=Decimal(hardness),
        )
        assert spray_mixes.rate_of(row) == pytest.approx(
            Decimal(rate), rel=Decimal("0.002")
        )
        assert not [one for one in spray_mixes.minds(row) if "What was weighed" in one]


def test_a_correction_moves_the_difference_and_no_more(
    crew: make.Crew, paste: Batch
) -> None:
    before = on_hand(paste)
    first = mixed(crew, paste)
    more = spray_mixes.amend_mix(
        by=crew.maker, mix=first, changes={"mass_mg": 120_000}, reason="misread"
    )
    assert on_hand(paste) == before - 120_000
    assert (more.code, more.plant, more.soap_percent) == (
        first.code,
        first.plant,
        first.soap_percent,
    )
    assert faults() == []
    less = spray_mixes.amend_mix(
        by=crew.maker,
        mix=more,
        changes={"mass_mg": 70_000, "plant": " field bean "},
        reason="again",
    )
    assert on_hand(paste) == before - 70_000
    assert less.plant == "field bean"
    assert [row.kind for row in StockMovement.objects.filter(purpose=first.code)] == [
        "own_use",
        "own_use",
        "draw_back",
    ]
    assert faults() == []
    with pytest.raises(Conflict, match="corrected already"):
        spray_mixes.amend_mix(
            by=crew.maker, mix=first, changes={"mass_mg": 1}, reason="late"
        )


def test_taken_back_everything_is_in_stock_again(crew: make.Crew, paste: Batch) -> None:
    before = on_hand(paste)
    row = spray_mixes.amend_mix(
        by=crew.maker, mix=mixed(crew, paste), void=True, reason="never mixed"
    )
    assert (row.mass_mg, on_hand(paste), spray_mixes.minds(row)) == (0, before, [])
    assert faults() == []
    with pytest.raises(Conflict, match="taken back"):
        spray_mixes.amend_mix(
            by=crew.maker, mix=row, changes={"mass_mg": 5}, reason="x"
        )
    with pytest.raises(Conflict, match="taken back"):
        spray_mixes.note_leftovers(by=crew.maker, mix=row, leftovers="none")


def test_leftovers_are_written_later_and_move_nothing(
    crew: make.Crew, paste: Batch
) -> None:
    first = mixed(crew, paste)
    left = on_hand(paste)
    row = spray_mixes.note_leftovers(by=crew.maker, mix=first, leftovers=" none ")
    assert (row.leftovers, row.reason, row.mass_mg) == ("none", "leftovers", 100_000)
    assert on_hand(paste) == left
    with pytest.raises(Refusal, match="nothing was"):
        spray_mixes.note_leftovers(by=crew.maker, mix=row, leftovers=" ")
    assert faults() == []


def test_no_correction_of_what_is_not_of_a_mix(crew: make.Crew, paste: Batch) -> None:
    with pytest.raises(TypeError, match="soap_percent"):
        spray_mixes.amend_mix(
            by=crew.maker,
            mix=mixed(crew, paste),
            changes={"soap_percent": 1},
            reason="richer",
        )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE batches_spraymix SET mass_mg = mass_mg + 7", "Spray mix M"),
        (
            f"{MOVEMENTS} SET amount_mg = amount_mg + 7 {OF_A_MIX}",
            "Spray mix M",
        ),
        (
            f"{MOVEMENTS} SET purpose = 'B26-0001-0' {OF_A_MIX}",
            "but the ledger has 0 g",
        ),
        ("DELETE FROM batches_spraymix", "by the ledger, but"),
    ],
)
def test_verify_finds_a_mix_that_the_ledger_tells_otherwise(
    crew: make.Crew, paste: Batch, change: str, said: str
) -> None:
    mixed(crew, paste)
    with without_triggers():
        assert run(change) == 1
    assert [fault for fault in faults() if said in fault]


# --------------------------------------------------------------- what is refused


def refused(crew: make.Crew, source: Batch, match: str, **changes: Any) -> None:
    with pytest.raises(Refusal, match=match):
        mixed(crew, source, **changes)
    assert not SprayMix.objects.exists()
    assert not StockMovement.objects.filter(kind="own_use").exists()


def test_only_a_released_batch_for_plants_is_mixed(crew: make.Crew) -> None:
    refused(crew, make.cooked_batch(crew), "is awaiting review")
    refused(crew, make.released_liquid(crew), "for washing, not for plants")
    refused(crew, make.failed_paste(crew), "is rejected")


def test_a_spray_liquid_is_mixed_like_the_paste(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew, make.spray_version(crew))
    assert mixed(crew, liquid).source_id == liquid.pk
    assert faults() == []


def test_what_has_a_lot_on_hold_in_it_is_not_mixed(crew: make.Crew) -> None:
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    paste = make.signed(
        crew.reviewer,
        make.cooked_batch(crew, sources={"sunflower oil": oil.stock}),
        "release",
    )
    goods.decide_lot(by=crew.reviewer, lot=oil, new="on_hold", reason="rancid")
    with pytest.raises(Refusal, match=r"on hold"):
        mixed(crew, paste)


def test_past_its_life_it_is_not_mixed(crew: make.Crew) -> None:
    old = made_days_ago(crew, short_lived(crew), days=4)
    refused(crew, old, "life of batch .* ended")
    last_day = make.TODAY - datetime.timedelta(days=2)
    noon = datetime.datetime.combine(last_day, datetime.time(12), tzinfo=datetime.UTC)
    assert mixed(crew, old, observed_at=noon)


def test_a_time_before_it_was_made_is_a_slip(crew: make.Crew, paste: Batch) -> None:
    refused(crew, paste, "not made yet", observed_at=NOW() - 4 * DAY)
    refused(crew, paste, "future", observed_at=NOW() + 3 * DAY)


def test_never_more_than_thirty_grams_of_soap_a_litre(
    crew: make.Crew, paste: Batch
) -> None:
    refused(crew, paste, "harms", target_g_per_l=Decimal("30.01"))
    most = dosing.spray(
        dosing.product_of(paste),
        litres=Decimal(1),
        rate=Decimal(30),
        hardness=Decimal(0),
        unit="mmol/l",
    ).paste_mg
    one = {"tank_ul": 1_000_000, "target_g_per_l": Decimal(30)}
    refused(crew, paste, "more than 30 harms plants", mass_mg=most + 1_000, **one)
    refused(crew, paste, "any room", mass_mg=1_000_000, **one)
    refused(crew, paste, "outside 0 to 20|hardness", hardness=Decimal(21))
    assert mixed(crew, paste, mass_mg=most, **one).mass_mg == most


def test_not_more_than_is_there(crew: make.Crew, paste: Batch) -> None:
    much = {"tank_ul": 90_000_000, "mass_mg": on_hand(paste) + 1}
    with pytest.raises(NotEnough):
        mixed(crew, paste, **much)
    assert not SprayMix.objects.exists()


def test_a_portion_gives_no_more_than_is_left_of_it(
    crew: make.Crew, paste: Batch
) -> None:
    tub = portions.set_aside(by=crew.maker, batch=paste, mass_mg=150_000)

    def left() -> int:
        return portions.portions_of(paste)[0].left_mg

    first = mixed(crew, paste, portion=tub)
    assert left() == 50_000
    with pytest.raises(NotEnough, match="holds 50 g"):
        mixed(crew, paste, portion=tub)
    with pytest.raises(NotEnough, match="holds 150 g"):
        spray_mixes.amend_mix(
            by=crew.maker, mix=first, changes={"mass_mg": 151_000}, reason="misread"
        )
    other = make.released_paste(crew)
    with pytest.raises(Refusal, match="no portion of"):
        mixed(crew, other, portion=tub)
    row = spray_mixes.amend_mix(
        by=crew.maker, mix=first, changes={"mass_mg": 149_000}, reason="misread"
    )
    assert (row.portion, left()) == (tub, 1_000)
    spray_mixes.amend_mix(by=crew.maker, mix=row, void=True, reason="not mixed")
    assert left() == 150_000
    assert faults() == []


def test_only_a_maker_mixes(crew: make.Crew, paste: Batch) -> None:
    row, test = mixed(crew, paste), leaf(crew, paste)
    by = crew.reviewer
    for act in (
        lambda: spray_mixes.mix(by=by, **tank(paste)),
        lambda: spray_mixes.amend_mix(by=by, mix=row, void=True, reason="x"),
        lambda: spray_mixes.note_leftovers(by=by, mix=row, leftovers="none"),
        lambda: leaf(make.Crew(by, by), paste),
        lambda: spraying.look_at_patch_test(by=by, test=test, result="harmed"),
        lambda: spraying.take_back_patch_test(by=by, test=test, reason="x"),
    ):
        with pytest.raises(PermissionDenied):
            act()


# --------------------------------------------------------------- leaves, and minding


def tried(crew: make.Crew, paste: Batch, result: str, **changes: Any) -> PatchTest:
    """Return a leaf that was sprayed two days ago and looked at a day later."""
    row = leaf(crew, paste, observed_at=NOW() - 2 * DAY, **changes)
    return spraying.look_at_patch_test(
        by=crew.maker, test=row, result=result, observed_at=NOW() - DAY
    )


def test_unharmed_takes_a_day_and_harm_does_not(crew: make.Crew, paste: Batch) -> None:
    at = NOW() - 2 * DAY
    row = leaf(crew, paste, observed_at=at)
    hour = datetime.timedelta(hours=1)

    def look(result: str, after: datetime.timedelta) -> PatchTest:
        return spraying.look_at_patch_test(
            by=crew.maker, test=row, result=result, observed_at=at + after
        )

    with pytest.raises(Refusal, match="24 to 48 hours"):
        look("unharmed", DAY - hour / 60)
    with pytest.raises(Refusal, match="sprayed after that"):
        look("harmed", -hour)
    with pytest.raises(Refusal, match="how the leaf looks"):
        look("waiting", DAY)
    row = look("unharmed", DAY)
    assert row.result == "unharmed"
    assert look("harmed", DAY + hour).result == "harmed"
    early = leaf(crew, paste, observed_at=NOW() - hour)
    seen = spraying.look_at_patch_test(by=crew.maker, test=early, result="harmed")
    assert (seen.code, seen.result) == (early.code, "harmed")
    with pytest.raises(Conflict, match="meanwhile"):
        spraying.look_at_patch_test(by=crew.maker, test=early, result="harmed")
    assert faults() == []


def test_a_leaf_is_tried_of_a_released_batch_within_its_life(
    crew: make.Crew, paste: Batch
) -> None:
    with pytest.raises(Refusal, match="Only a released batch"):
        leaf(crew, make.cooked_batch(crew))
    for rate in ("0", "30.5"):
        with pytest.raises(Refusal, match="up to 30 g"):
            leaf(crew, paste, target_g_per_l=Decimal(rate))
    old = made_days_ago(crew, short_lived(crew), days=4)
    with pytest.raises(Refusal, match="past its life"):
        leaf(crew, old)


def test_without_a_leaf_that_was_tried_one_is_asked_for(
    crew: make.Crew, paste: Batch
) -> None:
    row = mixed(crew, paste, mass_mg=72_000)  # 5 g/l

    def asks() -> bool:
        return any("Spray one leaf" in one for one in spray_mixes.minds(row))

    assert asks()
    leaf(crew, paste)  # not looked at
    tried(crew, paste, "unharmed", plant="rose")
    tried(crew, paste, "unharmed", target_g_per_l=Decimal("4.9"))
    assert asks()
    good = tried(crew, paste, "unharmed", plant=" Broad  BEAN ")
    assert not asks()
    spraying.take_back_patch_test(by=crew.maker, test=good, reason="another bean")
    assert asks()


def test_a_leaf_sprayed_less_than_a_day_before_the_plant_does_not_count(
    crew: make.Crew, paste: Batch
) -> None:
    tried(crew, paste, "unharmed")
    early, later = (
        spraying.what_tests_say(paste, plant="broad bean", rate=Decimal(5), at=at)
        for at in (NOW() - DAY - DAY / 24, NOW())
    )
    assert (len(early), later) == (1, [])


def test_harm_at_that_rate_or_less_is_said(crew: make.Crew, paste: Batch) -> None:
    tried(crew, paste, "unharmed", target_g_per_l=Decimal(8))
    tried(crew, paste, "harmed", target_g_per_l=Decimal(6))
    five, six = (
        spraying.what_tests_say(paste, plant="broad bean", rate=Decimal(rate), at=NOW())
        for rate in (5, 6)
    )
    assert five == []
    assert len(six) == 1
    assert "Do not spray the plant at this rate" in six[0]


def test_what_was_weighed_off_the_aim_and_not_dissolved_is_said(
    crew: make.Crew, paste: Batch
) -> None:
    tried(crew, paste, "unharmed")
    harmed = tried(crew, paste, "harmed", target_g_per_l=Decimal("5.7"))
    product = dosing.product_of(paste)
    right = round(Decimal(50) / product.percent * 100 * 1000)  # 5 g/l in 10 l

    def said(**changes: Any) -> str:
        return " ".join(spray_mixes.minds(mixed(crew, paste, **changes)))

    assert said(mass_mg=right) == ""
    assert "not dissolved" in said(mass_mg=right, pre_dissolved=False)
    assert said(mass_mg=right * 109 // 100) == ""
    assert "gives 5.6 g/l, not the 5 g/l aimed at" in said(mass_mg=right * 112 // 100)
    assert "No leaf of broad bean" in said(mass_mg=right * 112 // 100)
    assert harmed.code not in said(mass_mg=right * 112 // 100)
    assert harmed.code in said(mass_mg=right * 115 // 100)
    assert "Take rain water" in said(mass_mg=right, hardness=Decimal(20))


def test_the_first_page_asks_for_a_leaf_that_waits_a_day(
    crew: make.Crew, paste: Batch
) -> None:
    leaf(crew, paste, observed_at=NOW() - DAY - DAY / 24)
    leaf(crew, paste, observed_at=NOW() - DAY / 2)
    found = today.leaves(NOW())
    assert found.count == 1
    assert found.rows[0].words == "a leaf of broad bean, 5 g/l"
    assert found.rows[0].do_at.endswith("/look/")


# --------------------------------------------------------------------------- pages


def test_the_page_reckons_a_tank_and_then_records_it(
    browser: Client, crew: make.Crew, paste: Batch
) -> None:
    address = reverse("quality:mix_new", args=[paste.number])
    query = {
        "of": "spray",
        "litres": "10",
        "rate": "8",
        "hardness": "10",
        "unit": "°dH",
    }
    first = page_of(browser.get(address))
    assert "Not for sale and not a gift" in first.words
    assert "You have not recorded when you last checked." in first.words
    page = page_of(browser.get(address, query))
    product = dosing.product_of(paste)
    asked = dosing.spray(
        product,
        litres=Decimal(10),
        rate=Decimal(8),
        hardness=Decimal(10),
        unit="°dH",
    )
    assert f"{grams(asked.paste_mg).normalize():f} g" in page.words
    assert "Soap lost to hardness" in page.words
    assert "5 to 8 g/l" in page.words
    assert field_value(page, "tank_ul") == "10 l"
    answer = browser.post(
        address,
        {
            "submission": field_value(page, "submission"),
            "mass_mg": f"{grams(asked.paste_mg)} g",
            "tank_ul": field_value(page, "tank_ul"),
            "target_g_per_l": field_value(page, "target_g_per_l"),
            "hardness": "10",
            "unit": "°dH",
            "plant": "rose",
            "pest": "greenfly",
            "where": "by the gate",
            "weather": "cool, evening",
            "bees": "none",
        },
        follow=True,
    )
    row = SprayMix.objects.get()
    assert (row.hardness, row.tank_ul) == (Decimal("1.78"), 10_000_000)
    words = page_of(answer).words
    assert "No leaf of rose was found unharmed at 8 g/l" in words
    assert "not dissolved" in words


def test_what_the_service_refuses_stands_beside_its_field(
    browser: Client, paste: Batch
) -> None:
    address = reverse("quality:mix_new", args=[paste.number])
    form = page_of(browser.get(address))
    sent = {
        "submission": field_value(form, "submission"),
        "mass_mg": "400 g",
        "tank_ul": "1 l",
        "target_g_per_l": "5",
        "hardness": "25",
        "unit": "mmol/l",
        "plant": "rose",
    }
    words = page_of(browser.post(address, sent)).words
    assert "Hardness of the water" in words
    assert "Bees and open flowers : This is needed." in words.replace(" :", " :")
    for name in ("pest", "where", "weather", "bees"):
        sent[name] = "seen"
    words = page_of(browser.post(address, {**sent, "hardness": "0"})).words
    assert "harms plants. Do not spray it" in words
    assert not SprayMix.objects.exists()


def test_the_log_is_empty_then_full_on_screen_paper_and_as_a_table(
    browser: Client, crew: make.Crew, paste: Batch
) -> None:
    log = reverse("quality:sprays")
    assert "No tank was mixed yet." in page_of(browser.get(log)).words
    assert browser.get(reverse("quality:sprays_pdf")).content.startswith(b"%PDF")
    row = mixed(crew, paste, note="=danger", pest="+aphid")
    leaf(crew, paste, observed_at=NOW() - DAY)
    gone = mixed(crew, paste, plant="nettle")
    spray_mixes.amend_mix(by=crew.maker, mix=gone, void=True, reason="never mixed")
    words = page_of(browser.get(log)).words
    assert row.code in words
    assert "look now" in words
    assert "nettle" not in words
    lines = list(
        csv.DictReader(io.StringIO(text_of(browser.get(reverse("quality:sprays_csv")))))
    )
    assert [line["mix"] for line in lines] == [row.code]
    assert (lines[0]["note"], lines[0]["pest"]) == ("'=danger", "'+aphid")
    assert lines[0]["product_mg"] == "100000"
    assert lines[0]["tank_ml"] == "10000"
    assert lines[0]["entered_by"] == crew.maker.person.name
    assert browser.get(reverse("quality:sprays_pdf")).content.startswith(b"%PDF")


def test_a_mix_has_a_page_with_all_that_it_ever_said(
    browser: Client, crew: make.Crew, paste: Batch
) -> None:
    row = mixed(crew, paste)
    page = reverse("quality:mix", args=[row.code])
    forms = {
        "mix_leftovers": {"leftovers": "half a litre on the nettles"},
        "mix_void": {"reason": "never sprayed"},
    }
    amend = reverse("quality:mix_amend", args=[row.code])
    form = page_of(browser.get(amend))
    fields = {
        one["name"]: one.get("value", "")
        for one in form.attributes("input")
        if one.get("name") and one.get("type") not in {"search", "checkbox"}
    }
    fields |= {"unit": "mmol/l", "mass_mg": "0,09 kg", "reason": "misread"}
    assert browser.post(amend, fields).status_code == 302
    assert SprayMix.objects.current().get().mass_mg == 90_000
    for name, sent in forms.items():
        address = reverse(f"quality:{name}", args=[row.code])
        token = field_value(page_of(browser.get(address)), "submission")
        assert browser.post(address, {**sent, "submission": token}).status_code == 302
    words = page_of(browser.get(page)).words
    assert "never sprayed" in words
    assert "half a litre on the nettles" in words
    assert "misread" in words
    assert on_hand(paste) == StockMovement.objects.get(kind="production").amount_mg
    found = browser.get(reverse("quality:find"), {"q": row.code})
    assert found.headers["Location"] == page
    on = page_of(browser.get(reverse("producer:journal"), {"on": row.code})).words
    assert "spray mix taken back" in on
    assert "spray mixed" in on


def test_the_pages_of_a_leaf(browser: Client, crew: make.Crew, paste: Batch) -> None:
    address = reverse("quality:patch_test_new", args=[paste.number])
    form = page_of(browser.get(address, {"plant": "pea"}))
    assert field_value(form, "plant") == "pea"
    sent = {"submission": field_value(form, "submission"), "plant": "pea"}
    browser.post(address, {**sent, "target_g_per_l": "6"})
    row = PatchTest.objects.get()
    look = reverse("quality:patch_test_look", args=[row.code])
    token = field_value(page_of(browser.get(look)), "submission")
    words = page_of(
        browser.post(look, {"submission": token, "result": "unharmed"})
    ).words
    assert "Look again 24 to 48 hours after" in words
    browser.post(look, {"submission": token, "result": "harmed"})
    assert PatchTest.objects.current().get().result == "harmed"
    void = reverse("quality:patch_test_void", args=[row.code])
    token = field_value(page_of(browser.get(void)), "submission")
    browser.post(void, {"submission": token, "reason": "another plant"})
    assert not PatchTest.objects.current().exists()


def test_the_batch_leads_to_its_sprays_and_a_wash_does_not(
    browser: Client, crew: make.Crew, paste: Batch
) -> None:
    def leads(batch: Batch) -> bool:
        page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
        address = reverse("quality:mix_new", args=[batch.number])
        return address in {one.get("href") for one in page.attributes("a")}

    assert leads(paste)
    assert not leads(make.released_liquid(crew))
