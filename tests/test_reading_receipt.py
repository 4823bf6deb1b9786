"""The receipt as a text and as HTML: everything that was understood, at a glance."""

import re
from datetime import datetime
from html.parser import HTMLParser

from aotf_lab.estimation.wrapped import within_columns
from aotf_lab.reading.receipt import ColumnReceipt, FlaggedRow, Receipt, RejectedRow, Setting

DRIVE = ColumnReceipt(
    "Set (mV)", "drive_v", "mV", "word 'set'", 212, 0.3, 13.9, "300 mV", 0.3, "13900", 13.9
)  # fmt: skip
WAY = ColumnReceipt("Way", "direction", "", "word 'way'", 212, None, None, "up", "up", "DOWN", "down")
COUNTER = ColumnReceipt(
    "Counter (MHz)", "frequency_mhz", "MHz", "unit 'MHz'", 211, 42.1, 98.25, "42.10", 42.1, "98.25", 98.25
)
MOOD = ColumnReceipt("Mood", "", "", "not used: no word for it")
PLAIN = {"encoding": "UTF-8", "separator": "comma", "decimal_mark": "point: in every number"}


class Tags(HTMLParser):
    """The tags of a piece of HTML in order, and the text between them; fails on one that does not close."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self.open = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def test_a_line_for_each_column_with_what_was_read_and_why():
    with within_columns(140):
        lines = str(Receipt("vco.csv", 212, (DRIVE, WAY, COUNTER, MOOD), **PLAIN)).splitlines()
    assert lines[:2] == ["vco.csv: 212 rows read, 0 rejected", "  UTF-8, commas between cells, decimal points"]
    assert [re.split("  +", line.strip()) for line in lines[2:]] == [
        ["'Set (mV)'", "-> drive_v (mV)", "212", "0.3 to 13.9 V", "'300 mV' -> 0.3 ... '13900' -> 13.9", "word 'set'"],
        ["'Way'", "-> direction", "212", "up ... 'DOWN' -> down", "word 'way'"],
        ["'Counter (MHz)'", "-> frequency_mhz (MHz)", "211", "42.1 to 98.25 MHz", "42.10 ... 98.25", "unit 'MHz'"],
        ["'Mood' -> nothing: not used: no word for it"],
    ]
    starts = [[lines[k].index(word) for k in (2, 3, 4)] for word in ("->",)] + [
        [lines[2].index("word 'set'"), lines[3].index("word 'way'"), lines[4].index("unit 'MHz'")]
    ]
    assert all(len(set(columns)) == 1 for columns in starts)


def test_where_a_line_is_too_short_the_evidence_stands_below():
    receipt = Receipt("vco.csv", 212, (DRIVE, WAY, COUNTER, MOOD), **PLAIN)
    with within_columns(110):
        _, _, drive, evidence, *_ = str(receipt).splitlines()
    assert drive.rstrip().endswith("'300 mV' -> 0.3 ... '13900' -> 13.9")
    assert evidence == "      word 'set'"
    with within_columns(70):
        _, _, drive, evidence, *_ = str(receipt).splitlines()
    assert drive.rstrip().endswith("0.3 to 13.9 V")
    assert evidence == "      '300 mV' -> 0.3 ... '13900' -> 13.9  word 'set'"


def test_what_is_out_of_the_ordinary_is_told_with_its_evidence():
    receipt = Receipt(
        "log.csv", 3, (), encoding="UTF-16: byte order mark FF FE", separator="tab: in every row",
        decimal_mark="comma: in every number", start=datetime(2025, 3, 14, 9, 30),
        settings=(
            Setting("Sample interval", "0.5 s", 1, "time_s"), Setting("Probe", "10X", 0, "not applied"),
            *(Setting("Key", str(n), n) for n in range(3, 10)),
        ),
        notes=("a note",),
    )  # fmt: skip
    lines = str(receipt).splitlines()[1:]
    assert lines == [
        "  encoding: UTF-16: byte order mark FF FE",
        "  separator: tab: in every row",
        "  decimal mark: comma: in every number",
        "  first reading at 2025-03-14 09:30:00",
        "  settings used: Sample interval = 0.5 s (line 1: time_s)",
        "  settings: Probe = 10X (layout: not applied)",
        "  settings not used: Key = 3 (line 3); Key = 4 (line 4); Key = 5 (line 5); Key = 6 (line 6); Key = 7",
        "      (line 7); ... and 2 more",
        "  a note",
    ]
    assert "Key = 9 (line 9)" in receipt._repr_html_()


def test_only_what_is_out_of_the_ordinary_is_told():
    receipt = Receipt("log.csv", 3, (), encoding="UTF-8: no byte beyond", separator="tab: so", decimal_mark="point: so")
    assert str(receipt).splitlines()[1:] == ["  separator: tab: so"]


def test_a_column_that_no_heading_holds():
    column = ColumnReceipt("", "time_s", "s", "Sample interval 0.5 s", 3, 0.0, 1.0, "", 0.0, "", 1.0)
    line = str(Receipt("log.csv", 3, (column,))).splitlines()[1]
    assert line == "  (no heading)  -> time_s (s)  3  0 to 1 s  0 ... 1  Sample interval 0.5 s"


def test_a_terminal_is_not_commanded():
    receipt = Receipt("log.csv", 3, (), (RejectedRow(2, "\x1b[2J\tx\u202e", "text"),))
    assert str(receipt).splitlines()[1] == "  line 2 rejected, text: \ufffd[2J x\ufffd"


def test_a_long_list_is_shortened_in_the_text_and_whole_in_html():
    rejected = tuple(RejectedRow(n, f"{n},---", "over-range mark '---'") for n in range(10, 227))
    flagged = (FlaggedRow(7, "1,64.2?", "doubt '?'"),)
    receipt = Receipt("log.csv", 3, (DRIVE,), rejected, (), flagged)
    text, page = str(receipt), receipt._repr_html_()
    assert text.startswith("log.csv: 3 rows read, 217 rejected, 1 flagged\n")
    assert "line 14 rejected, over-range mark '---': 14,---\n  ... and 212 more\n" in text
    assert "line 15 " not in text
    assert "line 7 flagged, doubt '?': 1,64.2?" in text
    words = Tags(page).words
    assert all(f"{n},---" in words for n in range(10, 227))
    assert words.count("rejected") == 217
    assert words.count("flagged") == 1


def test_a_wide_row_is_cut_in_the_text_only():
    receipt = Receipt("log.csv", 3, (), (RejectedRow(9, "x" * 500, "summary"),))
    assert "x" * 80 + " ..." in str(receipt)
    assert "x" * 81 not in str(receipt)
    assert "x" * 500 in receipt._repr_html_()


def test_html_escapes_whatever_a_file_holds():
    nasty = "<script>alert('1')</script> & \x00 \"q\""
    column = ColumnReceipt(nasty, "drive_v", "V", nasty, 1, 1.0, 1.0, nasty, 1.0, nasty, 1.0)
    receipt = Receipt(nasty, 1, (column,), (RejectedRow(1, nasty, nasty),), (nasty,), (), nasty, nasty, nasty,
                      (Setting(nasty, nasty, 1, nasty),))  # fmt: skip
    page = receipt._repr_html_()
    assert "<script" not in page
    assert "\x00" not in page
    assert "<script>alert('1')</script> & \ufffd \"q\"" in Tags(page).words


def test_the_tables_can_be_read_aloud():
    # WCAG 2.2 techniques H39 (caption) and H63 (scope of table headers)
    tags = Tags(Receipt("log.csv", 1, (DRIVE, COUNTER), (RejectedRow(2, "x", "y"),))._repr_html_()).tags
    names = [tag for tag, _ in tags]
    assert names.count("table") == names.count("caption") == 2
    scopes = [attrs.get("scope") for tag, attrs in tags if tag == "th"]
    assert (scopes.count("col"), scopes.count("row")) == (8 + 4, 2 + 1)
    assert not {"script", "link", "img", "style"} & set(names)


def test_a_receipt_without_ranges_still_has_its_lines():
    column = ColumnReceipt("Drive (V)", "drive_v", "V", "word 'drive'")
    assert str(Receipt("a.csv", 2, (column,))) == (
        "a.csv: 2 rows read, 0 rejected\n  'Drive (V)'  -> drive_v (V)  word 'drive'"
    )
