"""At the pot: what is weighed is drawn, what was wrong is corrected, nothing lost."""

from __future__ import annotations

import datetime
import functools
import zoneinfo
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, models, transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from batches.models import (
    Batch,
    BatchStatusChange,
    BulkWeighing,
    Charge,
    Input,
    Reading,
)
from batches.services import cooking
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import Premises, RawLot, Stock, StockMovement, User
from producer.services import registers, stock
from tests import make
from tests.database import run, together, while_uncommitted

DAY = datetime.timedelta(days=1)


def pot(crew: make.Crew, quantity_mg: int = 5_000_000) -> tuple[Batch, RawLot]:
    """Return an open batch and a lot of water for it."""
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    water = make.water(crew.maker)
    return batch, make.released_lot(crew, water, quantity_mg=quantity_mg)


def edge(batch: Batch, source: Stock) -> int:
    return Input.objects.get(batch=batch, source=source).mass_mg


@pytest.mark.django_db
def test_a_charge_draws_exactly_what_was_weighed(crew: make.Crew) -> None:
    batch, lot = pot(crew, 1_000_000)
    row = cooking.charge(
        by=crew.maker,
        batch=batch,
        line=make.line_of(batch, "distilled water"),
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=1_250_001,
        tare_mg=830_000,
    )
    assert row.net_mg == 420_001
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 579_999
    assert edge(batch, lot.stock) == 420_001
    assert make.fresh(batch).status == "in_process"
    movement = StockMovement.objects.get(kind="draw")
    assert (movement.amount_mg, movement.purpose) == (-420_001, batch.number)
    moves = [change.new for change in BatchStatusChange.objects.all()]
    assert moves == ["planned", "in_process"]


@pytest.mark.django_db
@pytest.mark.parametrize(("gross", "tare"), [(5, 5), (4, 5), (5, -1)])
def test_gross_is_more_than_tare(crew: make.Crew, gross: int, tare: int) -> None:
    batch, lot = pot(crew)
    with pytest.raises(ValidationError, match="Gross must be more than tare"):
        cooking.charge(
            by=crew.maker,
            batch=batch,
            line=make.line_of(batch, "distilled water"),
            source=lot.stock,
            scale=make.scale(crew.maker),
            gross_mg=gross,
            tare_mg=tare,
        )
    assert not Charge.objects.exists()
    assert make.fresh(batch).status == "planned"


@pytest.mark.django_db
def test_a_charge_above_what_is_there_leaves_nothing_behind(crew: make.Crew) -> None:
    batch, lot = pot(crew, 1000)
    with pytest.raises(NotEnough):
        make.charge(crew, batch, lot.stock, 1001)
    assert not Charge.objects.exists()
    assert not Input.objects.exists()
    assert make.fresh(batch).status == "planned"
    make.charge(crew, batch, lot.stock, 1000)  # control: all of it is there to take


@pytest.mark.django_db
def test_potash_comes_after_every_oil_and_the_water(crew: make.Crew) -> None:
    batch, by, lot = make.open_batch(crew), crew.maker, make.released_lot
    potash, water = (lot(crew, one(by)) for one in (make.potash, make.water))
    with pytest.raises(Refusal, match=r"oils first \(sunflower oil, coconut oil\)"):
        make.charge(crew, batch, potash.stock, 200_000)
    make.charge(crew, batch, lot(crew, make.sunflower(by)).stock, 800_000)
    with pytest.raises(Refusal, match=r"oils first \(coconut oil\)"):
        make.charge(crew, batch, potash.stock, 200_000)
    make.charge(crew, batch, lot(crew, make.coconut(by)).stock, 200_000)
    with pytest.raises(Refusal, match=r"water first \(distilled water\)"):
        make.charge(crew, batch, potash.stock, 200_000)
    make.charge(crew, batch, water.stock, 420_000)


