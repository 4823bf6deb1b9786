"""The reflection of one port: against the specification, a published table and an independent parse."""

from __future__ import annotations

import cmath
import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.touchstone import read_touchstone
from aotf_lab.reading.touchstone_lines import touchstone_lines
from tests.house import published

HZ = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


@pytest.fixture
def s1p(tmp_path):
    def write(text, name="match.s1p", encoding="utf-8"):
        (tmp_path / name).write_bytes(text.encode(encoding))
        return tmp_path / name

    return write


def independent(form: str, first: float, second: float) -> complex:
    """Return the reflection of one pair, by the words of the specification (version 1.1, "format")."""
    if form == "RI":
        return complex(first, second)
    magnitude = 10.0 ** (first / 20.0) if form == "DB" else first
    return cmath.rect(magnitude, math.radians(second))


def test_the_example_of_the_specification(s1p):
    # Touchstone File Format Specification 1.1, example of a one-port S-parameter file (from memory)
    text = (
        "!1-port S-parameter file, single frequency point\n# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n"
    )
    table = read_touchstone(s1p(text)).table
    assert table["frequency_mhz"].tolist() == [2.0]
    assert table["s11_re"].tolist() == pytest.approx([0.894 * math.cos(math.radians(12.136))], rel=1e-12)
    assert table["s11_im"].tolist() == pytest.approx([-0.894 * math.sin(math.radians(12.136))], rel=1e-12)
    assert table["line"].tolist() == [4]


def test_return_loss_of_the_published_table(s1p):
    # shared/rf_vswr.csv: VSWR, reflection coefficient and return loss
    rows = [r for r in published("rf_vswr.csv") if r["return_loss_dB"]]
    text = "# MHz S DB R 50\n" + "".join(f"{k + 1} -{r['return_loss_dB']} 0\n" for k, r in enumerate(rows))
    table = read_touchstone(s1p(text)).table
    assert len(table) == len(rows) > 5
    for found, row in zip(table["s11_re"], rows, strict=True):
        assert found == pytest.approx(float(row["gamma"]), rel=1e-3)


