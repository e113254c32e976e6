"""What a form cannot take is said in words, never by the name of a constraint."""

from __future__ import annotations

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from batches.services import planning
from batches.services.results import yield_of
from producer.errors import Refusal
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.mark.parametrize("basis_mg", [0, -1])
def test_a_batch_of_nothing_is_refused_in_a_sentence(
    crew: make.Crew, basis_mg: int
) -> None:
    version = make.open_batch(crew).formula_version
    with pytest.raises(Refusal, match="needs a mass above zero") as refused:
        planning.open_batch(by=crew.maker, formula_version=version, basis_mg=basis_mg)
    assert refused.value.field == "basis_mg"


def test_the_form_of_a_batch_says_so_beside_the_field(
    browser: Client, crew: make.Crew
) -> None:
    formula = make.open_batch(crew).formula_version.formula
    before = Batch.objects.count()
    response = browser.post(
        reverse("batches:batch_open"),
        {"submission": str(uuid.uuid4()), "formula": formula.pk, "basis_mg": "0"},
    )
    words = page_of(response).words
    assert "This is a mass above zero" in words
    assert "Constraint" not in words
    assert Batch.objects.count() == before


def test_an_empty_bottle_of_no_mass_is_refused_in_a_sentence(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew)
    response = browser.post(
        reverse("quality:fill_check", args=[lot.code]),
        {
            "submission": str(uuid.uuid4()),
            "scale": make.scale(crew.maker).pk,
            "tare_mg": "0",
            "masses": "511\n511",
            "are_gross": "net",
        },
    )
    words = page_of(response).words
    assert "This is a mass above zero" in words
    assert "Constraint" not in words


def test_the_percentage_yield_stands_beside_the_variance(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.cooked_batch(crew)
    found = yield_of(batch)
    assert found.percentage is not None
    assert found.variance_percent is not None
    assert found.percentage == found.variance_percent + 100
    words = page_of(browser.get(reverse("batches:batch", args=[batch.number]))).words
    assert f"a yield of {found.percentage:.2f} % of the theoretical" in words
    assert yield_of(make.open_batch(crew)).percentage is None


def test_the_limits_of_a_formula_say_what_the_rule_risks(
    browser: Client, crew: make.Crew
) -> None:
    version = make.open_batch(crew).formula_version
    words = page_of(browser.get(reverse("quality:limits", args=[version.pk]))).words
    assert "Guard band of the expanded uncertainty" in words
    assert "with a chance of 2.3 % at the worst" in words  # a normal beyond 2 u
    assert "up to 50 %" in words


@pytest.mark.parametrize(
    ("address", "facts"),
    [
        ("batches:fill", {"nominal_ul": "0", "density": "1.02", "count": "1"}),
        ("batches:loss", {"kind": "spill", "mass_mg": "0", "half_width_mg": "0"}),
        ("batches:weigh", {"gross_mg": "0", "tare_mg": "0"}),
        ("batches:weigh", {"gross_mg": "100", "tare_mg": "200"}),
    ],
)
def test_a_nought_in_other_forms_is_told_in_words(
    browser: Client, crew: make.Crew, address: str, facts: dict[str, str]
) -> None:
    is_open = address != "batches:fill"
    batch = make.open_batch(crew) if is_open else make.released_liquid(crew)
    if is_open:
        make.charge_all(crew, batch)
    response = browser.post(
        reverse(address, args=[batch.number]),
        {
            "submission": str(uuid.uuid4()),
            "scale": make.scale(crew.maker).pk,
            **facts,
        },
    )
    assert response.status_code == 200
    words = page_of(response).words
    assert "Not recorded yet" in words
    assert "Constraint" not in words
