"""The template of a session, and writing whole or not at all."""

import math
import os
import re

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.reading import load_session_file, read_raw_file, write_template
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.session_file import PURPOSES
from aotf_lab.session import open_session

TWO_WAYS = (
    "the crystal is calibrated by the table of lines (lines.csv): the peaks in the scans of A are not used for it"
)


def test_the_template_opens_and_every_example_is_read(tmp_path):
    folder = tmp_path / "new" / "session"
    written = write_template(folder)
    assert sorted(p.name for p in written) == sorted(p.name for p in folder.iterdir())
    facts = load_session_file(folder)
    assert {f.purpose for f in facts.files} == set(PURPOSES) - {"keep"}
    assert facts.remarks == (TWO_WAYS,)
    for file in facts.files:
        readings = read_raw_file(file, facts.instruments)
        assert len(readings.table) >= 2
        assert readings.receipts[0].rejected == ()
        assert all(c.meaning for c in readings.receipts[0].columns)


def test_each_example_says_what_a_real_file_holds_as_the_fits_have_it(tmp_path):
    """The fewest readings that an example names are those that the error of its fit names."""
    write_template(tmp_path)
    assert "too short to compute from" in load_session_file(tmp_path).note
    session = open_session(tmp_path)
    asked = {}
    for error in session.troubles.values():
        fewest = re.match(r"(?:at least )?(\d+)(?: to \d+)?", error.allowed)
        where = error.where.split(":")[0]
        if fewest and (tmp_path / where).is_file():
            asked[where] = int(fewest[1])
    assert len(asked) >= 9
    for name, fewest in asked.items():
        told = (tmp_path / name).read_text("utf-8").splitlines()[1]
        assert re.match(rf"# a real one: (?:at least )?{fewest} ", told), (name, told, fewest)


def test_every_key_of_the_template_is_understood_once_uncommented(tmp_path):
    write_template(tmp_path)
    path = tmp_path / "session.toml"
    path.write_text(re.sub(r"(?m)^# (\w+ = [0-9.]+ *#|\w+ = [0-9.]+$)", r"\1", path.read_text("utf-8")), "utf-8")
    facts = load_session_file(tmp_path)
    assert facts.assumed == ()
    assert facts.crystal.rated_rf_power_w == 1.0
    assert (facts.amplifier.supply_a, facts.amplifier.rated_output_w) == (0.8, 2.0)
    assert facts.instruments.scope.input_ohm == 50.0
    # GUM (JCGM 100:2008) 4.3.7: a limit of +-5 ppm, equally likely within, has u = 5 / sqrt(3)
    assert facts.instruments.counter.time_base_ppm == pytest.approx(5 / math.sqrt(3), abs=0.05)


def test_pad_and_probe_are_asked_for(tmp_path):
    write_template(tmp_path)
    text = (tmp_path / "session.toml").read_text("utf-8")
    assert re.search(r"# pad_db = 30.0 +# state it, 0 when there is none", text)
    assert re.search(r"# probe = 1.0 +# state it, 1 when there is none", text)
    assert not load_session_file(tmp_path).instruments.power_scale_stated


def test_nothing_that_exists_is_overwritten(tmp_path):
    (tmp_path / "level.csv").write_text("mine", encoding="utf-8")
    message = r"a file of that name is already there; found 'level.csv'; allowed: a new folder"
    with pytest.raises(SessionError, match=message):
        write_template(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["level.csv"]
    assert (tmp_path / "level.csv").read_text(encoding="utf-8") == "mine"


def test_a_folder_with_raw_files_may_receive_a_template(tmp_path):
    (tmp_path / "vco_today.csv").write_text("drive_v,frequency_mhz\n1,46\n", encoding="utf-8")
    write_template(tmp_path)
    unused = "vco_today.csv lies in the folder but no [[file]] names it: not used"
    assert load_session_file(tmp_path).remarks == (unused, TWO_WAYS)


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    message = r"a folder that cannot be written; found Not a directory; allowed"
    with pytest.raises(SessionError, match=message):
        write_template(tmp_path / "file" / "below")


def test_a_failure_half_way_leaves_nothing_behind(tmp_path, monkeypatch):
    def full(source, target):
        if str(target).endswith("level.csv"):
            raise OSError(28, "No space left on device")
        os.rename(source, target)

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(SessionError, match=r"a folder that cannot be written; found No space left on device"):
        write_template(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_atomic_writing_replaces_and_keeps_line_ends(tmp_path):
    path = tmp_path / "report.html"
    write_text_atomically(path, "first\r\n")
    write_text_atomically(path, "Wellenl\u00e4nge\n")
    assert path.read_bytes() == "Wellenl\u00e4nge\n".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_atomic_writing_that_fails_keeps_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "report.html"
    path.write_text("old", encoding="utf-8")
    monkeypatch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError(5, "Input/output error")))
    with pytest.raises(OSError, match="Input/output error"):
        write_text_atomically(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]
