"""From raw text to a table: what is accepted, what is refused and where it says so."""

import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_table


@pytest.fixture
def log(tmp_path):
    def write(text, encoding="utf-8"):
        path = tmp_path / "log.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def test_rows_keep_the_line_on_which_they_stand(log):
    text = "# made at the bench\n\nDrive (V),Frequency (kHz)\n1.0,46000\n# half way\n\n2.0,51000\n,\n3.0,55500\n"
    table = read_table(log(text)).table
    assert table["line"].tolist() == [4, 7, 9]
    assert table["frequency_mhz"].tolist() == pytest.approx([46.0, 51.0, 55.5])
    assert set(table["file"]) == {"log.csv"}


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark(log, ends, mark):
    table = read_table(log(mark + ends.join(["drive_v,frequency_mhz", "1.5,48.25", "2.5,53"]))).table
    assert table["drive_v"].tolist() == [1.5, 2.5]
    assert table["line"].tolist() == [2, 3]


def test_the_raw_file_is_unchanged_and_hashed(log):
    path = log("\ufeffdrive_v,frequency_mhz\r\n1.5,48.25\r\n")
    before, time = path.read_bytes(), path.stat().st_mtime_ns
    source = read_table(path).sources[0]
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == time
    assert source.sha256 == hashlib.sha256(before).hexdigest()
    assert (source.name, source.size_bytes) == ("log.csv", len(before))


def test_semicolons_and_decimal_commas(log):
    readings = read_table(log("Drive, V;Frequency, MHz\n1,5;48,250\n2,5;53,000\n"))
    assert readings.table["drive_v"].tolist() == [1.5, 2.5]
    assert readings.table["frequency_mhz"].tolist() == [48.25, 53.0]
    receipt = readings.receipts[0]
    assert receipt.separator.startswith("semicolon: ")
    assert receipt.decimal_mark.startswith("comma: decimal commas")


def test_semicolons_and_decimal_points(log):
    assert read_table(log("Drive (V);Frequency (MHz)\n1.5;48.25\n")).table["drive_v"].tolist() == [1.5]


def test_a_quoted_heading_may_hold_a_comma(log):
    assert read_table(log('"Drive, V","Frequency, MHz"\n1.5,48.25\n')).table["frequency_mhz"].tolist() == [48.25]


def test_commas_that_could_group_thousands(log):
    message = r"log.csv:2: decimal mark in doubt: every comma could group thousands; found '1,250'"
    with pytest.raises(ReadingError, match=message):
        read_table(log("Drive (mV);Frequency (kHz)\n1,250;48,250\n"))


def test_points_and_commas_in_one_file(log):
    message = r"log.csv:3: decimal mark in doubt: points as well as commas in numbers; found '2.5'"
    with pytest.raises(ReadingError, match=message):
        read_table(log("Drive (V);Frequency (MHz)\n1,5;48,2\n2.5;53,1\n"))


def test_a_decimal_comma_between_commas_is_never_misread(log):
    message = r"log.csv:2: 4 cells below 2 headings; found '1,5,48,25'; allowed: 2 cells.*decimal comma"
    with pytest.raises(ReadingError, match=message):
        read_table(log("Drive (V),Frequency (MHz)\n1,5,48,25\n"))


def test_a_quoted_decimal_comma_between_commas_is_never_misread(log):
    with pytest.raises(ReadingError, match=r"log.csv:2, column 'Drive \(V\)': text in a number; found '1,5'"):
        read_table(log('Drive (V),Frequency (MHz)\n"1,5",48.25\n'))


@pytest.mark.parametrize("text", ["", "\n\n", "# only a remark\n", "\ufeff"])
def test_empty_file(log, text):
    with pytest.raises(ReadingError, match=r"log.csv: empty file; found \d+ bytes, no heading and no row"):
        read_table(log(text))


@pytest.mark.parametrize("text", ["drive_v,frequency_mhz\n", "drive_v,frequency_mhz\n\n,\n# end\n"])
def test_header_only(log, text):
    message = r"log.csv:1: headings without readings; found 'drive_v,frequency_mhz'; allowed: at least one row"
    with pytest.raises(ReadingError, match=message):
        read_table(log(text))


@pytest.mark.parametrize(("row", "cells"), [("1.0", 1), ("1.0,46.0,3", 3)])
def test_ragged_row(log, row, cells):
    message = rf"log.csv:3: {cells} cells below 2 headings; found '{row}'; allowed: 2 cells"
    with pytest.raises(ReadingError, match=message):
        read_table(log(f"drive_v,frequency_mhz\n0.5,43.1\n{row}\n2,51\n"))


@pytest.mark.parametrize("cell", ["six", "1.2.3", "1_000", "0x10", "1e", "٣", "1.#INF"])
def test_text_in_a_number(log, cell):
    message = r"log.csv:3, column 'Drive \(V\)': text in a number; found .*; allowed: a finite number in V"
    with pytest.raises(ReadingError, match=message):
        read_table(log(f"Drive (V),Frequency (MHz)\n0.5,43.1\n{cell},46\n"))


@pytest.mark.parametrize("cell", ["nan", "NaN", "inf", "-Infinity"])
def test_numbers_that_are_not_finite(log, cell):
    message = rf"log.csv:2, column 'drive_v': a number that is not finite; found '{cell}'"
    with pytest.raises(ReadingError, match=message):
        read_table(log(f"drive_v,frequency_mhz\n{cell},46\n"))