@pytest.mark.django_db
def test_scenario_25_expired_at_midnight(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    premises = Premises.objects.get()
    premises.time_zone = "Pacific/Auckland"  # another day than in UTC for half of it
    registers.save(by=owner, entry=premises)
    zone = zoneinfo.ZoneInfo("Pacific/Auckland")
    last_day = datetime.date(2026, 3, 10)
    noon = datetime.datetime(2026, 3, 10, 12, tzinfo=zone)
    monkeypatch.setattr(timezone, "now", lambda: noon)
    received = datetime.date(2026, 1, 5)
    water = make.water(crew.maker)
    lots = [
        make.released_lot(crew, water, received_on=received, expires_on=last_day),
        make.released_lot(crew, water, received_on=received, retest_on=last_day),
    ]
    before = datetime.datetime(2026, 3, 10, 23, 59, 59, tzinfo=zone)
    after = datetime.datetime(2026, 3, 11, 0, 0, 1, tzinfo=zone)
    batch = make.open_batch(crew, opened_at=before)
    for lot, said in zip(lots, ("expired on 10 Mar", "due for retest"), strict=True):
        make.charge(crew, batch, lot.stock, 1000, observed_at=before)
        with pytest.raises(Refusal, match=said):
            make.charge(crew, batch, lot.stock, 1000, observed_at=after)
    # the cook that was begun may go on with other lots
    fresh = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, fresh.stock, 1000, observed_at=after)
    assert make.fresh(batch).status == "in_process"


@pytest.mark.django_db
def test_scenario_16_failed_paste_not_blended(crew: make.Crew) -> None:
    good, bad = make.released_paste(crew), make.failed_paste(crew)
    blend = make.open_batch(crew, make.blend_version(crew))
    make.charge(crew, blend, good.stock, 100_000)
    with pytest.raises(Refusal, match="rejected"):
        make.charge(crew, blend, bad.stock, 100_000)
    make.sign(crew.reviewer, bad, "rework")
    with pytest.raises(Refusal, match="opened for rework"):
        make.charge(crew, blend, bad.stock, 100_000)
    assert [row.source_id for row in Input.objects.filter(batch=blend)] == [good.pk]
    # with the decision made before, into a batch opened for it
    rework = make.open_batch(crew, make.blend_version(crew), is_rework=True)
    make.charge(crew, rework, bad.stock, 100_000, is_rework=True)
    assert edge(rework, bad.stock) == 100_000


@pytest.mark.django_db
@pytest.mark.parametrize("status", ["planned", "in process", "awaiting", "held"])
def test_only_a_released_batch_is_drawn_from(crew: make.Crew, status: str) -> None:
    source = {
        "planned": lambda: make.open_batch(crew),
        "in process": lambda: _begun(crew),
        "awaiting": lambda: make.cooked_batch(crew),
        "held": lambda: make.signed(crew.reviewer, make.released_paste(crew), "hold"),
    }[status]()
    liquid = make.open_batch(crew, make.liquid_version(crew))
    with pytest.raises(Refusal, match="Only a released batch"):
        make.charge(crew, liquid, source.stock, 1000)
    make.charge(crew, liquid, make.released_paste(crew).stock, 1000)  # control


def _begun(crew: make.Crew) -> Batch:
    batch, lot = pot(crew)
    make.charge(crew, batch, lot.stock, 1000)
    return batch


@pytest.mark.django_db
def test_what_another_formula_makes_is_not_drawn(crew: make.Crew) -> None:
    other = make.released_paste(crew, version=make.paste_version(crew, name="Other"))
    liquid = make.open_batch(crew, make.liquid_version(crew))
    line = make.line_of(liquid, "Kitchen paste")
    with pytest.raises(Refusal, match="not what this line"):
        make.charge(crew, liquid, other.stock, 1000, line=line)


