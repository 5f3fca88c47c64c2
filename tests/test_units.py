"""Lengths in and out."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crackmap.errors import LengthError
from crackmap.units import in_words_for, parse_length, parse_positive_length, show_fraction, show_length


@pytest.mark.parametrize(("text", "mm"), [
    ("45mm", 45.0),
    ("45 mm", 45.0),
    ("4.5cm", 45.0),
    ("4,5 cm", 45.0),
    ("1.2m", 1200.0),
    # 25.4 mm to the inch, exact: International Yard and Pound Agreement, 1959 (published).
    ("1.75in", 44.45),
    ("1-3/4in", 44.45),
    ('1 3/4"', 44.45),
    ("1 3/4 inches", 44.45),
    ("3/4in", 19.05),
    ("-45mm", -45.0),
    ("−1-1/2in", -38.1),
    (".5in", 12.7),
])
def test_lengths_that_makers_write(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize("text", ["", "45", "mm", "fortyfive", "4.5.1mm", "1/0in", "1-3/4", "1e3mm", "nan mm",
                                  "inf mm", "45mm; rm", "0x10mm", "1--2in", "٤٥mm x"])
def test_what_is_no_length_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(LengthError) as refused:
        parse_length(text, "--thickness")
    assert str(refused.value).startswith("--thickness")
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("text", ["0mm", "-3mm", "30m"])
def test_positive_lengths_have_limits(text: str) -> None:
    with pytest.raises(LengthError):
        parse_positive_length(text, "--thickness")


@given(st.floats(0.01, 9999), st.sampled_from(["mm", "in"]))
def test_shown_lengths_read_back(mm: float, units: str) -> None:
    assert parse_length(show_length(mm, units, 3)) == pytest.approx(mm, abs=0.0006)  # [mm], half the last digit


def test_workshop_fractions() -> None:
    assert show_fraction(44.45) == "1-3/4 in"
    assert show_fraction(19.05) == "3/4 in"
    assert show_fraction(25.4) == "1 in"
    assert show_fraction(-12.7) == "-1/2 in"
    assert show_fraction(0.0) == "0 in"


@pytest.mark.parametrize(
    ("sentence", "read"),
    [
        ("it is 25.4 mm wide", "it is 1.000 in wide"),
        ("12.7 to 25.4 mm deep, 3 keys", "0.500 to 1.000 in deep, 3 keys"),
        ("a 80 x 32 mm key at 1200 mm/min", "a 3.15 x 1.26 in key at 1200 mm/min"),
        ("an area of 40 mm2, C12 and K3", "an area of 40 mm2, C12 and K3"),
    ],
)
def test_sentences_in_the_readers_unit(sentence: str, read: str) -> None:
    """Geometric: 25.4 mm are an inch; what is no length, or a speed or area, stays."""
    assert in_words_for(sentence, "in") == read and in_words_for(sentence, "mm") == sentence


def test_millilitres_are_told_in_fluid_ounces_as_well() -> None:
    # From memory: a US fluid ounce is 29.5735 ml (NIST Handbook 44, appendix C); by hand 175 / 29.5735 = 5.92.
    assert in_words_for("mix about 175 ml (9.8 ml left)", "in") == (
        "mix about 175 ml (5.9 fl oz) (9.8 ml (0.33 fl oz) left)")
    assert in_words_for("takes 22 to 294 ml; 1.1 g/ml", "in") == "takes 22 to 294 ml (0.7 to 9.9 fl oz); 1.1 g/ml"
    assert in_words_for("175 ml", "mm") == "175 ml"


def test_a_place_is_told_in_one_unit() -> None:
    # By hand: 254 / 25.4 = 10, -63.5 / 25.4 = -2.5.
    assert in_words_for("to the key at x 254, y -63.5, near x 50.8, y 25.4 mm", "in") == (
        "to the key at x 10.00, y -2.50 in, near x 2.00, y 1.00 in")


@pytest.mark.parametrize("text", [
    "9" * 5000 + "mm", "1" * 4301 + "." + "1mm", "1/" + "3" * 5000 + "in", "1-" + "9" * 400 + "/1mm",
    "1" + " " * 100_000 + "mm", " " * 100_000 + "1mm", "9" * 400 + "m"])
def test_a_text_far_too_long_is_no_length_and_takes_no_time(text: str) -> None:
    """Each was a traceback, or a search whose time grew with the square of the length."""
    with pytest.raises(LengthError) as caught:
        parse_length(text, "--thickness")
    assert len(str(caught.value)) < 300


def test_a_long_row_of_figures_is_put_into_inches_in_no_time() -> None:
    start = time.process_time()
    in_words_for("1, " * 100_000 + "mm", "in")
    in_words_for("9" * 100_000 + " mm", "in")
    assert time.process_time() - start < 2
    assert in_words_for("25.4 to 50.8 mm", "in") == "1.000 to 2.000 in"
