"""Pieces of a file, its lines and its plain numbers; what pandas takes is held to the grammar of numbers."""

from __future__ import annotations

import hashlib
import io
import random
import re

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.long.limit import refuse_long
from aotf_lab.reading.long.power import reduce_power_log
from aotf_lab.reading.long.progress import terminal_progress
from aotf_lab.reading.long.sort_lines import one_blank, plain_bytes, sort_lines
from aotf_lab.reading.long.stream import Stream

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("size", [7, 64, 2**20])
def test_pieces_are_whole_lines_in_order(tmp_path, monkeypatch, end, encoding, size):
    monkeypatch.setattr("aotf_lab.reading.long.stream.PIECE_BYTES", size)
    lines = [f"{k},ü{k * k}" for k in range(50)]
    path = tmp_path / "log.csv"
    path.write_bytes((end.join(lines) + end).encode(encoding))
    with path.open("rb") as file:
        stream = Stream(path, file, path.stat().st_size)
        stream.head(30)
        pieces = list(stream.pieces("utf-8" if encoding.startswith("utf-8") else encoding))
    assert b"".join(p.data for p in pieces).decode().split("\n") == [*lines, ""]
    firsts = np.cumsum([1] + [p.data.count(b"\n") for p in pieces])
    assert [p.first_line for p in pieces] == firsts[:-1].tolist()
    assert all(p.data.endswith(b"\n") for p in pieces)
    assert stream.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_line_without_an_end(tmp_path, monkeypatch):
    monkeypatch.setattr("aotf_lab.reading.long.stream.PIECE_BYTES", 100)
    path = tmp_path / "log.csv"
    path.write_bytes(b"Power (mW)\n1\n" + b"2" * 1000)
    with (
        path.open("rb") as file,
        pytest.raises(ReadingError, match=r"log.csv:3: a line without an end; found \d+ bytes; "),
    ):
        list(Stream(path, file, 1013).pieces("utf-8"))


def test_ragged_lines_that_cancel_are_found():
    lines = sort_lines(b"1,2\n3\n4,5,6\n7,8\n", "comma", 2, plain_bytes("comma", ".", words=False))
    assert lines.plain.tolist() == [True, False, False, True]
    assert lines.plain_data(lines.plain) == b"1,2\n7,8\n"
    assert lines.text(2) == "4,5,6"


@pytest.mark.parametrize(
    ("line", "plain"),
    [('"1","2"', True), ('"1,5","2"', True), ('"1"5,2', False), ('1,"2', False), ('"1","2" ', False), ("1,2x", False)],
)
def test_quotation_marks_at_the_edges_of_cells_only(line, plain):
    lines = sort_lines(f"1,2\n{line}\n3,4\n".encode(), "comma", 2, plain_bytes("comma", ".", words=False))
    assert (lines.plain is None or lines.plain[1]) == plain
    assert lines.plain is None or lines.plain[[0, 2]].all()


def test_one_blank():
    assert one_blank(b"\n \t\n1  2\t3 \n") == b"\n\n1 2 3\n"


def test_what_is_taken_for_a_number_is_one(log):
    """Random cells in a long log: taken exactly when the grammar of plain numbers (as in IEEE 754-2019, 5.12.2, without
    inf and nan) takes them; from memory."""
    random.seed(8)
    seen = {"taken": 0, "refused": 0}
    for _ in range(600):
        cell = "".join(random.choice("0123456789.5+-e _n,") for _ in range(random.randint(2, 6)))
        text = (
            "Time (s);Optical power (mW)\n" + "".join(f"{k};{0.5 + k % 3}\n" for k in range(40)) + f"40;{cell}\n41;1\n"
        )
        bare = cell.strip()
        try:
            found = reduce_power_log(log(text), block_rows=100)
        except ReadingError:
            seen["refused"] += 1
            assert (
                not _NUMBER.fullmatch(bare) or abs(float(bare)) > 1e30 or (float(bare) == 0 and "e" in bare.lower())
            ), cell
            continue
        if found.rows_taken == 41:
            assert found.rejected, cell
        elif _NUMBER.fullmatch(bare):
            seen["taken"] += 1
            mean = (sum(0.5 + k % 3 for k in range(40)) + float(bare) + 1) / 42
            assert found.readings.table["optical_power_mw"].iloc[0] == pytest.approx(mean, rel=1e-9)
        else:
            assert found.doubtful or re.search("[,_ ]", bare) is None, cell
    assert min(seen.values()) > 100


def test_too_long_for_every_other_reader(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"Power (mW)\n" + b"0.1234\n" * 5000)
    refuse_long(path)
    refuse_long(tmp_path / "none.csv")
    with pytest.raises(
        ReadingError, match=r"log.csv: too long to be read whole; found about 5e\+03 rows, 0 MB; allowed.*block_s"
    ):
        refuse_long(path, most_rows=4000)


class Screen(io.StringIO):
    def __init__(self, terminal: bool) -> None:
        super().__init__()
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


def test_progress_from_the_second_second_on():
    now = [0.0]
    screen = Screen(terminal=True)
    show = terminal_progress("log.csv", screen, lambda: now[0])
    for k in range(40):
        now[0] = 0.125 * k
        show(k / 40)
        assert bool(screen.getvalue()) == (now[0] >= 1.0)
    show(1.0)
    assert screen.getvalue().startswith("\rlog.csv:  20 % read, 1 s, 4 s left")
    assert screen.getvalue().endswith("100 % read, 5 s   \n")


def test_progress_is_silent_on_a_file_and_when_it_is_quick():
    now = [0.0]
    for terminal in (False, True):
        screen = Screen(terminal)
        show = terminal_progress("log.csv", screen, lambda: now[0])
        now[0] += 0.0 if terminal else 9.0
        show(0.5)
        show(1.0)
        assert screen.getvalue() == ""


def test_a_callback_hears_every_piece(log, monkeypatch):
    monkeypatch.setattr("aotf_lab.reading.long.stream.PIECE_BYTES", 1000)
    heard: list[float] = []
    text = "Optical power (mW)\n" + "".join(f"0.2{k % 7}\n" for k in range(20000))
    reduce_power_log(log(text), progress=heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0
    assert len(heard) > 10
