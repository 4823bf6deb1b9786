"""A layout as a file: written, edited by hand, read again."""

import tomllib

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import SEPARATORS, Layout, StatedColumn
from aotf_lab.reading.layout_file import layout_from_bytes, load_layout, write_layout
from aotf_lab.reading.layout_text import layout_text
from tests.house import ROOT
from tests.test_reading_gallery import READERS

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
UNITS = st.sampled_from(["", "mV", "MHz", "uW", "°C", "Vpp", "%"])
COLUMNS = st.sampled_from(["drive_v", "u_drive_v", "frequency_mhz", "direction", "label", "time_s", "not_used"])


@st.composite
def layouts(draw):
    decimal_mark = draw(st.none() | st.sampled_from([".", ","]))
    marks = [m for m in ("", " ", ",", ".", "'", "\u2009", "\u202f", "\u00a0") if m != decimal_mark or not m]
    stated = st.builds(StatedColumn, st.lists(TEXT, min_size=1, max_size=3).map(tuple), UNITS)
    return Layout(
        draw(st.none() | st.sampled_from(["utf-8", "utf-16-le", "latin-1", "cp1252"])),
        draw(st.none() | st.sampled_from(sorted(SEPARATORS))),
        decimal_mark,
        draw(st.none() | st.sampled_from(marks)),
        draw(st.none() | st.integers(0, 10**7)),
        draw(st.none() | st.integers(0, 10**7)),
        draw(st.none() | st.sampled_from(["day first", "month first", "year first"])),
        draw(st.dictionaries(st.integers(1, 10**7), TEXT, max_size=4)),
        draw(st.dictionaries(COLUMNS, stated, max_size=4)),
        draw(st.dictionaries(TEXT, TEXT, max_size=4)),
    )


@given(layouts())
def test_what_was_written_is_what_is_read(layout):
    assert layout_from_bytes("a.layout.toml", layout_text(layout).encode()) == layout


@given(layouts())
def test_windows_line_ends_change_nothing(layout):
    text = layout_text(layout).replace("\n", "\r\n")
    assert layout_from_bytes("a.layout.toml", b"\xef\xbb\xbf" + text.encode()) == layout


def test_every_key_stands_there_with_a_comment_and_an_example_that_is_understood():
    lines = layout_text(Layout()).splitlines()
    keys = [line for line in lines if line.startswith("# ") and " = " in line and line.count("#") == 2]
    assert [line.split()[1] for line in keys] == [
        "encoding", "separator", "decimal_mark", "thousands_mark", "heading_line", "units_line", "date_order"
    ]  # fmt: skip
    text = "\n".join(line.removeprefix("# ") for line in keys)
    assert layout_from_bytes("a.layout.toml", text.encode()) == Layout("utf-8", "comma", ".", "", 1, 0, "day first")
    assert set(tomllib.loads(layout_text(Layout()))) == {"skip_lines", "columns", "settings"}


def test_written_by_hand(tmp_path):
    (tmp_path / "counter.layout.toml").write_text(
        """
        decimal_mark = ","
        heading_line = 4
        skip_lines = { 17 = "shutter closed" }
        [columns]
        frequency_mhz = "f"
        drive_v = { headings = ["Set", "Set 2"], unit = "mV" }
        not_used = ["Note", ""]
        [settings]
        "Sample interval" = "0.5 s"
        """,
        encoding="utf-8",
    )
    assert load_layout(tmp_path / "counter.layout.toml") == Layout(
        decimal_mark=",", heading_line=4, skip_lines={17: "shutter closed"},
        columns={
            "frequency_mhz": StatedColumn(("f",)),
            "drive_v": StatedColumn(("Set", "Set 2"), "mV"),
            "not_used": StatedColumn(("Note", "")),
        },
        settings={"Sample interval": "0.5 s"},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("decimal = ','", r"^a.layout.toml: decimal: unknown key; found ','; .*; write decimal_mark if that is meant"),
        ("decimal_mark = ';'", r"^a.layout.toml: decimal_mark: not one of the words .* found ';'; allowed: \., ,"),
        ("separator = 'semicolons'", r"separator: .* found 'semicolons'; .*; write \"semicolon\" if that is meant"),
        ("encoding = 'rot13'", r"encoding: no encoding of that name; found 'rot13'; allowed: the name of a text enc"),
        ("encoding = 'utf-88'", r"encoding: no encoding of that name; found 'utf-88'; allowed: the name of a text enc"),
        ("thousands_mark = '00'", r"thousands_mark: no mark between groups of digits; found '00'; allowed: \"\" for n"),
        ("thousands_mark = ','\ndecimal_mark = ','", r"thousands_mark: no mark between groups of digits; found ','"),
        ("heading_line = -1", r"heading_line: not such a number; found -1; allowed: a whole number of at least 0"),
        ("heading_line = true", r"heading_line: not such a number; found True; allowed: a whole number of at least 0"),
        ("units_line = 2.5", r"units_line: not such a number; found 2.5; allowed: a whole number of at least 0"),
        ("date_order = 'day'", r"date_order: .* found 'day'; allowed: day first, month first, year first"),
        ("[skip_lines]\n0 = 'x'", r"^a.layout.toml \[skip_lines\]: 0: not the number of a line; found 'x'; allowed"),
        ("[skip_lines]\n017 = 'x'", r"\[skip_lines\]: 017: not the number of a line; found 'x'; allowed: whole numb"),
        ("[skip_lines]\n17 = 3", r"\[skip_lines\]: 17: not a text; found 3; allowed: text in"),
        ("skip_lines = [17]", r"\[skip_lines\]: a value where a section belongs; found '\[17\]'; .*'aotf-lab layout'"),
        ("[columns]\ndrive = 'x'", r"\[columns\]: drive: something that no column can mean; found 'x'; .*drive_v"),
        ("[columns]\nu_label = 'x'", r"\[columns\]: u_label: something that no column can mean; found 'x'; allowed"),
        ("[columns]\ndrive_v = 5", r"\[columns\]: drive_v: not a text, nor a list of texts; found 5; allowed: text in"),
        ("[columns]\ndrive_v = []", r"\[columns\]: drive_v: not a text, nor a list of texts; found \[\]; allowed"),
        ("[columns.drive_v]\nheadings = 'x'\nunit = 'mv'", r"\[columns.drive_v\]: unit: ambiguous unit: m is milli"),
        ("[columns.drive_v]\nheading = 'x'", r"\[columns.drive_v\]: headings: missing; found no such key; allowed"),
        ("[settings]\nprobe = 10", r"\[settings\]: probe: not a text; found 10; allowed: text in"),
        ("encoding = 'utf-8'\nseparator comma", r"^a.layout.toml:2: not TOML: .*; found 'separator comma'; allowed"),
        ("x = " + "9" * 5000, r"^a.layout.toml: not TOML: .*; found the end of the file; allowed: lines such as"),
    ],
)  # fmt: skip
def test_what_is_refused(text, message):
    with pytest.raises(ReadingError, match=message):
        layout_from_bytes("a.layout.toml", text.encode())