@pytest.mark.django_db
def test_a_correction_puts_the_difference_back_and_both_rows_stay(
    crew: make.Crew,
) -> None:
    batch, lot = pot(crew, 1_000_000)
    first = make.charge(crew, batch, lot.stock, 420_000)
    second = cooking.amend_charge(
        by=crew.maker,
        charge=first,
        gross_mg=400_000,
        tare_mg=10_000,
        reason="misread the scale",
    )
    assert list(Charge.objects.current()) == [second]
    assert Charge.objects.count() == 2
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 610_000
    assert edge(batch, lot.stock) == 390_000
    with pytest.raises(Conflict, match="corrected already"):
        cooking.amend_charge(
            by=crew.maker, charge=first, void=True, reason="tapped twice"
        )
    cooking.amend_charge(by=crew.maker, charge=second, void=True, reason="not in it")
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 1_000_000
    assert edge(batch, lot.stock) == 0
    assert not Charge.objects.current().exists()


@pytest.mark.django_db
def test_a_correction_to_another_lot_moves_both_ledgers_and_edges(
    crew: make.Crew,
) -> None:
    batch, wrong = pot(crew, 1_000_000)
    right = make.released_lot(crew, make.water(crew.maker), quantity_mg=500_000)
    row = make.charge(crew, batch, wrong.stock, 420_000)
    amend = functools.partial(
        cooking.amend_charge,
        by=crew.maker,
        charge=row,
        source=right.stock,
        tare_mg=0,
        reason="read the wrong label",
    )
    with pytest.raises(NotEnough):
        amend(gross_mg=500_001)
    assert Stock.objects.get(pk=wrong.pk).on_hand_mg == 580_000
    amend(gross_mg=420_000)
    assert Stock.objects.get(pk=wrong.pk).on_hand_mg == 1_000_000
    assert Stock.objects.get(pk=right.pk).on_hand_mg == 80_000
    assert (edge(batch, wrong.stock), edge(batch, right.stock)) == (0, 420_000)


@pytest.mark.django_db
def test_a_correction_cannot_take_more_than_there_is_or_go_unexplained(
    crew: make.Crew,
) -> None:
    batch, lot = pot(crew, 1_000_000)
    row = make.charge(crew, batch, lot.stock, 420_000)
    for gross, reason in ((1_000_001, "misread"), (400_000, "  ")):
        with pytest.raises(Refusal):
            cooking.amend_charge(
                by=crew.maker, charge=row, gross_mg=gross, tare_mg=0, reason=reason
            )
    assert edge(batch, lot.stock) == 420_000
    with transaction.atomic(), pytest.raises(DatabaseError), transaction.atomic():
        run(
            "INSERT INTO batches_charge (observed_at, entered_at, is_void, reason,"
            " gross_mg, tare_mg, net_mg, figure_origin, batch_id, source_id,"
            " scale_id, entered_by_id, supersedes_id)"
            " SELECT observed_at, entered_at, is_void, '', gross_mg, tare_mg,"
            " net_mg, figure_origin, batch_id, source_id, scale_id,"
            " entered_by_id, id FROM batches_charge"
        )


@pytest.mark.django_db(transaction=True)
def test_two_corrections_of_one_row_at_once_cannot_both_count(
    crew: make.Crew, owner: User
) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["maker"])
    batch, lot = pot(crew, 1_000_000)
    row = make.charge(crew, batch, lot.stock, 420_000)

    def amend(by: User, gross_mg: int) -> Charge:
        return cooking.amend_charge(
            by=by,
            charge=Charge.objects.get(pk=row.pk),
            gross_mg=gross_mg,
            tare_mg=0,
            reason="misread",
        )

    results = while_uncommitted(
        functools.partial(amend, crew.maker, 400_000),
        functools.partial(amend, other, 300_000),
    )
    assert isinstance(results[0], Charge)
    assert isinstance(results[1], Conflict)
    assert edge(batch, lot.stock) == 400_000
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 600_000


