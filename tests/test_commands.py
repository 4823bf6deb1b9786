"""The commands on kept calibrations and on many sessions, as a user types them."""

from __future__ import annotations

import shutil

import pytest

from aotf_lab.__main__ import main
from aotf_lab.record import RecordFolder
from tests.conftest import DEMO

DAY_120 = DEMO.parent / "skerry_day120"


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    folder = tmp_path_factory.mktemp("records")
    assert main(["keep", str(DEMO), str(folder)]) == 0
    return folder


def test_keep_writes_both_calibrations_by_the_day_of_the_session(records, capsys):
    assert sorted(p.name for p in records.glob("*2026-03-16.json")) == [
        "crystal_2026-03-16.json", "oscillator_2026-03-16.json"
    ]  # fmt: skip
    assert main(["keep", str(DEMO), str(records)]) == 0
    assert "oscillator_2026-03-16.json kept" in capsys.readouterr().out
    assert len(RecordFolder(records).oscillators()) == 1


def test_opening_says_what_moved_and_keeps_it_when_asked(records, tmp_path, capsys):
    for path in records.glob("*2026-03-16.json"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    assert main(["opening", str(tmp_path), str(DAY_120)]) == 0
    said = capsys.readouterr().out
    assert "moved by +" in said
    assert not list(tmp_path.glob("*2026-07-14.json"))
    assert main(["opening", str(tmp_path), str(DAY_120), "--keep"]) == 0
    assert len(list(tmp_path.glob("*2026-07-14.json"))) == 2
    assert main(["drift", str(tmp_path)]) == 0
    assert "Drift of the oscillator" in capsys.readouterr().out


def test_drift_of_one_day_is_refused_in_words(records, tmp_path, capsys):
    path = next(records.glob("oscillator_2026-03-16.json"))
    (tmp_path / path.name).write_bytes(path.read_bytes())
    assert main(["drift", str(tmp_path)]) == 1
    assert "keep a second calibration on another day" in capsys.readouterr().err


def test_changed_names_the_files_where_they_are_kept(records, capsys):
    assert main(["changed", "amplifier"]) == 0
    assert "vco_warm.csv" not in capsys.readouterr().out
    assert main(["changed", "amplifier", "--records", str(records)]) == 0
    assert "vco_warm.csv" in capsys.readouterr().out


def test_an_unknown_part_is_refused(capsys):
    assert main(["changed", "tripod"]) == 1
    assert "no such part of a bench; found 'tripod'; allowed: oscillator" in capsys.readouterr().err


def test_compare_puts_sessions_side_by_side(tmp_path, capsys):
    out = tmp_path / "table.csv"
    folders = [str(DAY_120), str(DEMO.parent / "skerry_day410"), str(tmp_path / "nowhere")]
    assert main(["compare", *folders, "--jobs", "1", "--out", str(out)]) == 0
    assert "nowhere" in capsys.readouterr().out
    assert out.read_text(encoding="utf-8").count("\n") >= 3


def test_compare_of_nothing_usable_fails(tmp_path, capsys):
    assert main(["compare", str(tmp_path / "nowhere"), "--jobs", "1"]) == 1
    assert "nowhere" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("wrong", "words"), [(["--out", "table.txt"], r"the allowed ending is \.csv"), (["--jobs", "0"], "1 or more")]
)
def test_compare_asked_wrongly(wrong, words, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["compare", str(DAY_120), *wrong])
    assert words.replace("\\", "") in capsys.readouterr().err


def test_compare_replaces_no_raw_file_and_asks_for_the_folder_first(tmp_path, monkeypatch, capsys):
    session = tmp_path / "session"
    shutil.copytree(DAY_120, session)
    before = (session / "vco_check.csv").read_bytes()
    monkeypatch.setattr("aotf_lab.session.many.compare.compare", lambda *_, **__: pytest.fail("worked before asking"))
    folders = ["compare", str(tmp_path / "nowhere"), str(session)]
    assert main([*folders, "--out", str(session / "vco_check.csv")]) == 1
    assert "an output would overwrite a file of the session" in capsys.readouterr().err
    assert (session / "vco_check.csv").read_bytes() == before
    assert main([*folders, "--out", str(tmp_path / "none" / "table.csv")]) == 1
    assert "no such folder for an output" in capsys.readouterr().err
