"""What is typed is understood, asked about or refused; what is printed reads back."""

from __future__ import annotations

import string
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from producer.quantities import (
    GROUP_SPACE,
    MINUS,
    AmbiguousNumber,
    QuantityError,
    format_mass,
    format_number,
    format_volume,
    grams,
    milligrams,
    parse_mass,
    parse_number,
    parse_volume,
)

MARKS = st.sampled_from([".", ","])
MASSES = st.one_of(
    st.integers(-(10**15), 10**15),
    st.integers(-3_000_000, 3_000_000),
    st.integers(0, 10**6).map(lambda n: n * 1_000),
)
DECIMALS = st.decimals(
    min_value=-(10**9), max_value=10**9, places=4, allow_nan=False
).map(Decimal)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1,5", "1.5"),
        ("1.5", "1.5"),
        (" 12 ", "12"),
        ("1 250,5", "1250.5"),
        ("1 250.5", "1250.5"),
        ("1 250", "1250"),
        ("1\u00a0250,5", "1250.5"),
        ("1\u202f250\u202f000", "1250000"),
        ("1\u2009250", "1250"),
        ("1'250.5", "1250.5"),
        ("1’250", "1250"),
        ("1.250,5", "1250.5"),
        ("1,250.5", "1250.5"),
        ("1.250.000", "1250000"),
        ("1,250,000.75", "1250000.75"),
        ("1 250,500", "1250.500"),
        ("1234,567", "1234.567"),
        ("1,25", "1.25"),
        ("1.2500", "1.2500"),
        ("0,208", "0.208"),
        ("0.208", "0.208"),
        ("00,208", "0.208"),
        (",5", "0.5"),
        (".250", "0.250"),
        ("007", "7"),
        ("+3,5", "3.5"),
        ("-3,5", "-3.5"),
        ("\u22123.5", "-3.5"),
        ("- 3.5", "-3.5"),
        ("0", "0"),
        ("123456789012345", "123456789012345"),
        ("0,000001", "0.000001"),
    ],
)
def test_plain_numbers_are_read_with_comma_or_point(text: str, value: str) -> None:
    number = parse_number(text)
    assert number == Decimal(value)
    assert str(number) == str(Decimal(value))


@pytest.mark.parametrize(
    ("text", "choices"),
    [
        ("1,250", ("1.25", "1250")),
        ("1.250", ("1.25", "1250")),
        ("12,345", ("12.3450", "12345")),
        ("999.999", ("999.9990", "999999")),
        ("1,000", ("1", "1000")),
        ("-1,250", ("-1.25", "-1250")),
    ],
)
def test_scenario_05_an_ambiguous_number_is_asked_about_with_both_readings(
    text: str, choices: tuple[str, str]
) -> None:
    with pytest.raises(AmbiguousNumber) as caught:
        parse_number(text)
    question = caught.value
    assert question.text == text
    assert question.readings == tuple(Decimal(choice) for choice in choices)
    assert tuple(str(reading) for reading in question.readings) == choices
    assert question.choices == choices
    assert str(question) == (
        f"“{text}” can mean {choices[0]} or {choices[1]}."
        f" Type {choices[0]} or {choices[1]}."
    )


def test_the_question_about_a_mass_names_the_unit() -> None:
    with pytest.raises(AmbiguousNumber, match=r"1\.25 kg or 1250 kg") as typed:
        parse_mass("1,250 kg")
    assert typed.value.choices == ("1.25 kg", "1250 kg")
    with pytest.raises(AmbiguousNumber, match=r"1\.25 g or 1250 g"):
        parse_mass("1,250")


@given(st.integers(1, 999), st.integers(0, 999), MARKS, st.sampled_from(["", "kg"]))
def test_each_choice_offered_is_read_in_one_way_when_typed(
    whole: int, thousandths: int, mark: str, unit: str
) -> None:
    with pytest.raises(AmbiguousNumber) as caught:
        parse_mass(f"{whole}{mark}{thousandths:03d} {unit}", unit="kg")
    small, large = (parse_mass(choice) for choice in caught.value.choices)
    assert small == whole * 1_000_000 + thousandths * 1_000
    assert large == small * 1_000


def test_bounds_settle_which_reading_is_meant_only_if_one_fits() -> None:
    density = (Decimal("0.8"), Decimal("1.3"))
    assert parse_number("1,012", within=density) == Decimal("1.012")
    thousands = (Decimal(500), Decimal(5000))
    assert parse_number("1.012", within=thousands) == Decimal(1012)
    for both_or_none in [(Decimal(0), Decimal(5000)), (Decimal(2), Decimal(3))]:
        with pytest.raises(AmbiguousNumber):
            parse_number("1,012", within=both_or_none)


@pytest.mark.parametrize("bound", ["1.012", "1012"])
def test_the_bounds_themselves_lie_within(bound: str) -> None:
    end = Decimal(bound)
    assert parse_number("1,012", within=(end, end)) == end


