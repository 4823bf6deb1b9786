"""Numbers in cells, against the SI prefixes, the SI's way to group digits, and exact decimal arithmetic."""

import re
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import constants

from aotf_lab.reading.cells.number import CellNumber, NotANumber, number_in
from aotf_lab.reading.text.grid import TextForm


def form(decimal=".", thousands=""):
    return TextForm("utf-8", "", "semicolon", "", decimal, "", thousands)


POINT, COMMA = form(), form(",")
THIN, NARROW, NO_BREAK = "\u2009", "\u202f", "\u00a0"
LOCALES = [
    (".", ","), (",", "."), (".", " "), (",", " "), (".", NO_BREAK), (",", NO_BREAK), (".", NARROW), (",", NARROW),
    (".", THIN), (",", THIN), (".", "'"), (",", "'"), (".", "\u2019"), (".", ""), (",", ""),
]  # fmt: skip

# SI Brochure, 9th ed. (2019), table 7, as scipy.constants has it: letter in the cell -> factor
SI = {"k": constants.kilo, "M": constants.mega, "G": constants.giga, "m": constants.milli, "n": constants.nano,
      "p": constants.pico, "u": constants.micro, "\u00b5": constants.micro, "\u03bc": constants.micro}  # fmt: skip


@pytest.mark.parametrize("letter", SI)
def test_an_si_letter_at_the_end_or_for_the_decimal_mark(letter):
    # IEC 60062 (from memory): the letter stands where the decimal mark would, 4k7 is 4.7 k
    assert number_in(f"850{letter}", POINT).value == pytest.approx(850 * SI[letter], rel=1e-15)
    assert number_in(f"4{letter}7", COMMA).value == pytest.approx(4.7 * SI[letter], rel=1e-15)
    assert number_in(f"-0,85 {letter}", COMMA) == CellNumber(float(f"{-0.85 * SI[letter]:.6e}"), "", "", letter)


@pytest.mark.parametrize(
    ("cell", "value", "unit"),
    [
        ("12k3", 12300.0, ""), ("4M7", 4.7e6, ""), ("64.2285M", 64.2285e6, ""), ("850u", 850e-6, ""),
        ("12K3", 12300.0, ""),
        ("12k3Hz", 12300.0, "Hz"), ("64.2285 MHz", 64.2285, "MHz"), ("412 mV", 412.0, "mV"), ("1.24Vrms", 1.24, "Vrms"),
        ("-3.2dBm", -3.2, "dBm"), ("88 %", 88.0, "%"), ("21.5\u00b0C", 21.5, "\u00b0C"),
        ("1V25", 1.25, "V"), ("1A5", 1.5, "A"),
        ("5.8896e-7 m", 5.8896e-7, "m"), ("295 K", 295.0, "K"), ("1.24 V rms", 1.24, "V rms"),
        ("2.4 \u00b5W", 2.4, "\u00b5W"),
        (".5", 0.5, ""), ("5.", 5.0, ""), ("+1.2E-3", 1.2e-3, ""), ("\u22121.5e\u22123", -1.5e-3, ""), ("007", 7.0, ""),
    ],
)  # fmt: skip
def test_what_stands_in_a_cell(cell, value, unit):
    read = number_in(cell, POINT)
    assert (read.value, read.unit, read.doubt) == (value, unit, "")


@pytest.mark.parametrize("blank", [" ", NO_BREAK, THIN, NARROW])
@pytest.mark.parametrize("decimal", [".", ","])
def test_digits_grouped_as_in_the_si_brochure(blank, decimal):
    # SI Brochure, 9th ed., 5.4.4 (from memory): 43 279.168 29
    cell = f"43{blank}279{decimal}168{blank}29"
    assert number_in(cell, form(decimal, blank)).value == 43279.16829
    with pytest.raises(NotANumber, match="text in a number"):
        number_in(cell, form(decimal))


@pytest.mark.parametrize(
    "cell", ["1,23", "12,3456", "1,234,56", ",123", "0,123", "1234,567", "1,00,000", "1,234'567", "1,,234"]
)
def test_only_groups_of_three_are_groups(cell):
    with pytest.raises(NotANumber, match="text in a number"):
        number_in(cell, form(".", ",'"))


@pytest.mark.parametrize(
    ("cell", "marks"),
    [
        ("64.2?", ["?"]), ("~64.2", ["~"]), ("64.2 (?)", ["(?)"]), ("ca. 64.2", ["ca."]), ("64.2*", ["*"]),
        ("Approx 64.2", ["Approx"]), ("\u224864.2", ["\u2248"]), ("~ 64.2 ??", ["~", "??"]), ("(64.2)", ["brackets"]),
    ],
)  # fmt: skip
def test_a_doubt_keeps_the_number_and_says_its_mark(cell, marks):
    assert number_in(cell, POINT) == CellNumber(64.2, "", f"marked as doubtful: {', '.join(map(repr, marks))}")


@pytest.mark.parametrize("cell", ["64.2? MHz", "64.2?MHz", "64.2 MHz?", "~64.2 MHz", "(64.2) MHz", "(64.2 MHz)"])
def test_a_doubt_beside_a_unit(cell):
    read = number_in(cell, POINT)
    assert (read.value, read.unit) == (64.2, "MHz")
    assert read.doubt.startswith("marked as doubtful: ")


@pytest.mark.parametrize("cell", ["nan", "NaN", "inf", "-Infinity", "1e999", "\u2212inf"])
def test_what_is_not_finite(cell):
    with pytest.raises(NotANumber, match="a number that is not finite"):
        number_in(cell, POINT)