@pytest.mark.django_db(transaction=True)
def test_two_people_swapping_two_lots_at_once_both_succeed(crew: make.Crew) -> None:
    water = make.water(crew.maker)
    lots = [make.released_lot(crew, water, quantity_mg=50_000_000) for _ in range(2)]
    batches = [make.open_batch(crew), make.open_batch(crew)]
    rows = [
        make.charge(crew, batch, lot.stock, 1000)
        for batch, lot in zip(batches, lots, strict=True)
    ]

    def swap_often(row: Charge, others: list[RawLot]) -> None:
        for turn in range(12):
            row = cooking.amend_charge(
                by=crew.maker,
                charge=row,
                source=others[turn % 2].stock,
                gross_mg=1000,
                tare_mg=0,
                reason="read the wrong label",
            )

    results = together(
        functools.partial(swap_often, rows[0], [lots[1], lots[0]]),
        functools.partial(swap_often, rows[1], [lots[0], lots[1]]),
    )
    assert results == [None, None]  # neither waits for the other for ever
    for batch in batches:
        assert_mass_balance(batch, [])
    assert {Stock.objects.get(pk=lot.pk).on_hand_mg for lot in lots} == {49_999_000}


@pytest.mark.django_db(transaction=True)
def test_a_batch_finished_by_one_takes_no_charge_from_the_other(
    crew: make.Crew,
) -> None:
    batch, lot = pot(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch)
    stale = Batch.objects.get(pk=batch.pk)
    results = while_uncommitted(
        lambda: cooking.finish(by=crew.maker, batch=batch),
        lambda: make.charge(crew, stale, lot.stock, 1000),
    )
    assert isinstance(results[0], Batch)
    assert isinstance(results[1], Refusal)
    assert make.fresh(batch).status == "awaiting_review"


