"""Long logs reduced to block means: the numbers against numpy, and every kind of row that is not taken."""

from __future__ import annotations

import hashlib
import math

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import Instruments, PowerMeter
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.long import reduce_power_log

HEAD = "Time (s),Optical power (uW)\n"


def rows(count: int, start: int = 0) -> list[str]:
    return [f"{0.5 * k:.1f},{200 + k % 7:.2f}" for k in range(start, start + count)]


@pytest.mark.parametrize("piece_bytes", [2**22, 20_000])
def test_block_means_against_numpy(tmp_path, monkeypatch, piece_bytes):
    monkeypatch.setattr("aotf_lab.reading.long.stream.PIECE_BYTES", piece_bytes)
    count, rng = 200_000, np.random.default_rng(1)
    time, power = 1e-3 * np.arange(count), rng.normal(0.2, 0.002, count)
    dark, frequency = rng.normal(0.003, 1e-4, count), rng.normal(64.0, 0.004, count)
    data = np.column_stack([time, 1e3 * power, 1e3 * dark, frequency])
    path = tmp_path / "log.csv"
    np.savetxt(path, data, "%.9g", ",", header="Time (s),Optical power (uW),Dark (uW),Frequency (MHz)", comments="")
    written = np.loadtxt(path, delimiter=",", skiprows=1)
    log = reduce_power_log(path, block_s=0.7)
    table, of_block = log.readings.table, np.floor((written[:, 0] + 1e-9) / 0.7).astype(int)
    net = 1e-3 * (written[:, 1] - written[:, 2])
    for k in range(of_block[-1] + 1):
        own = of_block == k
        row = table.iloc[k]
        assert row["optical_power_mw"] == pytest.approx(net[own].mean(), rel=1e-12)
        assert row["spread_mw"] == pytest.approx(net[own].std(ddof=1), rel=1e-9)
        assert row["time_s"] == pytest.approx(written[own, 0].mean(), rel=1e-12)
        assert row["frequency_mhz"] == pytest.approx(written[own, 3].mean(), rel=1e-12)
        assert (row["line"], row["rows_taken"]) == (2 + np.argmax(own), own.sum())
    assert len(table) == of_block[-1] + 1
    assert (log.rows_total, log.rows_taken, log.rows_rejected) == (count, count, 0)
    assert log.readings.sources[0].sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    account = log.receipt.columns[1]
    assert (account.count, account.low) == (count, pytest.approx(1e-3 * written[:, 1].min(), rel=1e-12))


MARKS = {
    "OVER": "rows_over_range", "---": "rows_over_range", "9.91E37": "rows_over_range", "9.9E+37": "rows_over_range",
    "ovld": "rows_over_range", "": "rows_gap", "n/a": "rows_gap", "-": "rows_gap",
}  # fmt: skip


@pytest.mark.parametrize("mark", MARKS)
def test_a_mark_costs_its_row_and_is_named(log, mark):
    lines = rows(40)
    lines[11] = f"5.5,{mark}"
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=10)
    assert found.readings.table[MARKS[mark]].tolist() == [0, 1, 0, 0]
    assert found.readings.table["rows_taken"].tolist() == [10, 9, 10, 10]
    assert [(line, text) for line, text in found.rejected[0].first] == [(13, f"5.5,{mark}")]
    assert "(line 13)" in str(found)
    kept = [200 + k % 7 for k in range(10, 20) if k != 11]
    assert found.readings.table["optical_power_mw"].iloc[1] == pytest.approx(1e-3 * np.mean(kept), rel=1e-12)


def test_lines_keep_their_number_below_comments_blank_lines_and_quotes(log):
    lines = rows(40)
    lines[4:4] = ["# lamp touched", "", '"2.0","204.00"']
    lines[30] = "14.0,OVER"
    found = reduce_power_log(log("\r\n".join([HEAD.strip(), *lines]) + "\r\n"), block_rows=41)
    assert found.rejected[0].first == ((32, "14.0,OVER"),)
    assert {c.reason: c.first[0][0] for c in found.passed} == {"comment": 6, "blank line": 7}
    assert found.rows_total == 41


