"""Titrations of lots and batches."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from batches.models import Titration
from batches.services import titrating
from batches.services.titrating import Replicate
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from quality.services.record import facts_of
from tests import lab, make
from tests.database import while_uncommitted

pytestmark = pytest.mark.django_db

ACID = {"concentration": Decimal("0.1"), "half_width": Decimal("0.0005")}


def potash_sample(first: str, total: str | None, **changes: Any) -> Replicate:
    second = None if total is None else Decimal(total)
    return Replicate(
        sample_mg=1500,
        volume_ml=Decimal(first),
        second_volume_ml=second,
        **changes,
    )


def oil_sample(volume: str, mass_mg: int = 1500, **changes: Any) -> Replicate:
    return Replicate(sample_mg=mass_mg, volume_ml=Decimal(volume), **changes)


@pytest.fixture
def potash(crew: make.Crew) -> Any:
    return make.released_lot(crew, make.potash(crew.maker))


@pytest.fixture
def oil(crew: make.Crew) -> Any:
    return make.released_lot(crew, make.sunflower(crew.maker))


def test_a_potash_titration_keeps_samples_result_and_words(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.titration(
        crew,
        potash.stock,
        potash_sample("24.1", "24.2"),
        potash_sample("24.0", "24.15"),
    )
    assert [one.number for one in row.replicates.all()] == [1, 2]
    assert row.value == pytest.approx(Decimal("89.49"), abs=Decimal("0.01"))
    assert row.carbonate == pytest.approx(Decimal("1.152"), abs=Decimal("0.001"))
    assert row.carbonate_uncertainty is not None
    assert row.sentence.startswith("Hydroxide 89.")
    assert "carbonate 1." in row.sentence
    assert "(k = 2), mean of 2 samples." in row.sentence
    entry = JournalEntry.objects.order_by("-sequence").first()
    assert entry is not None
    assert entry.subject_label == potash.code


def test_one_sample_is_said_to_be_one(crew: make.Crew, potash: Any) -> None:
    row = lab.titration(crew, potash.stock, lab.POTASH_SAMPLE)
    assert "one sample: not computed with; titrate another. How well" in row.sentence
    free = lab.free_alkali(crew, make.cooked_batch(crew))
    assert "one sample. How well it repeats is not known" in free.sentence


def test_an_outlier_is_marked_and_counts(crew: make.Crew) -> None:
    row = lab.free_alkali(crew, make.cooked_batch(crew), "1.0", "1.01", "1.0", "1.9")
    assert [one.is_suspect for one in row.replicates.all()] == [False] * 3 + [True]
    assert all(not one.excluded_because for one in row.replicates.all())
    assert "Sample 4 stands out from the others" in row.sentence
    assert "it counts all the same" in row.sentence
    values = [one.value for one in row.replicates.all()]
    assert row.value == pytest.approx(sum(values) / 4, abs=Decimal("0.0001"))


def test_a_sample_left_out_stays_with_its_reason(crew: make.Crew, oil: Any) -> None:
    row = lab.titration(
        crew,
        oil.stock,
        oil_sample("15"),
        oil_sample("14.9"),
        oil_sample("12", excluded_because="spilled some"),
        kind="saponification_value",
        setup={"concentration": Decimal("0.5"), "blank_ml": Decimal(25)},
    )
    assert row.replicates.get(number=3).excluded_because == "spilled some"
    assert "mean of 2 samples" in row.sentence
    assert "Sample 3 does not count: spilled some." in row.sentence
    assert row.value == pytest.approx(Decimal("187.95"), abs=Decimal("0.01"))


def test_an_acid_value_says_the_free_acid_and_corrects_for_warm_alcohol(
    crew: make.Crew, oil: Any
) -> None:
    def titrated(**setup: Any) -> Titration:
        return lab.titration(
            crew,
            oil.stock,
            oil_sample("4", 10_000),
            kind="acid_value",
            setup={**ACID, **setup},
        )

    cold = titrated()
    assert cold.value == Decimal("2.2442")
    assert "1.13 % free fatty acid as oleic acid" in cold.sentence
    warm = titrated(temperatures=(Decimal(25), Decimal(20)))
    assert warm.value == pytest.approx(
        Decimal("2.2442") * Decimal("0.9945"), abs=Decimal("0.0001")
    )
    assert warm.replicates.get().volume_ml == 4  # as it was read
    assert "Titrant at 25 °C, its strength holds at 20 °C." in warm.method
    blank = lab.titration(
        crew,
        oil.stock,
        oil_sample("4.5", 10_000),
        kind="acid_value",
        setup={
            **ACID,
            "blank_ml": Decimal("0.5"),
            "temperatures": (Decimal(25), Decimal(20)),
        },
    )
    assert blank.value == warm.value  # the blank is corrected as the sample is


@pytest.mark.parametrize("pair", [("61", "20"), ("20", "-1"), ("20", "70")])
def test_no_titrant_is_as_hot_or_cold_as_that(
    crew: make.Crew, oil: Any, pair: tuple[str, str]
) -> None:
    now, standard = (Decimal(part) for part in pair)
    with pytest.raises(Refusal, match="°C is outside 5 to 40 °C"):
        lab.titration(
            crew,
            oil.stock,
            oil_sample("4", 10_000),
            kind="acid_value",
            setup={**ACID, "temperatures": (now, standard)},
        )


@pytest.mark.parametrize(
    ("of", "kind"),
    [
        ("potash", "saponification_value"),
        ("potash", "free_alkali"),
        ("oil", "potash"),
        ("oil", "free_alkali"),
        ("water", "acid_value"),
        ("paste", "potash"),
        ("liquid", "free_alkali"),
        ("potash", "nonsense"),
    ],
)
def test_the_kind_fits_what_it_is_titrated_of(
    crew: make.Crew, of: str, kind: str
) -> None:
    makers: dict[str, Any] = {
        "potash": lambda: make.released_lot(crew, make.potash(crew.maker)),
        "oil": lambda: make.released_lot(crew, make.sunflower(crew.maker)),
        "water": lambda: make.released_lot(crew, make.water(crew.maker)),
        "paste": lambda: make.cooked_batch(crew),
        "liquid": lambda: make.diluted_batch(crew),
    }
    with pytest.raises(Refusal, match="cannot be titrated here"):
        lab.titration(crew, makers[of]().stock, kind=kind)
    assert not Titration.objects.exists()


def test_a_batch_is_titrated_while_its_record_is_open(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="Nothing is in the pot yet"):
        lab.free_alkali(crew, batch)
    cooked = make.cooked_batch(crew)
    lab.free_alkali(crew, cooked)
    released = make.signed(crew.reviewer, cooked, "release")
    with pytest.raises(Refusal, match="closed and signed"):
        lab.free_alkali(crew, released)


@pytest.mark.parametrize(
    ("replicates", "setup", "said"),
    [
        ([], {}, "Titrate at least one"),
        ([potash_sample("24", None)], {}, "two end points"),
        ([potash_sample("12", "24")], {}, "in soap this method is not valid"),
        ([potash_sample("24", "23")], {}, "add both"),
        ([potash_sample("30", "30.1")], {}, "more than all there is"),
        ([potash_sample("24", "24.1")], {"concentration": Decimal(0)}, "the label"),
        ([potash_sample("24", "24.1")], {"half_width": Decimal(-1)}, "without a sign"),
        (
            [potash_sample("24", "24.1")],
            {"burette_half_width": Decimal(0)},
            "No burette is exact",
        ),
        (
            [potash_sample("24", "24.1", excluded_because="all spilled")],
            {},
            "Titrate at least one",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_check(
    crew: make.Crew,
    potash: Any,
    replicates: list[Replicate],
    setup: dict[str, Any],
    said: str,
) -> None:
    facts = {
        "concentration": Decimal(1),
        "burette_half_width": Decimal("0.05"),
        "scale": lab.balance(crew.maker),
        **setup,
    }
    with pytest.raises(Refusal, match=said):
        titrating.record_titration(
            by=crew.maker,
            stock=potash.stock,
            kind="potash",
            replicates=replicates,
            setup=titrating.Setup(**facts),
        )
    assert not Titration.objects.exists()


def test_samples_are_weighed_on_a_scale(crew: make.Crew, potash: Any) -> None:
    with pytest.raises(Refusal, match="Choose the scale") as refused:
        lab.titration(crew, potash.stock, setup={"scale": make.meter(crew.maker)})
    assert refused.value.field == "scale"


def test_a_coarse_scale_makes_the_result_less_sure(
    crew: make.Crew, potash: Any
) -> None:
    fine = lab.titration(crew, potash.stock)
    coarse = lab.titration(crew, potash.stock, setup={"scale": make.scale(crew.maker)})
    assert coarse.value == fine.value
    assert coarse.standard_uncertainty is not None
    assert fine.standard_uncertainty is not None
    assert coarse.standard_uncertainty > 10 * fine.standard_uncertainty


def test_a_time_in_the_future_is_refused(crew: make.Crew, potash: Any) -> None:
    later = timezone.now() + datetime.timedelta(days=3)
    with pytest.raises(Refusal, match="future"):
        lab.titration(crew, potash.stock, observed_at=later)


def test_a_titration_is_taken_back_once_and_with_a_reason(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.titration(crew, potash.stock)
    with pytest.raises(Refusal, match="Say why"):
        titrating.take_back_titration(by=crew.maker, titration=row, reason=" ")
    void = titrating.take_back_titration(
        by=crew.maker, titration=row, reason="wrong acid"
    )
    assert (void.is_void, void.value, void.kind) == (True, None, "potash")
    assert list(Titration.objects.current()) == []
    for gone in (row, void):
        with pytest.raises(Conflict):
            titrating.take_back_titration(by=crew.maker, titration=gone, reason="again")


def test_a_titration_of_a_signed_batch_is_not_taken_back(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    row = lab.free_alkali(crew, batch)
    make.signed(crew.reviewer, batch, "release")
    with pytest.raises(Refusal, match="closed and signed"):
        titrating.take_back_titration(by=crew.maker, titration=row, reason="late")


def test_only_a_maker_titrates(crew: make.Crew, auditor: User, potash: Any) -> None:
    row = lab.titration(crew, potash.stock)
    nobody = make.Crew(auditor, crew.reviewer)
    lab.balance(crew.maker)
    with pytest.raises(PermissionDenied):
        lab.titration(nobody, potash.stock)
    with pytest.raises(PermissionDenied):
        titrating.take_back_titration(by=auditor, titration=row, reason="no")


def test_the_signed_record_has_the_titrations_only_where_there_are_any(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    assert "titrations" not in facts_of(batch)
    row = lab.free_alkali(crew, batch, "1.0", "1.1")
    facts = facts_of(batch)["titrations"]
    assert [one["id"] for one in facts] == [row.pk]
    assert row.value is not None
    assert facts[0]["value"] == f"{row.value.normalize():f}"
    assert len(facts[0]["replicates"]) == 2


def test_a_charge_without_an_uncertainty_is_signed_as_before(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    by_figure = {
        row["figure"] is None: "figure_uncertainty" in row
        for row in facts_of(batch)["charges"]
    }
    assert by_figure == {True: False, False: True}


@pytest.mark.parametrize(
    ("sample_mg", "setup", "said"),
    [
        (10_000_000, {}, "Sample 1 weighs 10000 g; for this titration"),
        (50_000, {"capacity": Decimal(20)}, "the scale holds 20 g at most"),
        (10_000, {"concentration": Decimal(100)}, "is it in mmol/l"),
        (10_000, {"half_width": Decimal("0.1")}, "not in percent"),
        (10_000, {"burette_half_width": Decimal(25)}, "no burette's"),
    ],
)
def test_a_slip_of_unit_clears_no_caustic_batch(
    crew: make.Crew, sample_mg: int, setup: dict[str, Any], said: str
) -> None:
    batch = make.cooked_batch(crew)
    scale = lab.balance(crew.maker)
    facts = dict(setup)
    if "capacity" in facts:
        scale.capacity = facts.pop("capacity")
    with pytest.raises(Refusal, match=said):
        lab.titration(
            crew,
            batch.stock,
            Replicate(sample_mg=sample_mg, volume_ml=Decimal("2.9")),
            kind="free_alkali",
            setup={**ACID, "scale": scale, **facts},
        )
    assert not Titration.objects.exists()


def test_the_journal_says_that_a_titration_stands_no_more(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.titration(crew, potash.stock)
    titrating.take_back_titration(by=crew.maker, titration=row, reason="wrong acid")
    entry = JournalEntry.objects.get(act="titration taken back")
    assert entry.before_values == titrating.titration_facts(row)
    assert entry.after_values == {"is_void": True}


@pytest.mark.django_db(transaction=True)
def test_two_people_who_take_back_one_titration_at_once_meet_a_conflict(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.titration(crew, potash.stock)

    def take_back() -> Titration:
        return titrating.take_back_titration(
            by=crew.maker,
            titration=Titration.objects.get(pk=row.pk),
            reason="wrong acid",
        )

    first, second = while_uncommitted(take_back, take_back)
    assert isinstance(first, Titration)
    assert isinstance(second, Conflict)
    assert Titration.objects.count() == 2