@pytest.mark.django_db(transaction=True)
def test_a_batch_moves_on_once_however_many_press(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    abandon = functools.partial(
        cooking.abandon, by=crew.maker, batch=batch, reason="no gas"
    )
    results = while_uncommitted(abandon, abandon)
    assert isinstance(results[0], Batch)
    assert isinstance(results[1], Conflict)
    assert BatchStatusChange.objects.filter(new="abandoned").count() == 1


@pytest.mark.django_db(transaction=True)
def test_control_saving_the_batch_one_has_open_takes_it_back(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    stale = Batch.objects.get(pk=batch.pk)
    cooking.abandon(by=crew.maker, batch=batch, reason="no gas")
    stale.status = "in_process"
    stale.save()
    assert make.fresh(batch).status == "in_process"


@pytest.mark.django_db
def test_readings_need_their_method_and_a_fitting_instrument_in_date(
    crew: make.Crew,
) -> None:
    batch = _begun(crew)
    method = batch.formula_version.ph_method
    read = functools.partial(
        cooking.record_reading, by=crew.maker, batch=batch, characteristic="ph"
    )
    meter = make.meter(crew.maker)
    old = make.strips(crew.maker, expires_on=make.TODAY - DAY)
    nine = Decimal("9.2")
    refusals: list[tuple[Callable[[], Reading], str]] = [
        (lambda: read(value=nine, instrument=meter), "how the pH was taken"),
        (lambda: read(value=nine, method=method), "instrument it was read"),
        (lambda: read(method=method, instrument=meter), "need a value"),
        (
            lambda: read(value=Decimal(15), method=method, instrument=meter),
            "outside 1 to 14",
        ),
        (
            lambda: read(
                value=nine, method=method, instrument=make.thermometer(crew.maker)
            ),
            "does not measure pH",
        ),
        (lambda: read(value=nine, method=method, instrument=old), "expired on"),
    ]
    for attempt, said in refusals:
        with pytest.raises((Refusal, ValidationError), match=said):
            attempt()
    assert not Reading.objects.exists()
    row = read(value=nine, method=method, instrument=meter)
    # 0.01/√12 and 0.05/√3 in quadrature
    assert row.standard_uncertainty == Decimal("0.029011")


@pytest.mark.django_db
def test_strips_are_good_on_their_last_day(crew: make.Crew) -> None:
    last = make.strips(crew.maker, expires_on=make.TODAY)
    make.read_ph(crew, _begun(crew), instrument=last)
    assert Reading.objects.get().instrument == last


@pytest.mark.django_db
def test_a_repeated_test_is_another_row_and_a_slip_is_corrected(
    crew: make.Crew,
) -> None:
    batch = _begun(crew)
    make.read_ph(crew, batch, "11")
    make.read_ph(crew, batch, "9.8")
    assert Reading.objects.current().count() == 2
    first = Reading.objects.earliest("pk")
    fixed = cooking.amend_reading(
        by=crew.maker,
        reading=first,
        value=Decimal("10.1"),
        method=first.method,
        reason="misread a 1 for a 0.1",
    )
    assert fixed.supersedes == first
    assert Reading.objects.count() == 3
    assert Reading.objects.current().count() == 2
    void = cooking.amend_reading(
        by=crew.maker, reading=fixed, void=True, reason="another batch's"
    )
    assert void.value is None
    assert Reading.objects.current().count() == 1
    with pytest.raises(Conflict):
        cooking.amend_reading(
            by=crew.maker, reading=void, value=Decimal(9), reason="no, ours"
        )


@pytest.mark.django_db
def test_nothing_is_measured_in_an_empty_pot(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="Nothing is in the pot"):
        make.read_clarity(crew, batch)
    with pytest.raises(Refusal, match="Weigh the charges first"):
        cooking.weigh_bulk(
            by=crew.maker,
            batch=batch,
            scale=make.scale(crew.maker),
            gross_mg=2,
            tare_mg=1,
        )


@pytest.mark.django_db
def test_what_came_out_is_weighed_once_and_then_corrected(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    net = make.weigh_bulk(crew, batch)
    assert Stock.objects.get(pk=batch.pk).on_hand_mg == net
    with pytest.raises(ValidationError, match="Correct that weighing instead"):
        make.weigh_bulk(crew, batch)
    weighing = BulkWeighing.objects.get()
    cooking.amend_bulk(
        by=crew.maker,
        weighing=weighing,
        gross_mg=weighing.gross_mg - 500,
        tare_mg=weighing.tare_mg,
        reason="spoon was in it",
    )
    assert Stock.objects.get(pk=batch.pk).on_hand_mg == net - 500
    assert BulkWeighing.objects.current().get().net_mg == net - 500


@pytest.mark.django_db
def test_a_cook_is_finished_when_every_line_is_weighed_and_the_yield(
    crew: make.Crew,
) -> None:
    batch = _begun(crew)
    with pytest.raises(Refusal, match="Weigh what came out"):
        cooking.finish(by=crew.maker, batch=batch)
    make.weigh_bulk(crew, batch)
    with pytest.raises(Refusal, match="Not weighed yet: sunflower oil, coconut oil"):
        cooking.finish(by=crew.maker, batch=batch)
    assert make.fresh(batch).status == "in_process"


@pytest.mark.django_db
def test_control_an_unsigned_batch_can_be_amended_while_it_awaits_review(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    reading = Reading.objects.current().get(batch=batch, characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.3"),
        method=reading.method,
        reason="misread",
    )
    charge = Charge.objects.current().filter(batch=batch).first()
    assert charge is not None
    cooking.amend_charge(
        by=crew.maker,
        charge=charge,
        gross_mg=charge.gross_mg + 1000,
        tare_mg=charge.tare_mg,
        reason="misread",
    )
    lot = make.released_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal, match="finished"):  # but nothing new goes in
        make.charge(crew, batch, lot.stock, 1000)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["charge", "amend", "move", "void", "count"]),
        st.integers(0, 7),
        st.integers(1, 70_000),
    ),
    min_size=1,
    max_size=14,
)


