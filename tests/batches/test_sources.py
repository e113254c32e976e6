"""The figures of a lot: certificate, own titration, range, and what is known."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from batches.models import Charge, ContainerWeighing
from batches.services import containers, cooking, sources, titrating
from producer.errors import Refusal
from producer.models import Material, RawLot
from producer.services import intake
from tests import lab, make, uploads

pytestmark = pytest.mark.django_db

MOST_WORDS = 250  # of a charge's origin
ROOT_3 = Decimal(3).sqrt()
ROOT_12 = Decimal(12).sqrt()
YESTERDAY = make.TODAY - datetime.timedelta(days=1)
TOMORROW = make.TODAY + datetime.timedelta(days=1)
OIL_SETUP = {
    "concentration": Decimal("0.5"),
    "half_width": Decimal("0.001"),
    "blank_ml": Decimal(25),
}
OIL_SAMPLE = titrating.Replicate(sample_mg=1500, volume_ml=Decimal("14.7"))


def potash_lot(crew: make.Crew, **certificate: Any) -> RawLot:
    return make.released_lot(crew, make.potash(crew.maker), certificate=certificate)


def figure(lot: RawLot) -> sources.Figure:
    found = sources.figure_of(lot)
    assert found is not None
    return found


def close(value: Decimal) -> Any:
    return pytest.approx(value, abs=Decimal("1e-9"))


def test_potash_has_its_share_with_the_doubt_of_its_certificate(
    crew: make.Crew,
) -> None:
    found = figure(potash_lot(crew))
    assert found.value == Decimal("0.9")
    assert found.standard_uncertainty == close(Decimal("0.005") / ROOT_3)
    assert found.distribution == "rectangular"
    assert found.origin == (
        "certificate version 1, hydroxide only: 90 ± 0.5 % (no ± stated, common"
        " practice)"
    )


def test_the_half_width_of_the_certificate_counts(crew: make.Crew) -> None:
    found = figure(potash_lot(crew, assay_half_width=Decimal("0.2")))
    assert found.standard_uncertainty == close(Decimal("0.002") / ROOT_3)


def test_a_minimum_is_said_to_be_taken_as_the_middle(crew: make.Crew) -> None:
    found = figure(potash_lot(crew, assay_is_minimum=True))
    assert found.value == Decimal("0.91")
    assert "the middle of 90 to 92 %" in found.origin


def test_the_longest_words_fit_on_a_charge(crew: make.Crew) -> None:
    most = Charge._meta.get_field("figure_origin").max_length
    assert most is not None
    for carbonate in (None, Decimal("3.125")):
        lot = potash_lot(
            crew,
            assay_percent=Decimal("90.125"),
            assay_basis="total_alkali",
            assay_is_minimum=True,
            assay_half_width=Decimal("0.125"),
            carbonate_percent=carbonate,
        )
        assert len(figure(lot).origin) + 5 <= most


def test_potash_without_an_assay_is_refused_until_it_is_titrated(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    with pytest.raises(Refusal, match="no certificate with an assay"):
        sources.figure_of(lot)
    lab.titration(crew, lot.stock)
    assert figure(lot).certificate is None


def test_an_own_titration_of_the_same_day_or_later_counts_before_the_certificate(
    crew: make.Crew,
) -> None:
    lot = potash_lot(crew, issued_on=make.TODAY)
    titration = lab.titration(crew, lot.stock)
    found = figure(lot)
    assert titration.value is not None
    assert titration.standard_uncertainty is not None
    assert found.value == titration.value / 100
    assert found.standard_uncertainty == titration.standard_uncertainty / 100
    assert found.distribution == "normal"
    assert found.origin.startswith("own titration of ")
    assert "% KOH (k = 2)" in found.origin


def test_a_certificate_of_a_later_day_counts_before_a_titration(
    crew: make.Crew,
) -> None:
    lot = potash_lot(crew, issued_on=TOMORROW)
    lab.titration(crew, lot.stock)
    assert figure(lot).value == Decimal("0.9")


def test_a_certificate_without_a_date_is_of_the_day_it_was_recorded(
    crew: make.Crew,
) -> None:
    lot = potash_lot(crew)
    lab.titration(
        crew, lot.stock, observed_at=timezone.now() - datetime.timedelta(days=2)
    )
    assert figure(lot).certificate is not None
    lab.titration(crew, lot.stock)
    assert figure(lot).certificate is None


def test_a_titration_that_was_taken_back_counts_no_more(crew: make.Crew) -> None:
    lot = potash_lot(crew)
    titration = lab.titration(crew, lot.stock)
    titrating.take_back_titration(by=crew.maker, titration=titration, reason="acid")
    assert figure(lot).value == Decimal("0.9")


def test_the_newest_titration_is_the_one_done_last(crew: make.Crew) -> None:
    lot = potash_lot(crew, issued_on=YESTERDAY - datetime.timedelta(days=30))
    last = lab.titration(crew, lot.stock)
    earlier = timezone.now() - datetime.timedelta(days=3)
    weaker = titrating.Replicate(
        sample_mg=1500, volume_ml=Decimal(23), second_volume_ml=Decimal("23.1")
    )
    lab.titration(crew, lot.stock, weaker, observed_at=earlier)
    assert last.value is not None
    assert figure(lot).value == last.value / 100


def test_an_oil_without_a_stated_half_width_is_taken_as_one_milligram(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), certificate={})
    found = figure(lot)
    assert found.value == Decimal("190.5")
    assert found.standard_uncertainty == close(1 / ROOT_3)
    assert found.distribution == "rectangular"
    assert "± 1, common practice" in found.origin


def test_an_oil_with_one_has_that(crew: make.Crew) -> None:
    lot = make.released_lot(
        crew,
        make.sunflower(crew.maker),
        certificate={"saponification_half_width": Decimal("0.5")},
    )
    assert figure(lot).standard_uncertainty == close(Decimal("0.5") / ROOT_3)
    assert "± 0.5 as stated" in figure(lot).origin


def test_an_oil_by_its_range_may_lie_anywhere_in_it(crew: make.Crew) -> None:
    found = figure(make.released_lot(crew, make.coconut(crew.maker)))
    assert found.value == Decimal("256.5")
    assert found.standard_uncertainty == close(17 / ROOT_12)
    assert found.distribution == "rectangular"
    assert "published range 248 to 265" in found.origin


def titrated_oil(crew: make.Crew, lot: RawLot, **changes: Any) -> None:
    """Titrate an oil to 192.6 ± 1.6 mg KOH/g."""
    lab.titration(
        crew,
        lot.stock,
        OIL_SAMPLE,
        OIL_SAMPLE,
        kind="saponification_value",
        setup=OIL_SETUP,
        **changes,
    )


def test_an_own_titration_beats_the_range_and_yields_to_a_surer_certificate(
    crew: make.Crew,
) -> None:
    oil = make.sunflower(crew.maker)
    lot = make.held_lot(crew, oil)
    titrated_oil(crew, lot)
    found = figure(lot)
    assert found.value == pytest.approx(Decimal("192.6"), abs=Decimal("0.1"))
    assert found.distribution == "normal"
    assert "own titration" in found.origin
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(oil),
        upload=uploads.pdf(),
    )
    # ± 1, rectangular, is u = 0.58; the titration's u is 0.79
    assert figure(lot).value == Decimal("190.5")


def test_an_own_titration_that_knows_more_beats_the_certificate(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(
        crew,
        make.sunflower(crew.maker),
        certificate={"saponification_half_width": Decimal(3)},
    )
    titrated_oil(crew, lot)
    found = figure(lot)
    assert found.certificate is None
    assert found.value == pytest.approx(Decimal("192.6"), abs=Decimal("0.1"))
    assert "differs" not in found.origin  # within U of the difference


@pytest.mark.parametrize(
    ("half_width", "counts"), [("1", "certificate version 1"), ("2", "own titration")]
)
def test_the_figure_that_counts_says_which_other_it_contradicts(
    crew: make.Crew, half_width: str, counts: str
) -> None:
    lot = make.released_lot(
        crew,
        make.sunflower(crew.maker),
        certificate={
            "saponification_value": Decimal("189.0"),
            "saponification_half_width": Decimal(half_width),
        },
    )
    titrated_oil(crew, lot, unusual="repeated with fresh acid")
    origin = figure(lot).origin
    assert origin.startswith(counts)
    if counts == "own titration":
        assert origin.endswith(
            "; differs from certificate version 1, 189.0 ± 2.4 mg KOH/g"
        )
    else:
        assert "; differs from own titration of " in origin
        assert ", 192.6 ± 1.6 mg KOH/g" in origin
    assert len(origin) + 5 <= MOST_WORDS


@pytest.mark.parametrize("spilled", [False, True])
def test_one_sample_stays_on_record_and_is_not_computed_with(
    crew: make.Crew, *, spilled: bool
) -> None:
    lot = potash_lot(crew)
    samples = [lab.POTASH_SAMPLE]
    if spilled:
        samples.append(
            dataclasses.replace(lab.POTASH_SAMPLE, excluded_because="spilled")
        )
    row = lab.titration(crew, lot.stock, *samples)
    assert "not computed with; titrate another" in row.sentence
    assert figure(lot).value == Decimal("0.9")
    lab.titration(crew, lot.stock)
    assert figure(lot).certificate is None


def test_one_sample_of_an_oil_leaves_it_its_range(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    lab.titration(
        crew, lot.stock, OIL_SAMPLE, kind="saponification_value", setup=OIL_SETUP
    )
    assert figure(lot).origin.startswith("middle of the published range")


# ---------------------------------------------------------------- heavier potash

A_KILO = 1_000_000


def heavier_lot(crew: make.Crew, **certificate: Any) -> RawLot:
    """Return a kilogram of 90 % potash that took 30 g from the air."""
    lot = make.released_lot(
        crew, make.potash(crew.maker), quantity_mg=A_KILO, certificate=certificate
    )
    lab.container(crew, lot, gain_mg=30_000)
    return lot


# (900 − 30·2·56.1053/44.009)/1030 and 900/1030, by hand
ALL_CO2, ALL_WATER = Decimal("0.799523"), Decimal("0.873786")


def test_potash_that_got_heavier_lies_between_all_carbonate_and_all_water(
    crew: make.Crew,
) -> None:
    found = figure(heavier_lot(crew))
    assert found.value == pytest.approx((ALL_CO2 + ALL_WATER) / 2, abs=Decimal("1e-6"))
    spread = (ALL_WATER - ALL_CO2) / ROOT_12
    before = Decimal("0.005") / ROOT_3 / Decimal("1.03")
    assert found.standard_uncertainty == pytest.approx(
        (spread**2 + before**2).sqrt(), abs=Decimal("1e-6")
    )
    assert found.distribution == "rectangular"
    assert found.certificate is not None
    assert found.origin == (
        "certificate version 1, 90.0 % usable, then 3.0 % heavier: between 80.0 %, if"
        " all of that is carbon dioxide, and 87.4 %, if all is water"
    )


def test_only_a_later_titration_or_a_later_printed_day_makes_it_known_again(
    crew: make.Crew,
) -> None:
    lot = heavier_lot(crew)
    before = timezone.now() - datetime.timedelta(hours=2)
    lab.titration(crew, lot.stock, observed_at=before)
    assert "then 3.0 % heavier" in figure(lot).origin
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(lot.material),
        upload=None,
        reason="typed again",
    )
    assert "then 3.0 % heavier" in figure(lot).origin
    row = lab.titration(crew, lot.stock)
    assert row.value is not None
    assert figure(lot).value == row.value / 100


def test_a_certificate_of_a_later_day_makes_it_known_again(crew: make.Crew) -> None:
    assert "heavier" in figure(heavier_lot(crew, issued_on=make.TODAY)).origin
    later = heavier_lot(crew, issued_on=TOMORROW)
    assert figure(later).value == Decimal("0.9")


def test_a_weighing_that_is_taken_back_ages_nothing(crew: make.Crew) -> None:
    lot = heavier_lot(crew)
    row = ContainerWeighing.objects.get()
    containers.amend_container(
        by=crew.maker, weighing=row, void=True, reason="another tin"
    )
    assert figure(lot).value == Decimal("0.9")


def test_a_second_weighing_counts_the_gain_from_the_certificate_once(
    crew: make.Crew,
) -> None:
    lot = heavier_lot(crew)
    again = lab.container(crew, lot, gain_mg=30_000)
    assert "before it was 90.0 %" in again.sentence
    assert figure(lot).origin.startswith("certificate version 1, 90.0 % usable")


@pytest.mark.parametrize(
    ("acid", "takes_up"),
    [("citric_anhydrous", "0.87608"), ("citric_monohydrate", "0.80098")],
)
def test_an_acid_says_how_much_alkali_it_takes_up(
    crew: make.Crew, acid: str, takes_up: str
) -> None:
    material = make.registered(
        crew.maker, Material(name="citric acid", kind="addition", acid=acid)
    )
    found = figure(make.released_lot(crew, material))
    assert found.value == pytest.approx(Decimal(takes_up), abs=Decimal("1e-5"))
    assert found.standard_uncertainty == close(found.value * Decimal("0.005") / ROOT_3)


def test_water_has_no_figure(crew: make.Crew) -> None:
    assert sources.figure_of(make.released_lot(crew, make.water(crew.maker))) is None


def test_a_charge_keeps_what_was_known_when_it_was_weighed(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    lot = potash_lot(crew, assay_half_width=Decimal("0.3"))
    make.charge_all(crew, batch, {"potash": lot.stock})
    row = batch.charges.get(source=lot.stock)
    assert row.figure_uncertainty == (Decimal("0.003") / ROOT_3).quantize(
        Decimal("0.000001")
    )
    assert row.figure_distribution == "rectangular"
    lab.titration(crew, lot.stock)  # comes later and changes nothing
    amended = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg - 100,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    assert amended.figure == Decimal("0.9")
    assert amended.figure_uncertainty == row.figure_uncertainty
    assert amended.figure_distribution == row.figure_distribution


def test_nothing_is_taken_of_a_paste_with_a_lot_on_hold_in_it(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    lot = RawLot.objects.get(
        stock__in=paste.inputs.values("source"), material__kind="potash"
    )
    intake.decide_lot(by=crew.reviewer, lot=lot, new="on_hold", reason="caked")
    with pytest.raises(Refusal, match=f"Nothing of batch {paste.number} may be used"):
        make.diluted_batch(crew, paste=paste)
    charges = Charge.objects.filter(source=paste.stock)
    assert not charges.exists()
    intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="only the lid")
    make.diluted_batch(crew, paste=paste)
    assert charges.exists()
