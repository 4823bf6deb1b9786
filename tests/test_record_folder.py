"""The history: nothing is overwritten, nothing unreadable stops it."""

from __future__ import annotations

import errno
import multiprocessing
import os
from dataclasses import replace
from multiprocessing.synchronize import Barrier
from pathlib import Path

import pytest

from aotf_lab.errors import RecordError
from aotf_lab.reading.source import SourceFile
from aotf_lab.record import OscillatorRecord, RecordFolder, Update, read_record, save_record
from tests.kept import small_crystal, small_oscillator

_EACH = 12


def _save_many(folder: str, first: int, start: Barrier) -> None:
    start.wait()
    for k in range(first, first + _EACH):
        save_record(small_oscillator(moved_mhz=0.001 * k), folder)


def test_two_writers_at_once_both_survive(tmp_path: Path) -> None:
    spawned = multiprocessing.get_context("spawn")
    start = spawned.Barrier(2)
    writers = [spawned.Process(target=_save_many, args=(str(tmp_path), k * _EACH, start)) for k in range(2)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(120)
    assert [writer.exitcode for writer in writers] == [0, 0]
    folder = RecordFolder(tmp_path)
    assert not folder.troubles
    moved = {round(1e3 * (r.numbers.values[0] - 40.0)) for r in folder.oscillators()}
    assert moved == set(range(2 * _EACH))
    assert len(list(tmp_path.iterdir())) == 2 * _EACH  # no temporary file is left


def test_names_by_date_and_the_second_of_a_day(tmp_path: Path) -> None:
    names = [save_record(small_oscillator(moved_mhz=0.1 * k), tmp_path).name for k in range(3)]
    assert names == ["oscillator_2031-03-02.json", "oscillator_2031-03-02_2.json", "oscillator_2031-03-02_3.json"]
    assert save_record(small_crystal(), tmp_path).name == "crystal_2031-03-02.json"
    renewed = replace(small_crystal(), updates=(Update("2031-06-30", "line X read again", 0.001, 0.002),))
    assert save_record(renewed, tmp_path).name == "crystal_2031-06-30.json"


def test_the_same_is_not_written_twice(tmp_path: Path) -> None:
    assert save_record(small_oscillator(), tmp_path) == save_record(small_oscillator(), tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


def test_nothing_is_overwritten_whatever_stands_there(tmp_path: Path) -> None:
    taken = tmp_path / "oscillator_2031-03-02.json"
    taken.write_text("notes of mine")
    assert save_record(small_oscillator(), tmp_path).name == "oscillator_2031-03-02_2.json"
    assert taken.read_text() == "notes of mine"


def test_a_file_system_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", no_links)
    paths = [save_record(small_oscillator(moved_mhz=0.1 * k), tmp_path) for k in range(2)]
    assert [p.name for p in paths] == ["oscillator_2031-03-02.json", "oscillator_2031-03-02_2.json"]
    assert sorted(tmp_path.iterdir()) == sorted(paths)
    assert [round(read_record(p).numbers.values[0], 3) for p in paths] == [40.0, 40.1]


def test_a_failed_write_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        save_record(small_oscillator(), tmp_path)
    assert not list(tmp_path.iterdir())


def test_history_and_latest(tmp_path: Path) -> None:
    for day in ("2031-06-30", "2030-12-24", "2031-03-02"):
        save_record(small_oscillator(measured=day), tmp_path)
    for k in range(11):
        save_record(small_oscillator("Holm", "2031-06-30", 0.1 * k), tmp_path)
    save_record(small_crystal(), tmp_path)
    folder = RecordFolder(tmp_path)
    assert [r.measured for r in folder.oscillators("Skerry")] == ["2030-12-24", "2031-03-02", "2031-06-30"]
    assert folder.latest_oscillator("Skerry").measured == "2031-06-30"
    assert folder.latest_oscillator("Holm").numbers.values[0] == pytest.approx(41.0)  # the twelfth of its day
    with pytest.raises(RecordError, match="calibrations of more than one oscillator; found Holm, Skerry; allowed: one"):
        folder.latest_oscillator()
    assert folder.latest_crystal().part == "crystal"
    renewed = replace(folder.oscillators()[0], updates=(Update("2032-01-01", "checked"),))
    save_record(renewed, tmp_path)
    latest = RecordFolder(tmp_path).latest_oscillator("Skerry")
    assert isinstance(latest, OscillatorRecord)
    assert (latest.measured, latest.as_of) == ("2030-12-24", "2032-01-01")


def test_unreadable_files_are_named_and_skipped(tmp_path: Path) -> None:
    save_record(small_oscillator(), tmp_path)
    (tmp_path / "crystal_2031-03-02.json").write_text('{"kind": ')
    (tmp_path / "settings.json").write_text("{}")
    (tmp_path / "README.md").write_text("our bench")
    folder = RecordFolder(tmp_path)
    assert sorted(folder.troubles) == ["crystal_2031-03-02.json", "settings.json"]
    assert len(folder.files) == 1
    text = str(folder)
    assert "oscillator_2031-03-02.json  Calibration of the oscillator of Skerry, measured 2031-03-02" in text
    assert "cannot be used: crystal_2031-03-02.json:1: the file is no whole JSON" in text
    assert "<caption>Calibrations in" in folder._repr_html_()
    with pytest.raises(RecordError, match=r"no calibration of the crystal; found 1 calibrations, of Skerry; cannot be"):
        folder.latest_crystal()
    with pytest.raises(RecordError, match="no calibration of the oscillator of Holm; found 1 calibrations, of Skerry"):
        folder.latest_oscillator("Holm")
    with pytest.raises(RecordError, match=r"cannot be used: crystal_2031-03-02\.json:1: the file is no whole JSON"):
        folder.latest_crystal()


def test_a_calibration_that_holds_the_readings_is_passed_over(tmp_path: Path) -> None:
    first, second = (SourceFile(f"{name}.csv", name, 1) for name in ("sweep", "check"))
    made = replace(small_oscillator(), made_of=(first,))
    renewed = replace(made, updates=(Update("2031-04-01", "checked", made_of=(second,)),))
    for record in (made, renewed):
        save_record(record, tmp_path)
    folder = RecordFolder(tmp_path)
    assert folder.latest_oscillator().updates == renewed.updates
    assert folder.latest_oscillator(without=[second]).updates == ()
    assert renewed.holds([second, SourceFile("other.csv", "other", 1)]) == (second,)
    with pytest.raises(RecordError, match=r"older than these readings; found sweep\.csv, of which the oldest was made"):
        folder.latest_oscillator(without=[first])


def test_a_file_or_a_session_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("ours")
    with pytest.raises(RecordError, match="notes: no folder to keep a calibration in; found a file of that name"):
        save_record(small_oscillator(), tmp_path / "notes")
    (tmp_path / "session.toml").write_text("")
    with pytest.raises(RecordError, match="this is the folder of a session: keep its calibrations in a folder of"):
        RecordFolder(tmp_path).latest_oscillator()


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="nowhere: no folder of calibrations; found no such folder"):
        RecordFolder(tmp_path / "nowhere")