@pytest.mark.parametrize(
    "mark", ["---", "OVER", "over", "OL", "O.L", "9.9E37", "9.91E37", "-9.9e+37", "9.900000E+37", "*****", "Over-range"]
)
def test_over_range_rows_are_rejected_by_name(log, mark):
    # 9.9E37 is infinity and 9.91E37 is "not a number" in SCPI-1999, volume 1, 7.2.1 (from memory)
    readings = read_table(log(f"drive_v,frequency_mhz\n1,46\n2,{mark}\n3,55\n"))
    assert readings.table["drive_v"].tolist() == [1.0, 3.0]
    rejected = readings.receipts[0].rejected
    assert [(r.line, r.text) for r in rejected] == [(3, f"2,{mark}")]
    assert f"over-range mark '{mark}' in column 'frequency_mhz'" in rejected[0].reason
    assert "line 3 rejected" in str(readings.receipts[0])


def test_a_gap_rejects_its_row_except_where_gaps_are_ordinary(log):
    readings = read_table(log("drive_v,frequency_mhz,temperature_c,u_frequency_mhz\n1,46,22.5,0.004\n2,51,,\n3,,,\n"))
    assert readings.table["line"].tolist() == [2, 3]
    assert readings.table["temperature_c"].isna().tolist() == [False, True]
    assert readings.receipts[0].rejected[0].reason == "no reading in column 'frequency_mhz'"


def test_no_row_left(log):
    message = r"log.csv:2: no row left: each one was rejected; found over-range mark '---' in column 'frequency_mhz'; "
    with pytest.raises(ReadingError, match=message):
        read_table(log("drive_v,frequency_mhz\n1,---\n2,OVER\n"))


@pytest.mark.parametrize("cell", ["0", "-0.004", "0.0"])
def test_u_of_zero_or_below(log, cell):
    message = rf"log.csv:2, column 'u_frequency_mhz': a standard uncertainty that is not above zero; found '{cell}'"
    with pytest.raises(ReadingError, match=message):
        read_table(log(f"drive_v,frequency_mhz,u_frequency_mhz\n1,46,{cell}\n"))


def test_no_heading_understood(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: no heading was understood; found 'Mood,Weather'"):
        read_table(log("Mood,Weather\n1,2\n"))


def test_a_file_that_is_not_there(tmp_path):
    message = r"none.csv: a file that cannot be opened; found No such file or directory; allowed"
    with pytest.raises(ReadingError, match=message):
        read_table(tmp_path / "none.csv")


def test_another_encoding(log):
    readings = read_table(log("drive_v,temperature_c\n1,22 °C\n", encoding="latin-1"))
    assert readings.table["temperature_c"].tolist() == [22.0]
    assert readings.receipts[0].encoding.startswith(("Latin-1: ", "Windows-1252: "))


def test_tabs(log):
    readings = read_table(log("# log\ndrive_v\tfrequency_mhz\n1\t46\n"))
    assert readings.table[["drive_v", "frequency_mhz", "line"]].to_numpy().tolist() == [[1.0, 46.0, 3.0]]
    assert readings.receipts[0].separator.startswith("tab: ")


def test_quotation_marks_that_do_not_close(log):
    with pytest.raises(ReadingError, match=r"log.csv:3: quotation marks that do not close on their line"):
        read_table(log('drive_v,frequency_mhz,label\n1,46,one\n2,51,"two\n3,55,three\n'))


def test_a_unit_in_the_cell_goes_before_that_of_the_heading(log):
    table = read_table(log("Drive (V),Frequency (MHz)\n0.5,43.1\n1200 mV,46\n")).table
    assert table["drive_v"].tolist() == pytest.approx([0.5, 1.2])


def test_the_receipt_lists_every_column(log):
    receipt = read_table(log("Drive (mV),Mood,Frequency (MHz)\n1500,good,48\n")).receipts[0]
    assert [(c.header, c.meaning, c.unit) for c in receipt.columns] == [
        ("Drive (mV)", "drive_v", "mV"),
        ("Mood", "", ""),
        ("Frequency (MHz)", "frequency_mhz", "MHz"),
    ]
    assert "'Mood' -> nothing: not used: no word for it" in str(receipt)


@settings(max_examples=50, deadline=None)
@given(
    rows=st.lists(st.tuples(st.floats(0, 20), st.floats(1, 500)), min_size=1, max_size=12),
    comma=st.booleans(),
    gap=st.integers(0, 3),
)
def test_what_was_written_is_what_is_read(tmp_path_factory, rows, comma, gap):
    rows = [(0.5, 40.25), *rows]  # "0,5" can only be a decimal comma
    path = tmp_path_factory.mktemp("bench") / "log.csv"
    cells = [f"{v!r}{';' if comma else ','}{f!r}" for v, f in rows]
    if comma:
        cells = [c.replace(".", ",") for c in cells]
    head = "drive_v;frequency_mhz" if comma else "drive_v,frequency_mhz"
    path.write_text("# x\n" * gap + "\n".join([head, *cells]) + "\n", encoding="utf-8")
    table = read_table(path).table
    assert table["drive_v"].tolist() == [v for v, _ in rows]
    assert table["frequency_mhz"].tolist() == [f for _, f in rows]
    assert table["line"].tolist() == list(range(gap + 2, gap + 2 + len(rows)))