def test_ragged_rows_shift_nothing(log):
    lines = rows(40)
    lines[5], lines[6] = "2.5", "3.0,206.00,7"  # as many separators as two whole rows
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=40)
    assert [c.first[0] for c in found.rejected] == [(7, "2.5"), (8, "3.0,206.00,7")]
    assert found.readings.table["rows_ragged"].tolist() == [2]
    good = [200 + k % 7 for k in range(40) if k not in (5, 6)]
    assert found.readings.table["optical_power_mw"].tolist() == pytest.approx([1e-3 * np.mean(good)], rel=1e-12)


@pytest.mark.parametrize(
    "text", ["nan", "null", "inf", "1_000", "2e 3", "0x10", "1.2.3", "tea", "True", '"20"3', "1e400"]
)
def test_text_is_refused_with_its_line(log, text):
    lines = rows(2000)
    lines[1500] = f"750.0,{text}"
    if text == "null":  # a mark of a gap, not text
        assert reduce_power_log(log(HEAD + "\n".join(lines) + "\n")).readings.table["rows_gap"].tolist() == [1]
        return
    if text == "1e400":  # beyond the marks of SCPI-1999, so a mark
        assert reduce_power_log(log(HEAD + "\n".join(lines) + "\n")).rows_rejected == 1
        return
    with pytest.raises(ReadingError, match=r"log\.csv:1502.*found .*; allowed"):
        reduce_power_log(log(HEAD + "\n".join(lines) + "\n"))


def test_a_number_in_doubt_is_taken_and_flagged(log):
    lines = rows(40)
    lines[3] = "1.5,203.00?"
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=20)
    assert found.readings.table["rows_in_doubt"].tolist() == [1, 0]
    assert found.readings.table["rows_taken"].tolist() == [20, 20]
    assert found.receipt.flagged[0].line == 5


def test_a_unit_in_the_cell_goes_before_that_of_the_heading(log):
    lines = rows(40)
    lines[3] = "1.5,0.203 mW"
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=40)
    expected = 1e-3 * np.mean([200 + k % 7 for k in range(40)])
    assert found.readings.table["optical_power_mw"].tolist() == pytest.approx([expected], rel=1e-12)


def test_blocks_end_at_breaks_in_time(log):
    lines = [*rows(30), *rows(25), *[f"{100 + 0.5 * k:.1f},200" for k in range(12)]]
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=20)
    assert found.readings.table["rows"].tolist() == [20, 10, 20, 5, 12]
    assert [(b.line, b.step_s) for b in found.breaks] == [(32, -14.5), (57, 88.0)]
    assert "2 breaks in time" in str(found)


def test_a_block_without_a_reading_is_left_out_and_named(log):
    lines = rows(60)
    lines[20:40] = [f"{0.5 * k:.1f},OVER" for k in range(20, 40)]
    found = reduce_power_log(log(HEAD + "\n".join(lines) + "\n"), block_rows=20)
    assert found.readings.table["line"].tolist() == [2, 42]
    assert found.left_out == (22,)
    assert "1 blocks without a reading left out, beginning at line 22" in str(found)


