"""Four outcomes, and the sentence that says why."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from producer.quantities import MINUS
from quality.statistics.conformity import (
    RULE,
    RULES,
    Verdict,
    doubtful_ends,
    explain,
    judge,
    method_fit,
    spread_shown,
)
from quality.statistics.rounding import rounded_up

BEST_TO_WORST = list(Verdict)
NUMBERS = st.decimals(min_value=-100, max_value=100, places=2)
BANDS = st.decimals(min_value=0, max_value=20, places=2)


def ph(value: str, expanded: str = "0.6", advice: str = "") -> str:
    return explain(
        name="pH",
        unit="",
        value=Decimal(value),
        lower=Decimal(8),
        upper=Decimal(10),
        expanded_uncertainty=Decimal(expanded),
        advice=advice,
    )


@pytest.mark.parametrize(
    ("value", "label"),
    [
        ("9.0", "pass"),
        ("9.8", "conditional pass"),
        ("10.4", "conditional fail"),
        ("10.7", "fail"),
    ],
)
def test_scenario_23_the_guard_band_makes_four_outcomes(value: str, label: str) -> None:
    verdict = judge(
        Decimal(value), lower=None, upper=Decimal("10.0"), guard_band=Decimal("0.6")
    )
    assert verdict.label == label


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("9.40", Verdict.PASS),
        ("9.41", Verdict.CONDITIONAL_PASS),
        ("10.00", Verdict.CONDITIONAL_PASS),
        ("10.01", Verdict.CONDITIONAL_FAIL),
        ("10.60", Verdict.CONDITIONAL_FAIL),
        ("10.61", Verdict.FAIL),
        ("8.60", Verdict.PASS),
        ("8.59", Verdict.CONDITIONAL_PASS),
        ("8.00", Verdict.CONDITIONAL_PASS),
        ("7.99", Verdict.CONDITIONAL_FAIL),
        ("7.40", Verdict.CONDITIONAL_FAIL),
        ("7.39", Verdict.FAIL),
    ],
)
def test_an_edge_counts_for_the_better_outcome(value: str, verdict: Verdict) -> None:
    outcome = judge(
        Decimal(value),
        lower=Decimal(8),
        upper=Decimal(10),
        guard_band=Decimal("0.6"),
    )
    assert outcome is verdict


@given(NUMBERS, NUMBERS, BANDS)
def test_without_doubt_there_is_only_inside_and_outside(
    value: Decimal, limit: Decimal, band: Decimal
) -> None:
    verdict = judge(value, lower=limit, upper=None, guard_band=Decimal(0))
    assert verdict is (Verdict.PASS if value >= limit else Verdict.FAIL)
    doubtful = judge(value, lower=limit, upper=None, guard_band=band)
    assert doubtful.acceptable == verdict.acceptable


@given(NUMBERS, NUMBERS, NUMBERS, BANDS)
def test_judging_is_the_same_seen_in_a_mirror(
    value: Decimal, one: Decimal, other: Decimal, band: Decimal
) -> None:
    lower, upper = sorted([one, other])
    seen = judge(value, lower=lower, upper=upper, guard_band=band)
    mirrored = judge(-value, lower=-upper, upper=-lower, guard_band=band)
    assert seen is mirrored


@given(NUMBERS, NUMBERS, NUMBERS, BANDS)
def test_two_limits_are_as_strict_as_the_stricter_of_them(
    value: Decimal, one: Decimal, other: Decimal, band: Decimal
) -> None:
    lower, upper = sorted([one, other])
    both = judge(value, lower=lower, upper=upper, guard_band=band)
    each = [
        judge(value, lower=lower, upper=None, guard_band=band),
        judge(value, lower=None, upper=upper, guard_band=band),
    ]
    assert BEST_TO_WORST.index(both) == max(map(BEST_TO_WORST.index, each))


@given(NUMBERS, NUMBERS, st.decimals(min_value="0.01", max_value=50, places=2), BANDS)
def test_farther_beyond_the_limit_is_never_judged_better(
    value: Decimal, limit: Decimal, farther: Decimal, band: Decimal
) -> None:
    near = judge(value, lower=None, upper=limit, guard_band=band)
    far = judge(value + farther, lower=None, upper=limit, guard_band=band)
    assert BEST_TO_WORST.index(far) >= BEST_TO_WORST.index(near)


def test_what_cannot_be_judged_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a limit"):
        judge(Decimal(1), lower=None, upper=None, guard_band=Decimal(0))
    with pytest.raises(ValueError, match="not below zero"):
        judge(Decimal(1), lower=None, upper=Decimal(2), guard_band=Decimal(-1))
    with pytest.raises(ValueError, match="above the upper"):
        judge(Decimal(1), lower=Decimal(3), upper=Decimal(2), guard_band=Decimal(0))


def test_a_window_of_one_value_is_still_a_window() -> None:
    two = Decimal(2)
    assert judge(two, lower=two, upper=two, guard_band=Decimal(0)) is Verdict.PASS


def test_pass_and_conditional_pass_are_acceptable() -> None:
    assert [v for v in Verdict if v.acceptable] == [
        Verdict.PASS,
        Verdict.CONDITIONAL_PASS,
    ]
    assert [v.label for v in Verdict] == [
        "pass",
        "conditional pass",
        "conditional fail",
        "fail",
    ]


@pytest.mark.parametrize(("expanded", "fits"), [("0.99", True), ("1", False)])
def test_a_method_is_fit_if_the_window_is_wider_than_twice_its_uncertainty(
    expanded: str,
    fits: bool,  # noqa: FBT001 - the expected answer
) -> None:
    assert method_fit(Decimal(8), Decimal(10), Decimal(expanded)) is fits
    assert method_fit(None, Decimal(10), Decimal(expanded))
    assert method_fit(Decimal(8), None, Decimal(expanded))


@given(NUMBERS, NUMBERS, BANDS)
def test_an_unfit_method_passes_nothing(
    one: Decimal, other: Decimal, band: Decimal
) -> None:
    lower, upper = sorted([one, other])
    middle = (lower + upper) / 2
    best = judge(middle, lower=lower, upper=upper, guard_band=band)
    if method_fit(lower, upper, band):
        assert best is Verdict.PASS
    elif upper - lower < 2 * band:
        assert best is not Verdict.PASS


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("9.0", "pH 9 ± 0.6 lies inside 8 to 10: pass."),
        (
            "9.8",
            (
                "pH 9.8 ± 0.6 lies inside 8 to 10, but the true value could be up to"
                " 10.4: conditional pass."
            ),
        ),
        (
            "8.1",
            (
                "pH 8.1 ± 0.6 lies inside 8 to 10, but the true value could be down to"
                " 7.5: conditional pass."
            ),
        ),
        (
            "10.4",
            (
                "pH 10.4 ± 0.6 lies outside 8 to 10, but the true value could be down"
                " to 9.8: conditional fail."
            ),
        ),
        (
            "7.5",
            (
                "pH 7.5 ± 0.6 lies outside 8 to 10, but the true value could be up to"
                " 8.1: conditional fail."
            ),
        ),
        ("10.7", "pH 10.7 ± 0.6 lies outside 8 to 10: fail."),
        ("7", "pH 7 ± 0.6 lies outside 8 to 10: fail."),
    ],
)
def test_the_sentence_says_value_doubt_limits_and_outcome(
    value: str, sentence: str
) -> None:
    assert ph(value) == sentence


def test_advice_stands_with_a_conditional_outcome_only() -> None:
    advice = "titrate or use the meter"
    assert ph("9.8", advice=advice).endswith(f": conditional pass; {advice}.")
    assert ph("10.4", advice=advice).endswith(f": conditional fail; {advice}.")
    assert advice not in ph("9.0", advice=advice)
    assert advice not in ph("11", advice=advice)


def test_a_method_too_coarse_for_the_limits_is_said_to_be_so() -> None:
    assert ph("9", "1.2") == (
        "pH 9 ± 1.2 lies inside 8 to 10, but the true value could be down to 7.8 or up"
        " to 10.2: conditional pass. This method is too coarse for these limits: take a"
        " finer one."
    )
    assert "too coarse" in ph("11", "1.2")
    assert "up to" not in ph("11", "4")


def test_one_limit_is_named_as_such_and_units_follow_each_number() -> None:
    def of(value: str, lower: Decimal | None, upper: Decimal | None) -> str:
        return explain(
            name="Yield variance",
            unit=" %",
            value=Decimal(value),
            lower=lower,
            upper=upper,
            expanded_uncertainty=Decimal("0.0123"),
            mark=",",
        )

    assert of("-3.125", Decimal(-10), None) == (
        f"Yield variance {MINUS}3,125 % ± 0,013 % lies inside the limit of at least"
        f" {MINUS}10 %: pass."
    )
    assert of("0.5", None, Decimal(0)) == (
        "Yield variance 0,5 % ± 0,013 % lies outside the limit of at most 0 %: fail."
    )
    assert of("-12", Decimal(-10), Decimal(0)).endswith(
        f"lies outside {MINUS}10 % to 0 %: fail."
    )


def test_an_uncertainty_of_nothing_is_not_printed() -> None:
    assert ph("9", "0") == "pH 9 lies inside 8 to 10: pass."


@pytest.mark.parametrize(
    ("expanded", "shown"),
    [
        ("0.5773502691896258", "0.58"),
        ("0.5701", "0.58"),
        ("0.57", "0.57"),
        ("1", "1"),
        ("0.0991", "0.1"),
        ("12.1", "13"),
    ],
)
def test_an_uncertainty_is_shown_with_two_digits_rounded_up(
    expanded: str, shown: str
) -> None:
    sentence = explain(
        name="x",
        unit="",
        value=Decimal(50),
        lower=None,
        upper=Decimal(100),
        expanded_uncertainty=Decimal(expanded),
    )
    assert f"± {shown} lies" in sentence


@given(NUMBERS, NUMBERS, NUMBERS, BANDS)
def test_the_sentence_always_ends_with_the_outcome_that_was_judged(
    value: Decimal, one: Decimal, other: Decimal, band: Decimal
) -> None:
    lower, upper = sorted([one, other])
    verdict = judge(value, lower=lower, upper=upper, guard_band=band)
    sentence = explain(
        name="x",
        unit="",
        value=value,
        lower=lower,
        upper=upper,
        expanded_uncertainty=band,
    )
    assert f": {verdict.label}." in sentence
    doubtful = verdict in {Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL}
    assert ("the true value could be" in sentence) == doubtful


@pytest.mark.parametrize(
    ("value", "doubt"), [("9.5", "up to 11"), ("8.5", "down to 7")]
)
def test_an_end_that_just_reaches_a_limit_is_not_beyond_it(
    value: str, doubt: str
) -> None:
    assert f"the true value could be {doubt}:" in ph(value, "1.5")


SHOWN = re.compile(r"x (?P<value>\S+) (?:± (?P<spread>\S+) )?lies")
FINE = st.decimals(min_value="0.0001", max_value=3, places=5)


@given(
    st.decimals(min_value=8, max_value=12, places=4),
    st.sampled_from([Decimal(9), None]),
    st.sampled_from([Decimal("10.4"), Decimal(9)]),
    FINE,
)
@example(Decimal("10.3419"), Decimal(9), Decimal("10.4"), Decimal("0.0581"))
@example(Decimal("10.4590"), Decimal(9), Decimal("10.4"), Decimal("0.0589999"))
@example(Decimal("9.0585"), Decimal(9), Decimal("10.4"), Decimal("0.05804"))
def test_what_is_shown_makes_the_outcome_that_is_said(
    value: Decimal, lower: Decimal | None, upper: Decimal, spread: Decimal
) -> None:
    sentence = explain(
        name="x",
        unit="",
        value=value,
        lower=lower,
        upper=upper,
        expanded_uncertainty=spread,
    )
    found = SHOWN.match(sentence)
    assert found is not None
    read = judge(
        Decimal(found["value"]),
        lower=lower,
        upper=upper,
        guard_band=Decimal(found["spread"]),
    )
    assert f": {read.label}." in sentence


@given(FINE)
def test_more_digits_are_shown_only_where_two_would_deny_the_outcome(
    spread: Decimal,
) -> None:
    value = Decimal(10)
    assert spread_shown(value, None, Decimal(20), spread) == rounded_up(spread)
    on_the_edge = spread_shown(value, None, value + spread, spread)
    assert on_the_edge == spread  # two digits only where it has no more
    assert "0.0581 lies inside" in explain(
        name="x",
        unit="",
        value=Decimal("10.3419"),
        lower=Decimal(9),
        upper=Decimal("10.4"),
        expanded_uncertainty=Decimal("0.0581"),
    )


def test_each_rule_has_a_slug_a_version_and_a_meaning_of_its_own() -> None:
    assert [(slug, rule.bands) for slug, rule in RULES.items()] == [
        ("guard_u_1", Decimal(1)),
        ("guard_083u_1", Decimal("0.83")),
        ("simple_1", Decimal(0)),
    ]
    assert all(slug == rule.slug for slug, rule in RULES.items())
    assert next(iter(RULES.values())) is RULE
    assert all(rule.version == 1 for rule in RULES.values())
    # only the clause of the first was read
    assert [bool(rule.read) for rule in RULES.values()] == [False, True, True]
    assert len({rule.meaning for rule in RULES.values()} - {""}) == len(RULES)


@pytest.mark.parametrize(
    ("slug", "outcome"),
    [
        ("guard_u_1", "conditional pass"),
        ("guard_083u_1", "pass"),
        ("simple_1", "pass"),
    ],
)
def test_the_rule_gives_the_outcome_and_the_uncertainty_the_doubt(
    slug: str, outcome: str
) -> None:
    band = Decimal("0.6")
    sentence = explain(
        name="pH",
        unit="",
        value=Decimal("9.5"),
        lower=None,
        upper=Decimal(10),
        expanded_uncertainty=band,
        guard_band=RULES[slug].guard_band(band),
    )
    assert sentence == (
        "pH 9.5 ± 0.6 lies inside the limit of at most 10, but the true value could be"
        f" up to 10.1: {outcome}."
    )


@given(NUMBERS, NUMBERS, BANDS)
def test_a_doubtful_end_lies_on_the_other_side(
    value: Decimal, limit: Decimal, band: Decimal
) -> None:
    ends = doubtful_ends(value, lower=None, upper=limit, expanded_uncertainty=band)
    is_inside = value <= limit
    assert all((end > limit) == is_inside for _, end in ends if end != limit)
    if abs(value - limit) > band:
        assert ends == []