@pytest.mark.parametrize("cell", ["64.2(3)", "64.2 \u00b1 0.3", "64.2 +/- 0.3 MHz", "64.2+-0.3", "64.2\u00b10.3"])
def test_an_uncertainty_in_the_cell(cell):
    with pytest.raises(NotANumber, match="a number with its uncertainty in one cell") as caught:
        number_in(cell, POINT)
    assert "a column of its own, headed u(...)" in caught.value.cure


@pytest.mark.parametrize("cell", ["<0.02", "> 5", ">=5 V"])
def test_a_limit_is_no_reading(cell):
    with pytest.raises(NotANumber, match="a limit, not a reading"):
        number_in(cell, POINT)


@pytest.mark.parametrize(
    "cell",
    ["", " ", "six", "1.2.3", "1_000", "0x10", "1e", "\u0663", "1.#INF", "12 furlong", "5 1", "1 2 V", "--5", "5 V 3",
     "1k2k", "12k3kHz", "1 500", "k47", "1.2k3", "1d5", "5/3", "1,5", "+", ".", "e5", "1V2V", "- 5", "5\uff15", "ca.5"],
)  # fmt: skip
def test_text_in_a_number(cell):
    with pytest.raises(NotANumber, match="text in a number"):
        number_in(cell, POINT)


def test_a_letter_and_an_exponent_contradict():
    with pytest.raises(NotANumber, match="an exponent and an SI letter in one number"):
        number_in("1.2e3k", POINT)


@pytest.mark.parametrize("cell", ["9.9E37", "-9.91E37", "1e-400", "1e0000000000000001000000000", "4" * 5000])
def test_numbers_that_no_bench_reads(cell):
    with pytest.raises(NotANumber, match=r"a number that no bench reads|a number that is not finite"):
        number_in(cell, POINT)


@pytest.mark.parametrize(
    ("cell", "stated", "cure"),
    [
        ("1,5", POINT, 'decimal_mark = ","'), ("1.5", COMMA, 'decimal_mark = "."'),
        ("1.500", COMMA, 'thousands_mark = "."'),
        ("1 500", POINT, 'thousands_mark = " "'), ("1'500", POINT, "thousands_mark = \"'\""),
    ],
)  # fmt: skip
def test_the_other_mark_is_named_in_the_cure(cell, stated, cure):
    with pytest.raises(NotANumber, match="text in a number") as caught:
        number_in(cell, stated)
    assert cure in caught.value.cure
    assert "in a layout" in caught.value.cure


@settings(max_examples=300, deadline=None)
@given(
    value=st.decimals(-(10**12), 10**12, places=3),
    places=st.integers(0, 3),
    locale=st.sampled_from(LOCALES),
    tail=st.sampled_from(["", " MHz", "MHz", "?", " (?) mW", " k", "u"]),
)
def test_a_formatted_number_comes_back(value, places, locale, tail):
    decimal, thousands = locale
    plain = f"{value:.{places}f}"
    written = f"{Decimal(plain):,}".translate({ord(","): thousands, ord("."): decimal}) + tail
    shift = {" k": "e3", "u": "e-6"}.get(tail, "")
    assert number_in(written, form(decimal, thousands)).value == float(plain + shift)


@settings(max_examples=200, deadline=None)
@given(value=st.floats(-1e30, 1e30), comma=st.booleans(), upper=st.booleans())
def test_every_float_comes_back(value, comma, upper):
    written = repr(value).upper() if upper else repr(value)
    assume(value == 0 or abs(value) > 1e-300)
    assert number_in(written.replace(".", ",") if comma else written, COMMA if comma else POINT).value == value


def exact(cell, read, decimal, thousands):
    """Return the number that ``cell`` writes, by taking its parts away one by one; None when something is left."""
    text = cell.replace("\u2212", "-")
    for mark in ("(?)", "?", "*", "~"):
        text = text.replace(mark, "")
    text = re.sub(r"^\((.*)\)", r"\1", text.strip())
    if read.unit and not text.rstrip().endswith(read.unit):
        text = text.replace(read.unit, decimal)
    text = text.strip().removesuffix(read.unit).strip()
    power = {"k": 3, "K": 3, "M": 6, "G": 9, "m": -3, "n": -9, "p": -12}.get(read.letter, -6 if read.letter else 0)
    text = text.removesuffix(read.letter).strip().replace(read.letter or "\0", decimal)
    number, _, exponent = text.lower().partition("e")
    whole, _, fraction = number.lstrip("+-").partition(decimal)
    ungrouped = "".join(c for c in whole if c not in thousands)
    if ungrouped != whole and f"{int(ungrouped):,}" != re.sub(f"[{re.escape(thousands)}]", ",", whole):
        return None
    sign = "-" if number.startswith("-") else ""
    fraction = "".join(c for c in fraction if c not in thousands)
    return Decimal(f"{sign}{ungrouped or 0}.{fraction or 0}E{int(exponent or 0) + power}")


PIECES = st.sampled_from(
    [*"0123456789" * 2, *".,' +-eEkKMGmun", "\u00b5", "\u2212", "V", "MHz", "W", "?", "~", "(", ")", THIN]
)


@settings(max_examples=3000, deadline=None)
@given(cell=st.lists(PIECES, min_size=1, max_size=9).map("".join), locale=st.sampled_from(LOCALES))
def test_any_text_is_the_number_it_writes_or_none(cell, locale):
    try:
        read = number_in(cell, form(*locale))
    except NotANumber:
        return
    assert Decimal(read.value) == Decimal(float(exact(cell, read, *locale)))


@settings(max_examples=500, deadline=None)
@given(cell=st.text(max_size=8))
def test_no_other_error_whatever_the_text(cell):
    try:
        value = number_in(cell, form(".", ",")).value
    except NotANumber:
        return
    assert abs(value) < 9.8e37
    assert any(c in "0123456789" for c in cell)
