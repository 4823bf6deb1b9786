"""The commands on kept calibrations and on many sessions, as a user types them."""

from __future__ import annotations

import argparse
import re
import shlex
import shutil
from dataclasses import replace

import pytest

from aotf_lab.__main__ import _parser, main
from aotf_lab.record import RecordFolder, save_record
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


def commands():
    """Return the parser of each command by its name."""
    (choices,) = (a.choices for a in _parser()._actions if isinstance(a, argparse._SubParsersAction))
    return choices


@pytest.mark.parametrize("name", list(commands()))
def test_each_command_says_what_it_does_what_it_writes_and_how_to_type_it(name):
    parser = commands()[name]
    assert len(parser.description.split()) > 15
    assert re.search(r"[Ww]rites?\b", parser.description)
    assert all(action.help for action in parser._actions)
    program, *typed = shlex.split(parser.epilog.removeprefix("example:"))
    assert (program, typed[0]) == ("aotf-lab", name)
    assert callable(_parser().parse_args(typed).run)  # what the example says can be typed


def test_the_folder_of_today_is_explained(capsys):
    with pytest.raises(SystemExit):
        main(["opening", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "TODAY session folder of today's few readings: a session.toml with the [session] name of the kept" in said
    assert "example: aotf-lab opening records today --keep" in said


@pytest.fixture
def scattered(tmp_path):
    """Return the demo's oscillator alone, every other reading 0.3 MHz off."""
    folder = tmp_path / "bench"
    folder.mkdir()
    text = (DEMO / "session.toml").read_text(encoding="utf-8")
    head = text[: text.index("[[file]]")]
    head = head[: head.index("[[line]]")] if "[[line]]" in head else head
    (folder / "session.toml").write_text(
        f'{head}\n[[file]]\npath = "vco_warm.csv"\npurpose = "oscillator"\n', encoding="utf-8"
    )
    rows = (DEMO / "vco_warm.csv").read_text(encoding="utf-8").splitlines()
    for k, row in enumerate(rows):
        cells = row.split(",")
        if k > 1 and k % 2:
            cells[3] = f"{float(cells[3]) + (0.3 if k % 4 == 1 else -0.3):.4f}"
        rows[k] = ",".join(cells)
    (folder / "vco_warm.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def test_a_failed_check_is_named_when_it_is_kept_and_when_it_is_used(records, scattered, tmp_path, capsys):
    kept = tmp_path / "kept"
    assert main(["keep", str(scattered), str(kept)]) == 0
    said = capsys.readouterr().out
    words = "the oscillator's calibration of 2026-03-16 was kept with a failed check, scatter: chi2 = "
    assert words in said
    assert "Look into this before you rely on what was kept." in said
    assert "oscillator_2026-03-16.json kept" in said
    (crystal,) = records.glob("crystal_2026-03-16.json")
    (kept / crystal.name).write_bytes(crystal.read_bytes())
    main(["opening", str(kept), str(DAY_120)])
    assert words in " ".join(capsys.readouterr().out.split())
    main(["opening", str(records), str(DAY_120)])  # nothing failed in the demo's own
    assert "failed check" not in capsys.readouterr().out


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


def test_folders_the_wrong_way_round_are_told(records, capsys):
    for wrong in (["keep", str(records), str(DEMO)], ["opening", str(DAY_120), str(records)]):
        assert main(wrong) == 1
        said = capsys.readouterr().err
        assert "a folder of kept calibrations in the place of a session; found oscillator_2026-03-16.json" in said
        assert "exchange the two folders" in said
    assert main(["drift", str(DAY_120)]) == 1
    assert "this is the folder of a session" in capsys.readouterr().err


def test_a_damaged_calibration_is_named_with_its_reason(records, tmp_path, capsys):
    for path in records.glob("*2026-03-16.json"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = (tmp_path / "oscillator_2026-03-16.json").read_text(encoding="utf-8")
    (tmp_path / "oscillator_2026-05-01.json").write_text(text[:3000], encoding="utf-8")
    for command in (["opening", str(tmp_path), str(DAY_120)], ["changed", "cable", "--records", str(tmp_path)]):
        assert main(command) == 0
        assert "cannot be used: oscillator_2026-05-01.json" in capsys.readouterr().out
    assert main(["drift", str(tmp_path)]) == 1
    assert "1 of the crystal; cannot be used: oscillator_2026-05-01.json" in capsys.readouterr().err


def test_two_benches_in_one_folder_are_told_apart_by_name(records, tmp_path, capsys):
    oscillator, crystal = (
        next(iter(found))
        for found in (RecordFolder(records).oscillators("Skerry"), RecordFolder(records).crystals("Skerry"))
    )
    for record in (oscillator, crystal):
        for name in ("Skerry", "Holm"):
            save_record(replace(record, name=name), tmp_path)
    assert main(["changed", "cable", "--records", str(tmp_path)]) == 1
    assert "calibrations of more than one oscillator; found Holm, Skerry" in capsys.readouterr().err
    assert main(["changed", "cable", "--records", str(tmp_path), "--name", "Holm"]) == 0
    assert main(["opening", str(tmp_path), str(DAY_120), "--name", "Holm", "--keep"]) == 0
    assert main(["drift", str(tmp_path), "--name", "Holm"]) == 0
    assert "Drift of the oscillator" in capsys.readouterr().out
