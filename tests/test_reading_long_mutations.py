"""Damaged logs: reduced piece by piece they give what is read of them whole, or say what was not taken."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_power_log
from aotf_lab.reading.long import LongLog, reduce_power_log

CELLS = ["OVER", "", "---", "9.91E37", "n/a", "0.25?", "0.25 mW", "250 uW", "1,5", "1.5.2", "nan", "inf", '"0.25"',
         '"', "-0.5", "tea", "1e-3", "2e 3", "12k3", "0x1F", "\u22120.3", "1 234.5", "+.5", "5.", "True", "#", "1_0",
         "\u0665"]  # fmt: skip
LINES = ["", "# lamp touched", "Time (s),Optical power (mW),Lamp", "Mean,0.25,", "1.0,0.2", "1.0,0.2,1,2", ",,",
         "---,---,---", '"1.0","0.2","on"', " 1.0 , 0.2 , on ", "a,b,c", "1.0;0.2;on"]  # fmt: skip


@pytest.fixture(autouse=True, scope="module")
def small_pieces():
    """Make every file long: its beginning is 30 rows, a piece a few lines."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("aotf_lab.reading.long.power.HEAD_BYTES", 450)
        patch.setattr("aotf_lab.reading.long.stream.PIECE_BYTES", 150)
        yield


def text_of(rows: int, edits: list[tuple[str, int, int, int]], end: str, closed: bool) -> str:
    lines = [f"{0.5 * k:.1f},{0.2 + 0.01 * (k * 7 % 11):.3f},on" for k in range(rows)]
    for what, where, column, which in edits:
        at = where % len(lines)
        cells = lines[at].split(",")
        if what == "cell" and len(cells) == 3:
            cells[column] = CELLS[which % len(CELLS)]
            lines[at] = ",".join(cells)
        elif what == "line":
            lines.insert(at, LINES[which % len(LINES)])
        elif what == "drop":
            del lines[at]
        elif what == "copy":
            lines.insert(at, lines[at])
        elif what == "cut":
            lines[at] = lines[at][: which % max(len(lines[at]), 1)]
        elif what == "glue" and at + 1 < len(lines):
            lines[at : at + 2] = [lines[at] + lines[at + 1]]
    return end.join(["Time (s),Optical power (mW),Lamp", *lines]) + (end if closed else "")


EDITS = st.lists(
    st.tuples(st.sampled_from(["cell", "cell", "line", "drop", "copy", "cut", "glue"]), st.integers(0, 200),
              st.integers(0, 1), st.integers(0, 50)), max_size=4)  # fmt: skip


def said(found: LongLog) -> bool:
    """Return whether the log says of any line that it was not taken, or is in doubt."""
    return bool(found.rejected or found.doubtful or found.passed)


@settings(
    max_examples=400, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.integers(45, 120), EDITS, st.sampled_from(["\n", "\r\n", "\r"]), st.booleans())
def test_a_damaged_log_reads_as_it_does_whole(rows, edits, end, closed):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(text_of(rows, edits, end, closed).encode())
        try:
            whole = read_power_log(path)
        except ReadingError:
            whole = None
        try:
            found = reduce_power_log(path, block_rows=10**6)
        except ReadingError as error:
            found, message = None, str(error)
            if "log.csv" not in message:
                raise
    if found is None:
        if whole is not None:  # refused though it could be read whole: only what needs the lines around it
            assert any(words in message for words in ("ditto", "summary", "quotation", "text in a number", "head")), (
                message
            )
        return
    if whole is None:
        assert said(found)
        return
    table = found.readings.table
    mean = np.average(table["optical_power_mw"], weights=table["rows_taken"])
    if found.rows_taken == len(whole.table):
        assert mean == pytest.approx(whole.table["optical_power_mw"].mean(), rel=1e-9)
        assert table["line"].iloc[0] <= whole.table["line"].iloc[0]
    else:
        assert said(found), (found.rows_taken, len(whole.table))
    rejected = {line for c in found.rejected for line, _ in c.first}
    assert rejected.isdisjoint(whole.table["line"]) or any("cells" in c.reason for c in found.rejected)


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("column", [0, 1])
def test_every_cell_far_down_reads_as_it_does_whole(log, cell, column):
    path = log(text_of(100, [("cell", 80, column, CELLS.index(cell))], "\n", True))
    if cell == "1,5":  # one cell too many, which far down is counted
        assert reduce_power_log(path).rejected[0].first[0][0] == 82
        return
    try:
        whole = read_power_log(path)
    except ReadingError:
        with pytest.raises(ReadingError, match=r"log\.csv:82.*; found .*; allowed") as caught:
            reduce_power_log(path)
        assert caught.value.where.startswith("log.csv:82")
        return
    if cell in ('"', "1 234.5"):  # understood from other lines, which a piece does not have
        with pytest.raises(ReadingError, match=r"log\.csv:82.*; found .*; allowed"):
            reduce_power_log(path)
        return
    found = reduce_power_log(path)
    kept = whole.table["optical_power_mw"]
    table = found.readings.table
    assert found.rows_taken == len(kept)
    assert np.average(table["optical_power_mw"], weights=table["rows_taken"]) == pytest.approx(kept.mean(), rel=1e-9)
    assert [c.first[0][0] for c in found.rejected] == [r.line for r in whole.receipts[0].rejected]
    flagged = {f.line for f in whole.receipts[0].flagged}
    assert {c.first[0][0] for c in found.doubtful} <= flagged
    assert flagged <= {c.first[0][0] for c in found.doubtful} | {b.line for b in found.breaks}
