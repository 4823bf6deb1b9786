"""Calibrations as files: back as they were, or refused with the reason."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import aotf_lab
from aotf_lab.errors import RecordError
from aotf_lab.estimation import Check
from aotf_lab.reading.source import SourceFile
from aotf_lab.record import (
    CrystalRecord,
    OscillatorRecord,
    StoredNumbers,
    Update,
    read_record,
    record_text,
    save_record,
)
from aotf_lab.session.keep import records_of
from tests.kept import changed_file, small_crystal, small_oscillator


def _full(record: OscillatorRecord) -> OscillatorRecord:
    return replace(
        record,
        conditions={"temperature_c": 22.4},
        coefficients={"mhz_per_k": (-0.044, 0.003)},
        made_of=(SourceFile("vco.csv", "ab" * 32, 1110),),
        versions={"numpy": "2.0"},
        checks=(Check("scatter", True, "fine"), Check("drift", False, "a \"drift\"; 3 µm", 0.1)),
        updates=(Update("2031-06-30", "moved", 0.115, 0.004),),
    )  # fmt: skip


_METERED = replace(small_oscillator(), u_gain=2e-3, u_offset_v=0.0, voltmeter="meter 2")


@pytest.mark.parametrize("record", [small_oscillator(), _full(small_oscillator()), _METERED, small_crystal()])
def test_what_is_read_is_what_was_written(record: OscillatorRecord | CrystalRecord, tmp_path: Path) -> None:
    back = read_record(save_record(record, tmp_path))
    assert type(back) is type(record)
    assert record_text(back) == record_text(record)
    assert back.numbers.names == record.numbers.names
    assert np.array_equal(back.numbers.values, record.numbers.values)
    assert np.array_equal(back.numbers.covariance(), record.numbers.covariance())
    for name in ("name", "measured", "checks", "updates", "made_of", "versions", "conditions", "coefficients"):
        assert getattr(back, name) == getattr(record, name)


def test_a_file_from_before_the_voltmeters_errors_is_read_and_written_as_it_was(tmp_path: Path) -> None:
    """The hash is that of the text as it was written when a calibration held no errors of its voltmeter."""
    path = save_record(small_oscillator(), tmp_path)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == (
        "5243e3880f111e7b63535d90ba5a00e38c5a3f350cb7da2b1011b28ff955cf3c"
    )
    back = read_record(path)
    assert isinstance(back, OscillatorRecord)
    assert (back.u_gain, back.u_offset_v, back.voltmeter) == (None, None, "")
    assert record_text(back).encode() == path.read_bytes()


def test_the_demos_calibrations_come_back_with_what_they_share(demo: aotf_lab.Session, tmp_path: Path) -> None:
    for record in records_of(demo, measured="2031-03-02"):
        back = read_record(save_record(record, tmp_path))
        assert np.array_equal(back.numbers.covariance(), record.numbers.covariance())
        assert record_text(back) == record_text(record)
        assert str(back) == str(record)


def test_the_file_is_plain_json_with_a_sha256_of_what_it_says() -> None:
    """RFC 8259 (JSON): read by Python's own reader; the hash is made here by hand."""
    text = record_text(_full(small_oscillator()))
    body = json.loads(text)
    said = json.dumps({k: v for k, v in body.items() if k != "sha256"}, separators=(",", ":"))
    assert body["sha256"] == hashlib.sha256(said.encode("ascii")).hexdigest()
    assert text.endswith("}\n")
    assert body["in_words"][0] == (
        "Calibration of the oscillator of Skerry, measured 2031-03-02, as of 2031-06-30, 1 check failed"
    )


def test_a_file_says_a_row_in_a_line_from_any_terminal(demo: aotf_lab.Session, monkeypatch: pytest.MonkeyPatch) -> None:
    _, crystal = records_of(demo, measured="2031-03-02")
    wide = record_text(crystal)
    monkeypatch.setenv("COLUMNS", "40")
    assert record_text(crystal) == wide
    words = json.loads(wide)["in_words"]
    assert len(words) == 1 + len(crystal.rows()) + len(crystal.updates) + len(crystal.failed)
    assert words[2].startswith("  line A          peak 93.2071(21) MHz, fwhm ")


def test_a_small_change_is_a_small_difference_between_files() -> None:
    first, second = _full(small_oscillator()), replace(_full(small_oscillator()), conditions={"temperature_c": 25.0})
    lines = [record_text(r).splitlines() for r in (first, second)]
    assert len(lines[0]) == len(lines[1])
    assert sum(a != b for a, b in zip(*lines, strict=True)) == 3  # the hash, the words, the number