def test_bytes_that_are_no_text():
    with pytest.raises(ReadingError, match=r"a.layout.toml:2: text that is not UTF-8; found byte 0xff; allowed: UTF-8"):
        layout_from_bytes("a.layout.toml", b"# one\n\xff")


def test_a_layout_that_is_not_there(tmp_path):
    message = r"none.layout.toml: a layout that cannot be opened; found No such file or directory; .*'aotf-lab layout"
    with pytest.raises(ReadingError, match=message):
        load_layout(tmp_path / "none.layout.toml")


def test_a_layout_replaces_a_layout_and_nothing_else(tmp_path):
    path = tmp_path / "a.layout.toml"
    write_layout(path, Layout(separator="tab"))
    write_layout(path, Layout(separator="bar"))
    assert load_layout(path) == Layout(separator="bar")
    path.write_text("Drive (V),Frequency (MHz)\n1,46\n", encoding="utf-8")
    message = r"a.layout.toml: a layout would overwrite what is no layout; found a.layout.toml:1: not TOML"
    with pytest.raises(ReadingError, match=message):
        write_layout(path, Layout())
    assert path.read_text(encoding="utf-8").startswith("Drive")
    assert [p.name for p in tmp_path.iterdir()] == ["a.layout.toml"]


def test_a_name_that_could_be_a_raw_file(tmp_path):
    message = r"a layout under a name that could be a raw file's; found 'vco.csv'; .*; write it to vco.layout.toml"
    with pytest.raises(ReadingError, match=message):
        write_layout(tmp_path / "vco.csv", Layout())
    assert list(tmp_path.iterdir()) == []


def test_a_layout_that_could_not_be_read_again_is_not_written(tmp_path):
    with pytest.raises(ReadingError, match=r"a.layout.toml: separator: .* found 'dots'"):
        write_layout(tmp_path / "a.layout.toml", Layout(separator="dots"))
    with pytest.raises(ReadingError, match=r"a.layout.toml:\d+: not TOML"):
        write_layout(tmp_path / "a.layout.toml", Layout(settings={"probe": "\ud800"}))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there(tmp_path):
    message = r"a.layout.toml: a layout that cannot be written; found No such file or directory; allowed: a folder"
    with pytest.raises(ReadingError, match=message):
        write_layout(tmp_path / "none" / "a.layout.toml", Layout())


GALLERY = ROOT / "tests" / "gallery"
READABLE = [
    (entry["file"], entry["purpose"])
    for entry in (tomllib.loads(p.read_text(encoding="utf-8")) for p in sorted(GALLERY.glob("*.toml")))
    if not {"error", "layout"} & set(entry)
]
"""Files that state enough to be read without a layout, and what they are for."""


@pytest.mark.parametrize(("name", "purpose"), READABLE)
def test_the_layout_that_was_found_reads_the_file_again(name, purpose, tmp_path):
    read = READERS[purpose]
    readings = read(GALLERY / name)
    file = tmp_path / "found.layout.toml"
    write_layout(file, readings.receipts[0].layout)
    assert load_layout(file) == readings.receipts[0].layout
    pd.testing.assert_frame_equal(read(GALLERY / name, layout=load_layout(file)).table, readings.table)