def test_dark_rows_are_interpolated_in_time(log):
    head = "Time (s),Optical power (uW),Shutter\n"
    lines = []
    for k in range(400):
        closed = k % 100 < 20
        value = (2 + k // 100) + (0.02 if k % 2 else -0.02) + (0 if closed else 100)
        lines.append(f"{k},{value:.2f},{'closed' if closed else 'open'}")
    found = reduce_power_log(log(head + "\n".join(lines) + "\n"), block_rows=50)
    table = found.readings.table
    assert found.rows_dark == 80
    assert table["rows_dark"].tolist() == [20, 0] * 4
    assert (1e3 * table["subtracted_dark_mw"]).tolist() == pytest.approx([2, 2.5, 3, 3.5, 4, 4.5, 5, 5], abs=1e-9)
    assert (1e3 * table["optical_power_mw"]).tolist() == pytest.approx([100, 99.5] * 3 + [100, 100], abs=1e-9)
    assert "80 rows marked dark in 4 blocks" in str(found)
    (receipt,) = [c for c in found.readings.receipts[0].columns if c.header == "Shutter"]
    assert (receipt.meaning, receipt.evidence) == ("dark or light", "its words tell dark rows from light ones")


def test_a_word_that_is_neither_dark_nor_light(log):
    lines = [f"{line},{'closed' if k < 9 else 'open' if k != 3000 else 'ajar'}" for k, line in enumerate(rows(4000))]
    with pytest.raises(
        ReadingError, match=r"log.csv:3002, column 'Shutter': a row that is marked.*found 'ajar'; allowed.*\{ 3002 = "
    ):
        reduce_power_log(log("Time (s),Optical power (uW),Shutter\n" + "\n".join(lines) + "\n"))


def test_stated_dark(log):
    path = log(HEAD + "\n".join(rows(70)) + "\n")
    plain = reduce_power_log(path).readings.table["optical_power_mw"]
    for found in (
        reduce_power_log(path, dark_mw=0.003),
        reduce_power_log(path, layout=Layout(settings={"dark": "3 uW"})),
    ):
        assert found.readings.table["optical_power_mw"].tolist() == pytest.approx((plain - 0.003).tolist(), rel=1e-12)
        assert "0.003 mW as stated" in str(found)
    assert "the meter's zero stays" in str(reduce_power_log(path))


def test_dark_above_the_headings_is_not_subtracted_unasked(log):
    found = reduce_power_log(log("Dark reading: 3 uW\n" + HEAD + "\n".join(rows(70)) + "\n"))
    assert "is not subtracted" in str(found)
    assert found.readings.table["optical_power_mw"].iloc[0] == pytest.approx(0.203, rel=1e-3)


@pytest.mark.parametrize(
    ("separator", "comma", "encoding"),
    [
        (",", False, "utf-8-sig"),
        (";", True, "utf-8"),
        ("\t", True, "cp1252"),
        (";", False, "utf-16"),
        ("  ", False, "utf-8"),
    ],
)
def test_forms_of_text(tmp_path, separator, comma, encoding):
    body = [line.replace(",", separator) for line in rows(5000)]
    body[4000] = f"2000.0{separator}OVER"
    text = "\n".join([f"Time (s){separator}Power (µW)", *body]) + "\n"
    path = tmp_path / "log.txt"
    path.write_bytes((text.replace(".", ",") if comma else text).encode(encoding))
    found = reduce_power_log(path, block_rows=5000)
    expected = 1e-3 * np.mean([200 + k % 7 for k in range(5000) if k != 4000])
    assert found.readings.table["optical_power_mw"].tolist() == pytest.approx([expected], rel=1e-12)
    assert found.rejected[0].first[0][0] == 4002
    assert found.readings.sources[0].sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_clock_in_iso_form(log):
    stamps = np.datetime64("2026-03-28T23:59:50.000") + np.arange(4000) * np.timedelta64(250, "ms")
    texts = [str(s) if k != 3000 else str(s)[:-4] for k, s in enumerate(stamps)]
    lines = [f"{text},{200 + k % 7}" for k, text in enumerate(texts)]
    found = reduce_power_log(log("Time,Optical power (uW)\n" + "\n".join(lines) + "\n"), block_s=100)
    assert found.readings.table["time_s"].tolist() == pytest.approx([100 * k + 49.875 for k in range(10)], abs=1e-9)
    assert str(found.receipt.start) == "2026-03-28 23:59:50"
    assert found.break_count == 0


def test_a_clock_of_another_form_says_what_to_do(log):
    lines = [f"{1 + k // 3600:02d}.03.2026 10:00:{k % 60:02d};200" for k in range(60)]
    with pytest.raises(
        ReadingError, match=r"log.csv:2.*a clock that cannot be followed.*found '01.03.2026.*allowed.*not_used"
    ):
        reduce_power_log(log("Time;Optical power (uW)\n" + "\n".join(lines) + "\n"))


def test_time_from_the_sample_interval(log):
    text = "Sample interval: 0.5 s\nOptical power (uW)\n" + "\n".join(str(200 + k % 7) for k in range(100)) + "\n"
    found = reduce_power_log(log(text), block_s=10)
    assert found.readings.table["time_s"].tolist() == pytest.approx([4.75 + 10 * k for k in range(5)], rel=1e-12)


def test_a_summary_at_the_end_is_no_reading(log):
    found = reduce_power_log(log(HEAD + "\n".join([*rows(3000), "Mean,203.00"]) + "\n"))
    assert (found.rows_total, found.passed[0].first) == (3000, ((3002, "Mean,203.00"),))


def test_a_summary_with_readings_below_it(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:2002: a summary with readings below it; found 'Mean,203.00'; allowed"
    ):
        reduce_power_log(log(HEAD + "\n".join([*rows(2000), "Mean,203.00", *rows(2000, 2000)]) + "\n"))


def test_lines_passed_over_by_a_layout(log):
    lines = rows(3000)
    lines[2000] = "tea break"
    path = log(HEAD + "\n".join(lines) + "\n")
    found = reduce_power_log(path, layout=Layout(skip_lines={2002: "tea"}))
    assert (found.rows_total, found.passed[0].reason) == (2999, "passed over by the layout: tea")


def test_last_line_without_an_end_is_in_doubt(log):
    found = reduce_power_log(log(HEAD + "\n".join(rows(100))))
    assert found.doubtful[0].first == ((101, "49.5,201.00"),)
    assert "may be cut off" in str(found)


def test_meter_gain_is_shared_and_own_scatter_stays(log):
    bench = Instruments(power_meter=PowerMeter(u_reading_percent=1.0, gain_percent=2.0))
    found = reduce_power_log(log(HEAD + "\n".join(rows(700)) + "\n"), block_rows=70, instruments=bench)
    (gain,) = found.readings.common_errors("optical_power_mw")
    assert (gain.name, gain.variable.s) == ("power meter gain", 0.02)
    assert (found.readings.table["u_optical_power_mw"] < 0.001).all()


def test_a_frozen_meter_has_no_u_of_its_own(log):
    text = HEAD + "\n".join(f"{k},200" for k in range(100)) + "\n"
    found = reduce_power_log(log(text), block_rows=50)
    assert all(math.isnan(u) for u in found.readings.table["u_optical_power_mw"])
    assert "2 blocks do not scatter at all" in str(found)


@pytest.mark.parametrize(
    ("stated", "message"),
    [
        (
            {"block_s": 1.0, "block_rows": 5},
            r"log.csv: the length of a block stated twice; found 1 s and 5 rows; allowed",
        ),
        ({"block_s": 0.0}, r"log.csv: a block of no length, block_s; found 0; allowed: a number above 0"),
        ({"block_rows": 2.5}, r"log.csv: a block of no length, block_rows; found 2.5; allowed: a whole number"),
        ({"dark_mw": math.inf}, r"log.csv: a dark reading that is no number; found inf; allowed"),
    ],
)
def test_lengths_that_cannot_be(log, stated, message):
    with pytest.raises(ReadingError, match=message):
        reduce_power_log(log(HEAD + "1,2\n"), **stated)


def test_seconds_without_a_time(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:1: blocks in seconds of a log without a running time; found 'Optical"
    ):
        reduce_power_log(log("Optical power (uW)\n1\n2\n"), block_s=1)


def test_dark_stated_twice(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: the dark stated, and also in the file; found 'Optical power"):
        reduce_power_log(log("Optical power (uW),Dark (uW)\n1,0.1\n2,0.1\n"), dark_mw=0.1)


def test_two_columns_of_power(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:1: 2 columns of optical_power_mw in a long log; found .*; allowed"
    ):
        reduce_power_log(log("Optical power 1 (uW),Optical power 2 (uW)\n1,0.1\n2,0.1\n"))


def test_no_row_left(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:2: no row left with a reading; found 3 x over-range mark 'OVER'.*allowed"
    ):
        reduce_power_log(log(HEAD + "1,OVER\n2,OVER\n3,OVER\n"))


def test_no_file(tmp_path):
    with pytest.raises(ReadingError, match=r"none.csv: a file that cannot be opened; found No such file.*; allowed"):
        reduce_power_log(tmp_path / "none.csv")