def test_other_ends_of_lines_do_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "oscillator.json"
    path.write_bytes(b"\xef\xbb\xbf" + record_text(small_oscillator()).replace("\n", "\r\n").encode())
    assert read_record(path).name == "Skerry"


def test_damaged_bytes_never_pass(tmp_path: Path) -> None:
    """400 files, each cut short or with one byte changed: refused, or saying the same as before."""
    whole, rng, path = (
        record_text(_full(small_oscillator())).encode(),
        np.random.default_rng(3),
        tmp_path / "damaged.json",
    )
    refused = 0
    for case in range(400):
        content = bytearray(whole)
        if case % 4 == 0:
            content = content[: int(rng.integers(len(whole) - 2))]
        else:
            content[int(rng.integers(len(whole)))] = int(rng.integers(256))
        path.write_bytes(bytes(content))
        try:
            assert record_text(read_record(path)).encode() == whole
        except RecordError:
            refused += 1
    assert refused > 300


def _set(key: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(body: dict[str, Any]) -> None:
        place: Any = body
        *way, last = key.split("/")
        for step in way:
            place = place[int(step)] if isinstance(place, list) else place[step]
        place[int(last) if isinstance(place, list) else last] = value

    return change


_CHANGED: list[tuple[str, Any, str]] = [
    ("kind", "someone's calibration", r"o\.json: the file holds no calibration of an oscillator or a crystal; found k"),
    ("schema", 3, r"a schema that this version does not know; found 3; allowed: schema 1 to 2; read it with a newer"),
    ("schema", "two", "a schema that this version does not know; found 'two'"),
    ("schema", True, "a schema that this version does not know; found True"),
    ("schema", 0, "a schema that this version does not know; found 0"),
    ("name", 3, "'name' is of the wrong kind; found 3; allowed: text"),
    ("measured", "2031-3-2", "a date that is none; found '2031-3-2'"),
    ("updates/0/date", "20310302", "a date that is none; found '20310302'"),
    ("drive_v", [0.0, 2.0, 1.0, 6.0, 8.0, 10.0], "drive_v are no knots of a curve; found 0, 2, 1"),
    ("drive_v", [0.0, 1.0], "not one number for each knot; found 6; allowed: 2"),
    ("drive_v", [0.0, "x"], "'drive_v' is of the wrong kind; found 'x'; allowed: a number"),
    ("drive_v", [float(k) for k in range(9)], "fewer numbers than knots; found 6; allowed: at least 9"),
    ("u_reading_mhz", 0.0, "scatter or coverage factor not above zero"),
    ("coverage_factor", None, "'coverage_factor' is of the wrong kind; found None; allowed: a number"),
    ("u_gain", 0.002, "half of the voltmeter's errors; found u_gain without u_offset_v; allowed: both, or neither"),
    ("u_offset_v", 0.002, "half of the voltmeter's errors; found u_offset_v without u_gain"),
    ("u_gain", -0.002, "u_gain of the voltmeter cannot be; found -0\\.002; allowed: zero or more, or none"),
    ("u_offset_v", "2 mV", "'u_offset_v' is of the wrong kind; found '2 mV'; allowed: a number"),
    ("voltmeter", 2, "'voltmeter' is of the wrong kind; found 2; allowed: text"),
    ("numbers", [], "'numbers' is of the wrong kind"),
    ("numbers/values/frequency at 2 V", -1.0, "a frequency that is not above zero; found -1"),
    ("numbers/values/frequency at 2 V", 99.0, "the frequency does not rise with the voltage; found 59.2 MHz after 99"),
    ("numbers/values/frequency at 2 V", 10**400, "numbers not finite; found inf"),
    ("numbers/causes/counter time base", [1e-3], "effects of cause 'counter time base' of a wrong length; found 1"),
    ("numbers/rest_to_diagonal/2", [0.0], "a row of the covariance of a wrong length; found 1; allowed: 3 numbers"),
    ("numbers/rest_to_diagonal/2/2", -1e-6, "a variance below zero; found -1e-06"),
    ("numbers/rest_to_diagonal/1/0", 1.0, "the covariance is indefinite: some sum of these numbers would have"),
    ("numbers/rest_to_diagonal", [[1e-6]], r"covariance of a wrong size; found \(1, 1\); allowed: 6 rows of 6"),
    ("coefficients/mhz_per_k", [1.0], "'coefficients, mhz_per_k'; found 1; allowed: two numbers"),
    ("conditions/temperature_c", None, "conditions not finite; found nan"),
    ("made_of/0/size_bytes", 1.5, "'size_bytes'; found 1.5; allowed: a whole number"),
    ("checks/0/passed", "yes", r"checks 1: 'passed' is of the wrong kind; found 'yes'; allowed: true or false"),
    ("checks/0", "fine", "'checks, entry 1' is of the wrong kind; found 'fine'; allowed: a table"),
    ("versions/numpy", 2, "'versions, numpy' is of the wrong kind; found 2; allowed: text"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value", "words"), _CHANGED)
def test_a_file_that_says_what_cannot_be(key: str, value: Any, words: str, tmp_path: Path) -> None:
    path = changed_file(_full(small_oscillator()), tmp_path / "o.json", _set(key, value))
    with pytest.raises(RecordError, match=words):
        read_record(path)


_CRYSTAL: list[tuple[str, Any, str]] = [
    ("wavelengths_nm", [450.0, 500.0, 550.0, 600.0, 500.0], "wavelengths_nm are no knots of a curve"),
    ("numbers/values/tuning 500.00 nm", 99.0, "the frequency does not fall with wavelength; found 99 MHz after 86"),
    ("lines_nm/X", -5.0, "wavelength of line X; found -5; allowed: a wavelength above zero in nm, or none"),
    ("rated_rf_power_w", -1.0, "rated_rf_power_w cannot be; found -1"),
    ("anchored_nm", [450.0], "'anchored_nm'; found 1; allowed: two numbers"),
]


@pytest.mark.parametrize(("key", "value", "words"), _CRYSTAL)
def test_a_crystals_file_that_says_what_cannot_be(key: str, value: Any, words: str, tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=words):
        read_record(changed_file(small_crystal(), tmp_path / "c.json", _set(key, value)))


def test_a_number_changed_by_hand(tmp_path: Path) -> None:
    change = _set("numbers/values/frequency at 2 V", 49.81)
    path = changed_file(small_oscillator(), tmp_path / "o.json", change, hashed=False)
    with pytest.raises(RecordError, match=r"o\.json: the file was changed after it was written: its hash does not fit"):
        read_record(path)


def test_a_missing_key(tmp_path: Path) -> None:
    path = changed_file(small_oscillator(), tmp_path / "o.json", lambda body: body.pop("drive_v"))
    with pytest.raises(RecordError, match="'drive_v' is missing; found kind, schema"):
        read_record(path)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", r"o\.json: the file is empty; found no text"),
        (b" \n", "the file is empty"),
        (b"\xff\xfe{", "the file is not text in UTF-8; found byte 0xff at 0"),
        (b'{\n "kind": ', r"o\.json:2: the file is no whole JSON; found Expecting value"),
        (b'<<<<<<< ours\n{}', r"o\.json:1: the file is no whole JSON"),
        (b"[1, 2]", "the file holds no calibration of an oscillator or a crystal; found a list"),
        (b"{}", "the file holds no calibration of an oscillator or a crystal; found no kind"),
        (b'{"kind": 1, "kind": 2}', "a key that stands twice; found 'kind'"),
        (b'{"u": NaN}', "a number that is none; found 'NaN'; allowed: finite numbers"),
        (b'{"u": [-Infinity]}', "a number that is none; found '-Infinity'"),
        (b"[" * 200_000, "the file is no whole JSON; found RecursionError"),
    ],
)  # fmt: skip
def test_no_calibration_at_all(content: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / "o.json").write_bytes(content)
    with pytest.raises(RecordError, match=words):
        read_record(tmp_path / "o.json")


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"none\.json: the file cannot be read; found No such file"):
        read_record(tmp_path / "none.json")


def test_an_unsound_calibration_is_not_written(tmp_path: Path) -> None:
    record, rest = small_oscillator(), small_oscillator().numbers.rest.copy()
    rest[1, 2] += 1e-6
    crooked = StoredNumbers(record.numbers.names, record.numbers.values, {}, rest)
    with pytest.raises(
        RecordError, match=r"the covariance is not symmetric; found .* and .*; allowed: the same number"
    ):
        save_record(replace(record, numbers=crooked), tmp_path)
    twice = StoredNumbers(("a",) * 6, record.numbers.values, {}, record.numbers.rest)
    with pytest.raises(RecordError, match="two numbers of one name"):
        save_record(replace(record, numbers=twice), tmp_path)
    short = StoredNumbers(record.numbers.names, record.numbers.values[:5], {}, record.numbers.rest)
    with pytest.raises(RecordError, match="not one value for each name; found 5; allowed: 6 values"):
        save_record(replace(record, numbers=short), tmp_path)
    assert not list(tmp_path.iterdir())