@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "NaN",
        "inf",
        "-Infinity",
        "1e5",
        "1E-3",
        "1,5,5",
        "1.25.000",
        "1,250.500.000",
        "1,250,50",
        "12 34",
        "1  250",
        "0 250",
        "0.250.000",
        "1234,567.8",
        "1.250 000,5",
        "1 250.000 000",
        "5,",
        "5.",
        ",",
        "--5",
        "+-5",
        "5-",
        "1/2",
        "½",
        "٣٫٥",
        "٣",
        "１２",
        "一",
        "5 5 g g",
        "1_000",
        "0x10",
        "1\n250",
        "12.5.",
    ],
)
def test_anything_that_is_not_plainly_one_number_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match=r"is not one number\. Type digits 0 to 9"):
        parse_number(text)


@pytest.mark.parametrize("text", ["", "   ", "\u00a0"])
def test_an_empty_field_asks_for_a_number(text: str) -> None:
    with pytest.raises(QuantityError, match=r"^Type a number\.$"):
        parse_number(text)


@pytest.mark.parametrize(
    "text", ["1234567890123456", "1.123456789012345", "1000000000000000000"]
)
def test_more_than_fifteen_digits_are_refused_rather_than_cut(text: str) -> None:
    with pytest.raises(QuantityError, match="more digits than any instrument"):
        parse_number(text)


def test_a_long_text_is_quoted_in_part() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_number("x" * 5000)
    assert str(caught.value).startswith(f"“{'x' * 40}…” is not")
    with pytest.raises(QuantityError) as caught:
        parse_number("x" * 40)
    assert str(caught.value).startswith(f"“{'x' * 40}” is not")


@given(st.text(alphabet="0123456789.,-+ '\u00a0\u202feE", max_size=12))
@example("1,250")
def test_comma_and_point_are_treated_alike(text: str) -> None:
    def outcome(typed: str) -> object:
        try:
            return parse_number(typed)
        except QuantityError as error:
            return type(error)

    swapped = text.translate(str.maketrans(".,", ",."))
    assert outcome(text) == outcome(swapped)


@given(
    st.one_of(
        st.text(max_size=20), st.text(alphabet="0123456789.,- 'gkmlµ", max_size=14)
    )
)
def test_no_digit_typed_is_ever_lost_or_added(text: str) -> None:
    try:
        number = parse_number(text)
    except QuantityError:
        return
    typed = "".join(c for c in text if c in string.digits).lstrip("0")
    assert "".join(map(str, number.as_tuple().digits)).lstrip("0") == typed


@given(st.text(max_size=30))
def test_any_text_gives_a_mass_or_a_sentence(text: str) -> None:
    outcome: object
    try:
        outcome = parse_mass(text)
    except QuantityError as error:
        outcome = str(error)
    assert isinstance(outcome, int) or str(outcome).endswith(".")


@pytest.mark.parametrize(
    ("text", "mg"),
    [
        ("208", 208_000),
        ("208g", 208_000),
        ("208 G", 208_000),
        ("0,208 kg", 208_000),
        ("1.250,5 g", 1_250_500),
        ("350 mg", 350),
        ("1,5 KG", 1_500_000),
        ("0.001 g", 1),
        ("0", 0),
        ("1\u202f250 g", 1_250_000),
        ("1000000 kg", 10**12),
    ],
)
def test_masses_are_whole_milligrams(text: str, mg: int) -> None:
    assert parse_mass(text) == mg


def test_a_bare_mass_has_the_unit_of_its_field() -> None:
    assert parse_mass("2", unit="kg") == 2_000_000
    assert parse_mass("2 g", unit="kg") == 2_000


def test_a_mass_finer_than_a_milligram_is_refused_never_rounded() -> None:
    with pytest.raises(QuantityError, match="finer than 1 mg"):
        parse_mass("0.0005 g")
    with pytest.raises(QuantityError, match="finer than 1 mg"):
        parse_mass("1.5 mg")


def test_a_mass_below_zero_is_refused_unless_it_is_a_difference() -> None:
    with pytest.raises(QuantityError, match="below zero"):
        parse_mass("-5 g")
    assert parse_mass("-5 g", allow_negative=True) == -5_000
    assert parse_mass("-0 g") == 0


def test_a_mass_that_no_vessel_holds_is_refused() -> None:
    assert parse_mass("1000000000 kg") == 10**15
    with pytest.raises(QuantityError, match="more than any vessel holds"):
        parse_mass("1000000001 kg")
    with pytest.raises(QuantityError, match="more than any vessel holds"):
        parse_mass("-2000000000 kg", allow_negative=True)


@pytest.mark.parametrize("text", ["5 lb", "5 ml", "5 gg", "5 oz", "5 kilo", "1e"])
def test_an_unknown_unit_names_those_we_know(text: str) -> None:
    with pytest.raises(QuantityError, match=r"Use one of mg, g, kg\."):
        parse_mass(text)