pair = st.tuples(
    st.floats(min_value=-0.7, max_value=0.7).map(lambda x: round(x, 6)),
    st.floats(min_value=-0.7, max_value=0.7).map(lambda x: round(x, 6)),
)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    unit=st.sampled_from(sorted(HZ)),
    form=st.sampled_from(["RI", "MA", "DB"]),
    pairs=st.lists(pair, min_size=1, max_size=8),
    order=st.permutations(["unit", "S", "form", "R 75"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_every_unit_and_format_against_an_independent_parse(tmp_path_factory, unit, form, pairs, order, end):
    shown = [
        (abs(a), 200.0 * b) if form == "MA" else (-40.0 * abs(a), 200.0 * b) if form == "DB" else (a, b)
        for a, b in pairs
    ]
    option = "# " + " ".join({"unit": unit, "form": form}.get(part, part) for part in order)
    frequencies = [44.0 + 0.5 * k for k in range(len(pairs))]
    rows = [f"  {f!r}\t{a!r} {b!r} ! remark" for f, (a, b) in zip(frequencies, shown, strict=True)]
    path = tmp_path_factory.mktemp("one_port") / "match.s1p"
    path.write_bytes((end.join(["! transducer", option, *rows]) + end).encode())
    readings = read_touchstone(path)
    table = readings.table
    assert table["frequency_mhz"].tolist() == pytest.approx([f * HZ[unit] / 1e6 for f in frequencies], rel=1e-12)
    wanted = [independent(form, a, b) for a, b in shown]
    assert table["s11_re"].tolist() == pytest.approx([w.real for w in wanted], rel=1e-12, abs=1e-14)
    assert table["s11_im"].tolist() == pytest.approx([w.imag for w in wanted], rel=1e-12, abs=1e-14)
    assert table["line"].tolist() == [k + 3 for k in range(len(pairs))]
    assert [s.value for s in readings.receipts[0].settings] == [unit.lower(), form.lower(), "75 ohm"]


@pytest.mark.parametrize(
    ("option", "unit", "form", "ohm"),
    [
        ("#", "ghz", "ma", "50"), ("# MHz", "mhz", "ma", "50"), ("# RI", "ghz", "ri", "50"),
        ("# r 75 khz", "khz", "ma", "75"),
        ("#hz s db", "hz", "db", "50"), ("# mHz S RI R 50.0", "mhz", "ri", "50.0"),
    ],
)  # fmt: skip
def test_missing_options_take_the_defaults_of_the_specification(option, unit, form, ohm):
    options = touchstone_lines("a.s1p", f"{option}\n44 0.1 0.2\n").options
    assert options == {"frequency unit": unit, "parameter": "s", "format": form, "reference": ohm}


def test_version_2_with_its_own_reference(s1p):
    text = (
        "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Reference] 75.0\n"
        "[Network Data]\n44 0.1 0.2\n45 0.2 0.1\n[End]\n"
    )
    readings = read_touchstone(s1p(text))
    assert readings.table["s11_re"].tolist() == [0.1, 0.2]
    reference = readings.receipts[0].settings[2]
    assert (reference.key, reference.value, reference.line) == ("reference impedance", "75.0 ohm", 5)


def test_what_is_in_doubt_is_flagged(s1p):
    receipt = read_touchstone(s1p("# MHz S RI\n44 0.1 0.2\n45 0.9 0.9\n44.5 0.1 0.1\n46 0.1 0.0")).receipts[0]
    assert [(f.line, f.reason.split(":")[0].split(" 1.2")[0]) for f in receipt.flagged] == [
        (3, "reflection"),
        (4, "frequency not above that of the line before"),
        (5, "no line end after the last number"),
    ]


def test_over_range_lines_are_rejected(s1p):
    readings = read_touchstone(s1p("# MHz S RI\n44 0.1 0.2\n45 9.91E37 9.91E37\n46 0.1 0.0\n"))
    assert readings.table["line"].tolist() == [2, 4]
    assert [(r.line, r.reason) for r in readings.receipts[0].rejected] == [(3, "over-range mark")]


def test_only_the_first_option_line_counts(s1p):
    # Touchstone File Format Specification 1.1: further option lines are ignored (from memory)
    readings = read_touchstone(s1p("# MHz S RI\n44 0.1 0.2\n# GHz S MA\n45 0.1 0.2\n"))
    assert readings.table["frequency_mhz"].tolist() == [44.0, 45.0]
    assert any("line 3: option line" in note for note in readings.receipts[0].notes)


def test_a_remark_in_another_encoding(s1p):
    readings = read_touchstone(s1p("! 22 °C\n# MHz S RI\n44 0.1 0.2\n", encoding="latin-1"))
    assert readings.receipts[0].encoding.startswith("Latin-1")
    assert readings.table["line"].tolist() == [3]


def test_an_option_line_may_be_stated(s1p):
    path = s1p("44 0.1 0.2\n")
    assert read_touchstone(path, option_line="# MHz S RI R 50").table["s11_im"].tolist() == [0.2]
    with pytest.raises(ReadingError, match=r"match.s1p:1: numbers before any option line; found '44 0.1 0.2'"):
        read_touchstone(path)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("44 0.1 0.2\n45 0.1\n46 0.1 0.2 0.3\n", r"match.s1p:3: 2 numbers in a line of one port; found '45 0.1'"),
        ("44 0.1 0.2\n45 nan 0.1\n", r"match.s1p:3: text in a number; found 'nan'"),
        ("44 0,1 0,2\n", r"match.s1p:2: text in a number; found '0,1'"),
        ("44 0.1 0.2 lid open\n", r"match.s1p:2: text in a number; found 'lid'"),
        ("-44 0.1 0.2\n", r"match.s1p:2: a frequency or a magnitude below zero; found '-44 0.1 0.2'"),
        ("", r"match.s1p: no frequency and no reflection; found 0 lines, all rejected"),
        ("[Number of Ports] 2\n44 0.1 0.2\n", r"match.s1p:2: a keyword that a file of one port cannot have here"),
        ("[Number of Frequencies] 3\n44 0.1 0.2\n", r"match.s1p:2: another number of frequencies than the file states"),
        ("[Reference] none\n44 0.1 0.2\n", r"match.s1p:2: a keyword that a file of one port cannot have here"),
    ],
)
def test_lines_that_are_refused(s1p, rows, message):
    with pytest.raises(ReadingError, match=message):
        read_touchstone(s1p("# MHz S RI R 50\n" + rows))


@pytest.mark.parametrize("option", ["# MHz S RI R", "# MHz S RI R 0", "# MHz GHz", "# furlong", "# MHz S RI R 50 60"])
def test_option_lines_that_are_refused(s1p, option):
    with pytest.raises(ReadingError, match=r"match.s1p:1: an option line that cannot be understood; found '#"):
        read_touchstone(s1p(option + "\n44 0.1 0.2\n"))


def test_another_parameter_than_s(s1p):
    with pytest.raises(ReadingError, match=r"match.s1p:1: another parameter than S; found '# MHz Z MA R 75'"):
        read_touchstone(s1p("# MHz Z MA R 75\n100 0.99 -4\n"))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(ReadingError, match=r"none.s1p: a file that cannot be opened; found No such file"):
        read_touchstone(tmp_path / "none.s1p")


def test_a_reflection_too_large_for_a_float(s1p):
    with pytest.raises(ReadingError, match=r"match.s1p: scikit-rf"):
        read_touchstone(s1p("# MHz S DB R 50\n44 99999 0\n"))


def test_without_scikit_rf(s1p, monkeypatch):
    monkeypatch.setitem(sys.modules, "skrf.io.touchstone", None)
    with pytest.raises(ReadingError, match=r"not installed.*run: pip install scikit-rf"):
        read_touchstone(s1p("# MHz S RI R 50\n44 0.1 0.2\n"))


def test_scikit_rf_loads_on_the_first_use_alone():
    code = "import sys, aotf_lab.reading.touchstone; print('skrf' in sys.modules)"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"
