"""A file that cannot be read: as much of its layout as it decides, to be finished by hand until it reads."""

import re
import tomllib

import pytest

from aotf_lab.__main__ import main
from aotf_lab.errors import ReadingError
from aotf_lab.reading import load_layout, read_table
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.layout_draft import draft_layout

TORN = "Drive (V),Frequency (MHz),Power\n1,5,48,25\n2,5,51,25\n3,5,54,75\n"
GROUPS = "Drive (V);Frequency (MHz)\n1,500;48,250\n2,500;51,250\n"
STRANGE = "Set;Foo\n1.5;48.25\n2.5;51.25\n"
TWICE = "Drive (V),Frequency (MHz),Frequency (kHz)\n1.5,48.25,48251\n2.5,51.25,51251\n"


@pytest.fixture
def written(tmp_path, capsys):
    """Return a function: text -> (the path of the raw file, the error shown, the path of the layout)."""

    def write(text, *options):
        raw, out = tmp_path / "a.csv", tmp_path / "a.layout.toml"
        raw.write_bytes(text if isinstance(text, bytes) else text.encode())
        assert main(["layout", str(raw), "--out", str(out), *options]) == 1
        return raw, capsys.readouterr(), out

    return write


def finished(out, *changes):
    """Edit the draft as a person would: each change is (what stands there, what is to stand there)."""
    text = out.read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    out.write_text(text, "utf-8")
    return load_layout(out)


@pytest.mark.parametrize(
    "text", [TORN, GROUPS, STRANGE, TWICE, "", "words only\nand more\n", "a\x07b\n1\n", b"\xff\xfe1"]
)
def test_whatever_keeps_a_file_from_being_read_stands_in_a_draft_that_changes_nothing(written, text):
    raw, shown, out = written(text)
    with pytest.raises(ReadingError, match=r"found .*; allowed: ") as caught:
        read_table(raw)
    assert f"{out} written, NOT FINISHED" in shown.out
    assert str(caught.value) in shown.out
    draft = out.read_text("utf-8")
    assert draft.startswith("# NOT FINISHED: the file cannot be read with this layout yet.\n# a.csv")
    assert all(line.isprintable() for line in draft.splitlines())
    assert tomllib.loads(draft)["columns"] == {}
    with pytest.raises(ReadingError, match=re.escape(caught.value.what)):
        read_table(raw, layout=load_layout(out))


def test_more_cells_than_headings(written):
    # by hand: decimal commas between commas, so each number is torn; whole volts and whole megahertz can be had
    raw, _, out = written(TORN)
    draft = out.read_text("utf-8")
    assert "#   line 2: 1,5,48,25\n" in draft
    assert "4 cells below 3 headings" in draft.splitlines()[1]
    assert load_layout(out) == Layout("UTF-8")
    assert '# separator = "comma"' in draft
    assert "# heading_line = 1 " in draft
    layout = finished(
        out, ('# separator = "comma"', 'separator = "comma"'), ("# heading_line = 1 ", "heading_line = 0 "),
        ('# drive_v = "Drive (V)"', 'drive_v = { headings = "column 1", unit = "V" }'),
        ('# frequency_mhz = "Frequency (MHz)"', 'frequency_mhz = { headings = "column 3", unit = "MHz" }'),
        ('# ... = "Power"', 'not_used = ["column 2", "column 4"]'), ('"UTF-8" ', '"UTF-8"\nskip_lines = {1 = "torn"}'),
        ("[skip_lines]", ""),
    )  # fmt: skip
    assert read_table(raw, layout=layout).table["frequency_mhz"].tolist() == [48.0, 51.0, 54.0]


def test_a_decimal_mark_in_doubt(written):
    raw, _, out = written(GROUPS)
    assert load_layout(out) == Layout("UTF-8", "semicolon", heading_line=1, units_line=0)
    read = read_table(raw, layout=finished(out, ('# decimal_mark = "."', 'decimal_mark = ","')))
    assert read.table["frequency_mhz"].tolist() == [48.25, 51.25]


def test_headings_that_say_nothing(written):
    raw, _, out = written(STRANGE)
    layout = finished(
        out, ('# ... = "Set"', 'drive_v = { headings = "Set", unit = "V" }'),
        ('# ... = "Foo"', 'frequency_mhz = { headings = "Foo", unit = "MHz" }'),
    )  # fmt: skip
    assert layout.decimal_mark == "."
    assert read_table(raw, layout=layout).table["drive_v"].tolist() == [1.5, 2.5]


def test_two_columns_of_one_meaning(written):
    raw, _, out = written(TWICE)
    layout = finished(out, ('# frequency_mhz = "Frequency (kHz)"', 'frequency_mhz = "Frequency (kHz)"'))
    assert read_table(raw, layout=layout).table["frequency_mhz"].tolist() == [48.251, 51.251]


def test_a_purpose_that_the_file_does_not_serve(written):
    _, shown, out = written("Drive (V),Note\n1.5,a\n2.5,b\n", "--purpose", "oscillator")
    assert "no column that means frequency_mhz" in shown.out
    assert load_layout(out).heading_line == 1


def test_what_no_layout_cures_gets_none(written, tmp_path):
    _, shown, out = written(b"\x89PNG\r\n\x1a\n0000")
    assert "a PNG image" in shown.err
    assert not out.exists()
    with pytest.raises(ReadingError, match="a PNG image, not a table of text"):
        draft_layout(tmp_path / "a.csv")
