"""Text in lines of limited width: nothing lost, no word broken, values under their column."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
import termios
from collections.abc import Mapping

import pytest

from aotf_lab.estimation.checks import z_check
from aotf_lab.estimation.named_rows import rows_text
from aotf_lab.estimation.wrapped import COLUMNS, hung, printed_columns, text_lines, within_columns
from tests.house import ROOT

LONG = "the centre lies where the law has it and the lean of the passband moves it by no more than it is known, " * 3
ROWS = [("centre", "64.2340(19) MHz"), ("what moves it", LONG.strip()), ("", LONG.strip())]


@pytest.mark.parametrize("columns", [40, 72, 100, 160])
def test_no_line_is_too_long_and_no_word_is_lost(columns):
    with within_columns(columns):
        text = rows_text("Scan of line E", ROWS, [z_check("drift", 5.0, 1.0, LONG, "MHz", "look for an outlier")])
        assert printed_columns() == columns
    assert printed_columns() == COLUMNS == 100
    assert max(map(len, text.splitlines())) <= columns
    words = " ".join(["Scan of line E", "centre 64.2340(19) MHz", "what moves it", LONG, LONG, "FAILED drift:", LONG])
    assert text.split()[: len(words.split())] == words.split()


def test_values_stand_under_their_column():
    lines = rows_text("Scan", ROWS).splitlines()
    column = lines[1].index("64.2340")
    assert lines[2].index("the centre") == column
    assert all(line[:column].strip() == "" and line[column] != " " for line in lines[3:])


def test_a_long_name_leaves_its_value_below():
    with within_columns(60):
        first, second, *_ = hung(LONG, f"  {'a name that is as long as a name can be':<44}", 46).splitlines()
    assert first.startswith("  a name that is")
    assert second.startswith(" " * 6)
    assert second[6] != " "


def test_a_word_longer_than_a_line_stays_whole():
    path = "scan_" * 30 + ".csv"
    assert path in text_lines([f"  {path}: no such file"]).replace("\n", " ").split(" ")[2]
    assert hung("two\nlines", "head  ", 6) == "head  two\n      lines"


def test_texts_of_the_demo_fit(demo):
    parts = [demo.part(name) for name in demo.parts]
    results = [one for part in parts for one in (part.values() if isinstance(part, Mapping) else [part])]
    for result in (*results, demo, demo.set_points()):
        if type(result).__str__ is not object.__str__ and type(result).__module__.startswith("aotf_lab."):
            assert not [line for line in str(result).splitlines() if len(line) > COLUMNS], type(result)


def test_no_value_of_a_set_point_loses_its_unit(demo):
    point = demo.set_points()["A"]
    text = str(demo.set_points())
    assert f"{point.drive_v:.2uS} V" in text
    assert not re.search(r"\d\(\d+\)$", text, re.MULTILINE)


def test_the_command_line_takes_the_width_of_its_terminal():
    """A pseudo-terminal of 70 columns (POSIX tcsetwinsize); what goes to a file is as wide as everywhere."""
    command = [sys.executable, "-m", "aotf_lab", "changed", "laser", "--line", "E"]
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (40, 70))
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    with subprocess.Popen(command, stdout=theirs, cwd=ROOT, env=environment) as run:
        os.close(theirs)
        shown = b""
        while run.poll() is None or shown[-1:] != b"\n":
            try:
                shown += os.read(ours, 65536)
            except OSError:  # the other end is closed
                break
    lines = shown.decode().splitlines()
    assert 60 < max(map(len, lines)) <= 70
    plain = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, env=environment).stdout
    assert 90 < max(map(len, plain.splitlines())) <= 100
    assert plain.split() == shown.decode().split()
