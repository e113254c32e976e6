"""Limits: versions with a reason, and the one that held when a batch was opened."""

from __future__ import annotations

import functools
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from producer.errors import Refusal
from producer.models import JournalEntry, User
from quality.models import Characteristic, Limit
from quality.services import limits
from quality.statistics.conformity import RULE, RULES
from tests import lab, make
from tests.database import together
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def test_a_new_limit_is_a_new_version_and_the_old_one_stays(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    first = Limit.objects.get(characteristic="ph")
    second = limits.set_limit(
        by=crew.reviewer,
        formula_version=version,
        characteristic="ph",
        reason="a year of readings",
        lower=Decimal("8.5"),
        upper=Decimal(10),
    )
    assert (first.version, second.version) == (1, 2)
    assert second.method == version.ph_method
    assert Limit.objects.get(pk=first.pk).lower == 8
    entry = JournalEntry.objects.get(reason="a year of readings")
    assert entry.before_values["lower"] == "8.000"
    assert entry.after_values["lower"] == "8.5"


def test_a_batch_is_held_against_the_limit_that_stood_when_it_was_opened(
    crew: make.Crew,
) -> None:
    before = make.open_batch(crew)
    make.set_limits(crew.reviewer, make.paste_version(crew), ph=("9", "9.5"))
    after = make.open_batch(crew)
    found = [limits.limit_for(batch, "ph") for batch in (before, after)]
    assert [limit.version for limit in found if limit] == [1, 2]


def test_a_batch_opened_before_any_limit_is_held_against_the_first(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew)
    batch = make.open_batch(crew)
    assert limits.limit_for(batch, "nothing") is None
    other = make.blend_version(crew)
    assert (
        limits.limit_for(make.open_batch(crew, other), Characteristic.CLARITY) is None
    )
    assert version.limits.count() == 3


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (None, None, "a lower limit, an upper limit or both"),
        ("10", "8", "below the upper one"),
        ("9", "9", "below the upper one"),
    ],
)
def test_a_limit_has_a_side_and_its_sides_are_in_order(
    crew: make.Crew, lower: str | None, upper: str | None, said: str
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(ValidationError, match=said):
        limits.set_limit(
            by=crew.reviewer,
            formula_version=version,
            characteristic="ph",
            reason="a slip",
            lower=Decimal(lower) if lower else None,
            upper=Decimal(upper) if upper else None,
        )


def test_only_a_reviewer_sets_limits_and_says_why(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    set_limit = functools.partial(
        limits.set_limit,
        formula_version=version,
        characteristic="ph",
        lower=Decimal(8),
        upper=Decimal(10),
    )
    with pytest.raises(PermissionDenied):
        set_limit(by=crew.maker, reason="easier to meet")
    with pytest.raises(Refusal):
        set_limit(by=crew.reviewer, reason="")
    assert set_limit(by=crew.reviewer, reason="as agreed").version == 2


def test_a_ph_limit_without_its_method_is_refused_by_the_database(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(IntegrityError), transaction.atomic():
        Limit.objects.create(
            formula_version=version,
            characteristic="ph",
            version=9,
            upper=Decimal(10),
            method="",
            reason="x",
            observed_at=timezone.now(),
            entered_by=crew.reviewer,
        )


@pytest.mark.django_db(transaction=True)
def test_limits_set_at_once_get_two_numbers(crew: make.Crew) -> None:
    version = make.paste_version(crew)

    def set_limit() -> Limit:
        return limits.set_limit(
            by=crew.reviewer,
            formula_version=version,
            characteristic="ph",
            reason="as agreed",
            lower=Decimal(8),
            upper=Decimal(10),
        )

    results = together(set_limit, set_limit)
    assert sorted(r.version for r in results if isinstance(r, Limit)) == [2, 3]


# ------------------------------------------------- rule, effect, method, material


def test_the_journal_keeps_everything_that_a_limit_says(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    lab.limit(
        crew,
        version,
        "soap_content",
        upper="42",
        method=" by the masses ",
        rule="simple_1",
        effect="warn",
        reason="as we learnt",
    )
    entry = JournalEntry.objects.get(reason="as we learnt")
    assert entry.after_values == {
        "version": 1,
        "lower": None,
        "upper": "42",
        "method": "by the masses",
        "rule": "simple_1",
        "effect": "warn",
        **{key: entry.after_values[key] for key in entry.after_values if key[0] == "_"},
    }
    assert entry.subject_label == "Kitchen paste: soap content (%)"


def test_a_limit_without_a_word_about_it_holds_by_the_usual_rule(
    crew: make.Crew,
) -> None:
    make.paste_version(crew)
    limit = Limit.objects.get(characteristic="ph")
    assert (limit.rule, limit.effect) == (RULE.slug, "hold")


def test_a_limit_of_a_material_has_versions_of_its_own(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    first = lab.limit(crew, material, "assay", lower="85")
    second = lab.limit(crew, material, "assay", lower="88")
    assert (first.version, second.version) == (1, 2)
    assert limits.limits_of_material(material) == [second]
    assert limits.limits_of_material(make.water(crew.maker)) == []


@pytest.mark.parametrize(
    ("kind", "characteristic"),
    [
        ("oil", "assay"),
        ("potash", "saponification_value"),
        ("potash", "ph"),
        ("water", "assay"),
    ],
)
def test_a_material_has_only_limits_of_what_its_certificate_states(
    crew: make.Crew, kind: str, characteristic: str
) -> None:
    material = {"oil": make.sunflower, "potash": make.potash, "water": make.water}[
        kind
    ](crew.maker)
    with pytest.raises(Refusal, match="has no such figure"):
        lab.limit(crew, material, characteristic, lower="85")


def test_a_limit_is_of_one_thing(crew: make.Crew) -> None:
    facts: dict[str, Any] = {
        "by": crew.reviewer,
        "characteristic": "assay",
        "lower": Decimal(85),
        "reason": "as agreed",
    }
    with pytest.raises(Refusal, match="of a formula version or of a material"):
        limits.set_limit(**facts)
    with pytest.raises(Refusal, match="of a formula version or of a material"):
        limits.set_limit(
            **facts,
            formula_version=make.paste_version(crew),
            material=make.potash(crew.maker),
        )
    with pytest.raises(ValidationError, match="this characteristic is not one"):
        limits.set_limit(**facts, formula_version=make.paste_version(crew))


@pytest.mark.parametrize(("field", "value"), [("rule", "mine"), ("effect", "shrug")])
def test_rule_and_effect_are_those_that_there_are(
    crew: make.Crew, field: str, value: str
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(ValidationError):
        lab.limit(crew, version, "yield_variance", upper="0", **{field: value})


def test_free_alkali_without_an_upper_limit_is_refused(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="upper limit") as refused:
        lab.limit(crew, make.paste_version(crew), "free_alkali", lower="0.01")
    assert refused.value.field == "upper"


# ------------------------------------------------- what makes sense

WHOLE_PH = {"lower": "8", "upper": "10"}


@pytest.mark.parametrize(
    ("characteristic", "facts", "field", "said"),
    [
        ("ph", {"upper": "10"}, "lower", "the lower one is missing"),
        ("ph", {"lower": "8"}, "upper", "the upper one is missing"),
        ("ph", {"lower": "5.9", "upper": "10"}, "lower", "between 6 and 13"),
        ("ph", {"lower": "8", "upper": "13.1"}, "upper", "between 6 and 13"),
        ("ph", {**WHOLE_PH, "rule": "simple_1"}, "rule", "judged with its ±"),
        ("ph", {**WHOLE_PH, "method": "on the tongue"}, "method", "as the formula"),
        ("free_alkali", {"upper": "2.1"}, "upper", "between 0 and 2"),
        ("free_alkali", {"upper": "1", "rule": "simple_1"}, "rule", "alkali burns"),
        ("yield_variance", {"lower": "-60.5"}, "lower", "between −60 and 5"),
        ("yield_variance", {"upper": "20"}, "upper", "no pot makes mass"),
        ("soap_content", {"upper": "101"}, "upper", "between 0 and 100"),
        ("net_content", {"lower": "0.9"}, "lower", "between 90 and 120"),
        ("net_content", {"upper": "121"}, "upper", "between 90 and 120"),
    ],
)
def test_a_limit_without_sense_is_refused_with_the_reason(
    crew: make.Crew, characteristic: str, facts: dict[str, str], field: str, said: str
) -> None:
    version = make.paste_version(crew)
    before = Limit.objects.count()
    with pytest.raises(Refusal, match=said) as refused:
        lab.limit(crew, version, characteristic, **facts)
    assert refused.value.field == field
    assert Limit.objects.count() == before


@pytest.mark.parametrize(
    ("characteristic", "facts"),
    [
        ("ph", {"lower": "6", "upper": "13", "method": "THE FORMULA'S"}),
        ("free_alkali", {"upper": "2"}),
        ("yield_variance", {"lower": "-60", "upper": "5", "rule": "simple_1"}),
        ("soap_content", {"lower": "0", "upper": "100"}),
        ("net_content", {"lower": "90", "upper": "120"}),
    ],
)
def test_the_edges_of_what_makes_sense_are_taken(
    crew: make.Crew, characteristic: str, facts: dict[str, str]
) -> None:
    version = make.paste_version(crew)
    if "method" in facts:
        facts = {**facts, "method": version.ph_method}
    assert lab.limit(crew, version, characteristic, **facts).pk


def test_an_assay_lies_between_40_and_100_percent(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    for lower in ("39", "101"):
        with pytest.raises(Refusal, match="between 40 and 100"):
            lab.limit(crew, material, "assay", lower=lower)
    assert lab.limit(crew, material, "assay", lower="40").pk


def test_who_may_set_no_limit_is_told_who_does(
    crew: make.Crew, owner: User, client: Client
) -> None:
    address = reverse("quality:limits", args=[make.paste_version(crew).pk])
    for user, says in ((owner, "you as the owner do not"), (crew.maker, "A reviewer")):
        client.force_login(user)
        assert says in page_of(client.get(address)).words
    client.force_login(crew.reviewer)
    assert "A reviewer sets" not in page_of(client.get(address)).words


# ------------------------------------------------- the pages


def test_the_page_shows_every_version_with_rule_effect_and_who_approved(
    crew: make.Crew, client: Client
) -> None:
    version = make.paste_version(crew)
    lab.limit(
        crew, version, "yield_variance", upper="0", rule="guard_083u_1", effect="warn"
    )
    client.force_login(crew.maker)
    page = page_of(client.get(reverse("quality:limits", args=[version.pk])))
    closer = "between two limits, the closer together, the more, up to"
    for words in (
        "Guard band of 0.83 times the expanded uncertainty, k = 2, version 1.",
        "A value outside warns; a release then needs a reason.",
        "A value outside stops the release.",
        "by Rasmus Lind",
        RULES["simple_1"].meaning,
        # what passes is wrong by chance: a normal distribution beyond 2, 1.66 and 0
        # times u, on one side, and on both where a value can just pass
        f"a chance of 2.3 % at the worst; {closer} 4.6 %.",
        f"a chance of 4.8 % at the worst; {closer} 9.7 %.",
        f"a chance of 50.0 % at the worst; {closer} 100.0 %.",
        "ILAC-G8:09/2019, 4.2.3.",
        "after ISO 14253-1:2017 (not read by us: at second hand).",
        "ILAC-G8:09/2019, 4.2.1 (clause from memory).",
    ):
        assert words in page.words, words
    assert page.words.count("yield variance (%)") == 2  # both versions


def test_a_limit_is_set_on_the_page_with_rule_and_effect(
    crew: make.Crew, client: Client
) -> None:
    version = make.paste_version(crew)
    client.force_login(crew.reviewer)
    address = reverse("quality:limit_set", args=[version.pk])
    shown = page_of(client.get(address))
    assert all(rule.meaning in shown.words for rule in RULES.values())
    assert "assay" not in shown.words
    sent = {
        "characteristic": "soap_content",
        "lower": "30",
        "method": "by the masses",
        "rule": "simple_1",
        "effect": "warn",
        "reason": "as agreed",
        "submission": str(uuid.uuid4()),
    }
    client.post(address, sent)
    made = Limit.objects.get(characteristic="soap_content")
    assert (made.rule, made.effect) == ("simple_1", "warn")
    assert made.method == "by the masses"
    refused = page_of(
        client.post(address, {**sent, "characteristic": "ph", "method": ""})
    )
    assert "always stops the release" in refused.words
    assert (
        "has more than 3 decimals"
        in page_of(client.post(address, {**sent, "lower": "30.0001"})).words
    )


def test_the_limits_of_a_material_have_a_page(crew: make.Crew, client: Client) -> None:
    material = make.potash(crew.maker)
    client.force_login(crew.reviewer)
    address = reverse("quality:material_limits", args=[material.pk])
    assert "No limit is set" in page_of(client.get(address)).words
    set_address = reverse("quality:material_limit_set", args=[material.pk])
    sent = {
        "characteristic": "assay",
        "lower": "85",
        "rule": RULE.slug,
        "effect": "hold",
        "reason": "as ordered",
        "submission": str(uuid.uuid4()),
    }
    client.post(set_address, sent)
    page = page_of(client.get(address))
    assert "assay (%)" in page.words
    assert "as ordered" in page.words
    wrong = {**sent, "characteristic": "ph", "submission": str(uuid.uuid4())}
    assert "Select a valid choice" in page_of(client.post(set_address, wrong)).words


def test_a_material_without_figures_has_no_limits_to_set(
    crew: make.Crew, client: Client
) -> None:
    material = make.water(crew.maker)
    client.force_login(crew.reviewer)
    page = page_of(client.get(reverse("quality:material_limits", args=[material.pk])))
    assert "has no figure to set a limit for" in page.words
    assert "Set a limit" not in page.words


def test_the_register_leads_to_the_limits_of_a_material(
    crew: make.Crew, client: Client
) -> None:
    material = make.potash(crew.maker)
    client.force_login(crew.maker)
    page = page_of(
        client.get(reverse("producer:register_entry", args=["materials", material.pk]))
    )
    address = reverse("quality:material_limits", args=[material.pk])
    assert address in [one.get("href") for one in page.attributes("a")]
