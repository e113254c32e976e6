"""The supply gate: what is for own use stays here, and what can hurt leaves nowhere."""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.models import Batch, Bottle, Dispatch
from batches.services import bottle_doubts, dispatching, labelling
from producer.errors import Refusal
from producer.models import JournalEntry
from producer.services import rules
from quality.models import Characteristic
from quality.services import limits, supplying
from quality.services.impact.carried import MOST_FREE_ALKALI_PERCENT, MOST_PH
from tests import bottling, lab, leaving, make
from tests.quality import faulty


def send(crew: make.Crew, bottles: list[Bottle], kind: str = "private") -> Dispatch:
    to = make.consignee(crew.maker, f"somebody {kind}", kind)
    return supplying.dispatch(by=crew.maker, bottles=bottles, consignee=to)


@pytest.mark.django_db
def test_scenario_28_spray_without_a_number_is_no_gift_either(crew: make.Crew) -> None:
    spray = make.released_liquid(crew, make.spray_version(crew))
    bottles = leaving.bottles(crew, spray)
    for kind in ("private", "reseller"):
        with pytest.raises(Refusal, match="own use on the premises only") as told:
            send(crew, bottles, kind)
        assert told.value.field == "consignee"
        assert "Rules differ by place and change." in told.value.message
        assert rules.NEVER in told.value.message
    assert not Dispatch.objects.exists()
    rules.record_rules_check(
        by=crew.maker, topic="spray", country="Utopia", page="leaflet 7"
    )
    with pytest.raises(Refusal, match="for Utopia: leaflet 7"):
        send(crew, bottles)
    assert send(crew, bottles, "own_use")


@pytest.mark.django_db
def test_scenario_28_what_a_concession_let_pass_is_for_the_maker(
    crew: make.Crew,
) -> None:
    batch = leaving.conceded(crew)
    assert batch.status == "released"
    bottles = leaving.bottles(crew, batch)
    for kind in ("private", "reseller"):
        with pytest.raises(Refusal, match="own use on the premises only") as told:
            send(crew, bottles, kind)
        assert "under the concession of deviation V" in told.value.message
        assert batch.number in told.value.message
    assert not Dispatch.objects.exists()
    assert set(Bottle.objects.values_list("status", flat=True)) == {"filled"}
    assert send(crew, bottles, "own_use")


@pytest.mark.django_db
def test_control_a_batch_within_its_limits_is_supplied(crew: make.Crew) -> None:
    assert send(crew, leaving.bottles(crew))


def titrated(crew: make.Crew, volume_ml: str) -> Batch:
    """Return a paste with 0.0561 % of free KOH a millilitre, not signed yet."""
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, volume_ml)
    return batch


def diluted(crew: make.Crew, paste: Batch) -> Batch:
    """Sign a paste and return a released liquid of it."""
    make.signed(crew.reviewer, paste, "release")
    return make.released_liquid(crew, paste=make.fresh(paste))


@pytest.mark.django_db
def test_scenario_28_a_conceded_paste_is_not_supplied_by_diluting_it(
    crew: make.Crew,
) -> None:
    """The premises allow 0.25 %; here are 0.0561 % · 5.3 = 0.30 %."""
    paste = titrated(crew, "5.3")
    faulty.closed(crew, paste, "free_alkali", "concession")
    bottles = leaving.bottles(crew, diluted(crew, paste))
    with pytest.raises(Refusal, match="own use on the premises only") as told:
        send(crew, bottles)
    assert f"Of {paste.number}, which is in it: Free potass" in told.value.message
    assert "under the concession of deviation V" in told.value.message
    assert send(crew, bottles, "own_use")


@pytest.mark.django_db
def test_control_a_paste_with_little_free_alkali_is_supplied(crew: make.Crew) -> None:
    assert send(crew, leaving.bottles(crew, diluted(crew, titrated(crew, "1.2"))))