@pytest.mark.parametrize(
    ("text", "ul"),
    [
        ("0,5 l", 500_000),
        ("0.5 L", 500_000),
        ("750", 750_000),
        ("750 ml", 750_000),
        ("3 µl", 3),
        ("3 μl", 3),
        ("3 ul", 3),
    ],
)
def test_volumes_are_whole_microlitres(text: str, ul: int) -> None:
    assert parse_volume(text) == ul


def test_a_volume_is_refused_as_a_mass_is() -> None:
    with pytest.raises(QuantityError, match="finer than 1 µl"):
        parse_volume("0.5 µl")
    with pytest.raises(QuantityError, match="below zero"):
        parse_volume("-1 l")
    with pytest.raises(QuantityError, match=r"Use one of µl, ml, l\."):
        parse_volume("1 kg")


@given(MASSES, MARKS)
@example(1_250_000, ".")
@example(1_234_000, ",")
@example(1_234, ".")
@example(12_345_000, ",")
@example(999_999, ".")
@example(1_000_000, ".")
@example(1_250_003, ",")
def test_every_printed_mass_reads_back_to_the_milligram(mg: int, mark: str) -> None:
    assert parse_mass(format_mass(mg, mark=mark), allow_negative=True) == mg


@given(st.integers(0, 10**15), MARKS)
def test_every_printed_volume_reads_back_to_the_microlitre(ul: int, mark: str) -> None:
    assert parse_volume(format_volume(ul, mark=mark)) == ul


@pytest.mark.parametrize(
    ("mg", "text"),
    [
        (0, "0 g"),
        (350, "350 mg"),
        (999, "999 mg"),
        (1_000, "1 g"),
        (208_000, "208 g"),
        (208_500, "208.5 g"),
        (208_005, "208005 mg"),
        (999_500, "999.5 g"),
        (1_000_000, "1 kg"),
        (1_250_000, "1.25 kg"),
        (1_234_000, "1234 g"),
        (12_345_000, "12345 g"),
        (1_234_567, "1.234567 kg"),
        (1_234_567_000, "1234.567 kg"),
        (-1_500_000, "-1.5 kg"),
    ],
)
def test_masses_are_printed_in_the_unit_a_person_would_say(mg: int, text: str) -> None:
    printed = format_mass(mg).replace(GROUP_SPACE, "").replace(MINUS, "-")
    assert printed == text


def test_a_volume_is_printed_in_the_unit_a_person_would_say() -> None:
    assert format_volume(750_000) == "750 ml"
    assert format_volume(1_500_000, mark=",") == "1,5 l"
    assert format_volume(7) == "7 µl"


@given(DECIMALS, MARKS)
def test_a_printed_number_reads_back_or_is_asked_about_with_itself_among_the_answers(
    value: Decimal, mark: str
) -> None:
    printed = format_number(value, mark=mark)
    readings: tuple[Decimal, ...]
    try:
        readings = (parse_number(printed),)
    except AmbiguousNumber as question:
        readings = question.readings
    assert value in readings


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        ("1234", None, "1234"),
        ("12345", None, f"12{GROUP_SPACE}345"),
        ("1234567.125", None, f"1{GROUP_SPACE}234{GROUP_SPACE}567.125"),
        ("-0.5", None, f"{MINUS}0.5"),
        ("1E+3", None, "1000"),
        ("2.0E+2", None, "200"),
        ("1.500", None, "1.5"),
        ("1.5", 3, "1.500"),
        ("0.125", 2, "0.12"),
        ("0.135", 2, "0.14"),
        ("-0.001", 2, "0.00"),
        ("99999.5", 0, f"100{GROUP_SPACE}000"),
        ("-0", None, "0"),
    ],
)
def test_numbers_are_printed_for_reading(
    value: str, places: int | None, text: str
) -> None:
    assert format_number(Decimal(value), places=places) == text


def test_the_decimal_mark_is_ours_to_choose() -> None:
    assert format_number(Decimal("1234.5"), mark=",") == "1234,5"


@given(st.lists(st.integers(-(10**12), 10**12), max_size=200))
def test_masses_add_up_exactly_in_grams_too(masses: list[int]) -> None:
    assert sum((grams(mg) for mg in masses), Decimal(0)) == grams(sum(masses))


@given(st.integers(-(10**15), 10**15))
def test_grams_and_milligrams_are_inverse(mg: int) -> None:
    assert milligrams(grams(mg)) == mg


@pytest.mark.parametrize(
    ("mass_g", "mg"),
    [("0.0005", 0), ("0.0015", 2), ("0.0025", 2), ("-0.0015", -2), ("0.00051", 1)],
)
def test_half_a_milligram_goes_to_the_even_neighbour(mass_g: str, mg: int) -> None:
    assert milligrams(Decimal(mass_g)) == mg