def step(
    crew: make.Crew, batch: Batch, lots: list[RawLot], what: tuple[str, int, int]
) -> None:
    """Do one thing; refusals are part of life."""
    verb, which, mass = what
    rows = list(Charge.objects.current().filter(batch=batch))
    lot = lots[which % len(lots)]
    if verb == "charge":
        make.charge(crew, batch, lot.stock, mass)
    elif verb == "count":
        stock.adjust(by=crew.maker, lot=lot, counted_mg=mass, reason="counted")
    elif rows:
        cooking.amend_charge(
            by=crew.maker,
            charge=rows[which % len(rows)],
            gross_mg=mass,
            tare_mg=0,
            source=lot.stock if verb == "move" else None,
            void=verb == "void",
            reason="corrected",
        )


def assert_mass_balance(batch: Batch, lots: list[RawLot]) -> None:
    """Hold the ledger, the charges and the edges against one another, exactly."""
    for lot in lots:
        moved = StockMovement.objects.filter(stock=lot.stock)
        on_hand = Stock.objects.get(pk=lot.pk).on_hand_mg
        assert on_hand == moved.aggregate(s=models.Sum("amount_mg"))["s"]
        assert on_hand == moved.latest("pk").balance_mg
        charged = Charge.objects.current().filter(batch=batch, source=lot.stock)
        net = charged.aggregate(s=models.Sum("net_mg", default=0))["s"]
        mass = Input.objects.filter(batch=batch, source=lot.stock).aggregate(
            s=models.Sum("mass_mg", default=0)
        )["s"]
        assert mass == net
        drawn = moved.filter(kind__in=["draw", "draw_back"]).aggregate(
            s=models.Sum("amount_mg", default=0)
        )["s"]
        assert drawn == -net


@pytest.mark.django_db
def test_mass_balances_exactly_whatever_is_charged_corrected_and_taken_back(
    crew: make.Crew,
) -> None:
    water = make.water(crew.maker)
    lots = [make.released_lot(crew, water, quantity_mg=100_000) for _ in range(2)]
    make.paste_version(crew)
    refused = done = 0

    @settings(
        max_examples=15,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(steps=STEPS)
    def balances(steps: list[tuple[str, int, int]]) -> None:
        nonlocal refused, done
        with transaction.atomic():
            batch = make.open_batch(crew)
            for what in steps:
                try:
                    step(crew, batch, lots, what)
                    done += 1
                except Refusal:
                    refused += 1
                assert_mass_balance(batch, lots)
            transaction.set_rollback(True)

    balances()
    assert done > 20
    assert refused > 0


@pytest.mark.django_db
def test_control_a_movement_past_the_ledger_breaks_the_balance(
    crew: make.Crew,
) -> None:
    batch, lot = pot(crew)
    make.charge(crew, batch, lot.stock, 1000)
    assert_mass_balance(batch, [lot])
    Stock.objects.filter(pk=lot.pk).update(on_hand_mg=models.F("on_hand_mg") - 1)
    with pytest.raises(AssertionError):
        assert_mass_balance(batch, [lot])
    Stock.objects.filter(pk=lot.pk).update(on_hand_mg=models.F("on_hand_mg") + 1)
    Input.objects.update(mass_mg=999)
    with pytest.raises(AssertionError):
        assert_mass_balance(batch, [lot])


@pytest.mark.django_db
def test_an_entry_made_later_keeps_both_times(crew: make.Crew) -> None:
    then = timezone.now() - 2 * DAY
    batch = make.open_batch(crew)
    water, came = make.water(crew.maker), make.TODAY - 3 * DAY
    lot = make.released_lot(crew, water, received_on=came)
    row = make.charge(crew, batch, lot.stock, 1000, observed_at=then)
    row.refresh_from_db()
    assert row.observed_at == then
    assert row.entered_at > then + DAY
    assert not row.observed_later_than_entered


@pytest.mark.django_db
def test_a_corrected_mass_keeps_the_figure_and_how_well_it_was_known(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__name="sunflower oil")
    assert row.figure_uncertainty is not None
    amended = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg + 1000,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    amended.refresh_from_db()
    for name in (
        "certificate",
        "figure",
        "figure_uncertainty",
        "figure_distribution",
        "figure_origin",
    ):
        assert getattr(amended, name) == getattr(row, name), name
