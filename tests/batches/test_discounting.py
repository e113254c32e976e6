"""The lye discount: set before the potash, kept in the plan, refused after."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from batches.services import cooking, planning
from batches.services.discounting import set_lye_discount
from producer.errors import Refusal
from producer.models import JournalEntry
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def with_lots(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    return make.fresh(batch)


def potash_target(batch: Batch) -> int:
    line = planning.plan_of(make.fresh(batch)).lines[-1]
    assert line.kind == "potash"
    assert line.target_mg is not None
    return line.target_mg


def set_to(crew: make.Crew, batch: Batch, discount: str) -> Batch:
    return set_lye_discount(
        by=crew.maker, batch=batch, discount=Decimal(discount), reason="range only"
    )


def test_a_batch_has_no_discount_unless_one_is_set(crew: make.Crew) -> None:
    assert make.open_batch(crew).lye_discount == 0


def test_the_discount_is_left_out_of_the_potash_and_of_nothing_else(
    crew: make.Crew,
) -> None:
    batch = with_lots(crew)
    before = [line.target_mg for line in planning.plan_of(batch).lines]
    need = planning.plan_of(batch).alkali_need_g
    set_to(crew, batch, "0.03")
    after = [line.target_mg for line in planning.plan_of(make.fresh(batch)).lines]
    assert after[:-1] == before[:-1]
    assert before[-1] is not None
    assert after[-1] == pytest.approx(before[-1] * 0.97, abs=1)
    assert planning.plan_of(make.fresh(batch)).alkali_need_g == need


def test_the_potash_is_computed_again_from_the_oils_with_the_same_discount(
    crew: make.Crew,
) -> None:
    batch = with_lots(crew)
    set_to(crew, batch, "0.02")
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 750_000, line=line)
    need = Decimal("0.75") * 191 + Decimal("0.2") * Decimal("256.5")
    expected = need * Decimal("0.98") / Decimal("0.9") * 1000
    assert potash_target(batch) == round(expected)


def test_it_is_journaled_with_what_it_was_and_why(crew: make.Crew) -> None:
    batch = with_lots(crew)
    set_to(crew, batch, "0.03")
    set_to(crew, batch, "0")
    last, first = JournalEntry.objects.filter(act="lye discount set").order_by(
        "-sequence"
    )
    assert first.before_values == {"lye_discount": "0"}
    assert first.after_values == {"lye_discount": "0.03"}
    assert last.before_values == {"lye_discount": "0.03"}
    assert first.reason == "range only"
    assert make.fresh(batch).lye_discount == 0


def test_once_potash_is_in_the_pot_nothing_can_be_left_out(crew: make.Crew) -> None:
    batch = with_lots(crew)
    for line in planning.plan_of(batch).lines:
        assert line.source is not None
        assert line.target_mg is not None
        make.charge(crew, batch, line.source, line.target_mg, line=line.line)
    with pytest.raises(Refusal, match="Potash is in the pot already"):
        set_to(crew, batch, "0.03")
    row = batch.charges.get(line__material__kind="potash")
    cooking.amend_charge(by=crew.maker, charge=row, void=True, reason="wrong vessel")
    set_to(crew, batch, "0.03")  # control: it was taken back
    assert make.fresh(batch).lye_discount == Decimal("0.03")


@pytest.mark.parametrize("discount", ["0.1001", "-0.01", "0.5"])
def test_a_discount_that_leaves_fat_in_the_jug_is_refused(
    crew: make.Crew, discount: str
) -> None:
    batch = with_lots(crew)
    with pytest.raises(ValidationError, match="from 0 to 10"):
        set_to(crew, batch, discount)
    assert make.fresh(batch).lye_discount == 0


def test_what_takes_no_potash_has_no_discount(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.open_batch(crew, make.liquid_version(crew, source=None))
    with pytest.raises(Refusal, match="Only a cook"):
        set_to(crew, liquid, "0.03")
    with pytest.raises(Refusal, match="closed and signed"):
        set_to(crew, paste, "0.03")


def test_the_discount_that_stands_already_and_a_wrong_hand_are_refused(
    crew: make.Crew,
) -> None:
    batch = with_lots(crew)
    with pytest.raises(Refusal, match="has already"):
        set_to(crew, batch, "0")
    with pytest.raises(PermissionDenied):
        set_lye_discount(
            by=crew.reviewer, batch=batch, discount=Decimal("0.01"), reason="x"
        )
    with pytest.raises(Refusal):
        set_lye_discount(
            by=crew.maker, batch=batch, discount=Decimal("0.01"), reason="  "
        )


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def form(discount: str) -> dict[str, str]:
    return {
        "submission": str(uuid.uuid4()),
        "discount": discount,
        "reason": "only a range",
    }


def test_the_page_takes_percent_with_a_comma(browser: Client, crew: make.Crew) -> None:
    batch = with_lots(crew)
    address = reverse("batches:discount", args=[batch.number])
    page = page_of(browser.get(address))
    assert "0 % of the alkali need left out" in page.words
    assert "Risk of unsaponified oil" in page.words
    response = browser.post(address, form("1,25"))
    assert response.status_code == 302
    assert make.fresh(batch).lye_discount == Decimal("0.0125")
    assert (
        "1.25 % of the need left out" in page_of(browser.get(batch_page(batch))).words
    )


def batch_page(batch: Batch) -> str:
    return reverse("batches:batch", args=[batch.number])


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("12", "12 is not between 0 and 10"),
        ("-1", "1 is not between 0 and 10"),
        ("1.234", "hundredth of a percent"),
        ("", "This is needed."),
    ],
)
def test_the_page_says_beside_the_field_what_is_wrong(
    browser: Client, crew: make.Crew, typed: str, said: str
) -> None:
    batch = with_lots(crew)
    address = reverse("batches:discount", args=[batch.number])
    page = page_of(browser.post(address, form(typed)))
    assert said in page.words
    assert make.fresh(batch).lye_discount == 0