@pytest.mark.django_db
def test_the_ceiling_of_alkali_counts_with_its_uncertainty(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    bottles = leaving.bottles(crew, diluted(crew, titrated(crew, "1.2")))  # 0.067 %
    monkeypatch.setattr(supplying, "MOST_FREE_ALKALI_PERCENT", Decimal("0.0675"))
    with pytest.raises(Refusal, match=r"By titration 0\.067.* can be 0\.0675 % or"):
        send(crew, bottles, "own_use")


@pytest.mark.django_db
def test_without_a_titration_the_weighings_are_asked(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    bottles = leaving.bottles(crew)
    monkeypatch.setattr(supplying, "is_caustic_by_weighing", lambda _: True)
    with pytest.raises(Refusal, match="By the weighings"):
        send(crew, bottles, "own_use")


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["private", "reseller", "own_use"])
def test_a_ceiling_stops_every_dispatch(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    bottles = leaving.bottles(crew)  # pH 9.2 with the meter
    monkeypatch.setattr(supplying, "MOST_PH", Decimal("9.25"))
    with pytest.raises(Refusal, match=r"can be 9\.25 or more") as told:
        send(crew, bottles, kind)
    assert supplying.OURS in told.value.message
    assert "no legal statement" in told.value.message
    assert not Dispatch.objects.exists()


def test_the_ceilings_are_those_of_the_requirements() -> None:
    """Section 2.8 of the requirements, flagged there as from memory."""
    assert Decimal("11.5") == MOST_PH
    assert Decimal("0.5") == MOST_FREE_ALKALI_PERCENT


@pytest.mark.django_db
def test_a_limit_that_only_warns_does_not_bar(crew: make.Crew) -> None:
    limits.set_limit(
        by=crew.reviewer,
        formula_version=make.paste_version(crew),
        characteristic=Characteristic.FREE_ALKALI,
        upper=Decimal("0.2"),
        effect="warn",
        reason="tried out",
    )
    assert send(crew, leaving.bottles(crew, diluted(crew, titrated(crew, "5.3"))))


@pytest.mark.django_db
def test_a_filling_lot_that_is_not_released_stays(crew: make.Crew) -> None:
    bottles = make.bottles_of(make.filled(crew))
    with pytest.raises(Refusal, match="is not released yet"):
        send(crew, bottles)
    with pytest.raises(Refusal, match="is not released yet"):
        send(crew, bottles, "own_use")


@pytest.mark.django_db
def test_while_a_double_is_not_settled_none_of_its_lot_leaves(
    crew: make.Crew,
) -> None:
    one, other = leaving.bottles(crew)
    doubt = bottle_doubts.report(
        by=crew.maker, bottle=one, kind="duplicate", found="two in one box"
    )
    with pytest.raises(Refusal, match="two bottles bear the code"):
        send(crew, [other])
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a misprint, destroyed")
    assert send(crew, [other])


@pytest.mark.django_db
def test_nobody_dispatches_around_the_gate(crew: make.Crew) -> None:
    bottles = leaving.bottles(crew)
    with pytest.raises(TypeError, match="barred"):
        dispatching.dispatch(  # type: ignore[call-arg]
            by=crew.maker, bottles=bottles, consignee=make.consignee(crew.maker)
        )


@pytest.mark.django_db
def test_the_journal_names_no_person(crew: make.Crew) -> None:
    to = make.consignee(crew.maker, "Pernilla Overgaard", "private")
    supplying.dispatch(by=crew.maker, bottles=leaving.bottles(crew), consignee=to)
    entry = JournalEntry.objects.get(act="bottles dispatched")
    assert to.reference in entry.after
    assert "Pernilla" not in entry.after + entry.subject_label


@pytest.mark.django_db
def test_labels_printed_after_the_release_are_accounted_for_before_more_leaves(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew, count=2, nominal_ul=250_000)
    bottling.labels_issued(crew, lot, numbers=[1], reason="smeared")
    shop = make.consignee(crew.maker)
    with pytest.raises(Refusal, match="3 labels were issued and 2 are accounted for"):
        supplying.dispatch(by=crew.maker, bottles=make.bottles_of(lot), consignee=shop)
    labelling.count_labels(by=crew.maker, filling_lot=lot, kind="spoiled", count=1)
    supplying.dispatch(by=crew.maker, bottles=make.bottles_of(lot), consignee=shop)
