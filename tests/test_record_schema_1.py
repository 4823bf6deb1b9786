"""The older form of a kept calibration is read, and held to the same."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import covariance_matrix

from aotf_lab.errors import RecordError
from aotf_lab.record import CauseBook, CrystalRecord, OscillatorRecord, read_record, save_record

OLD_OSCILLATOR: dict[str, Any] = {
    "kind": "aotf_lab oscillator calibration", "schema": 1, "name": "Skerry", "measured": "2029-11-05",
    "drive_v": [1.0, 5.0, 9.0], "frequency_mhz": [45.0, 62.0, 77.0], "u_reading_mhz": 0.01,
    "covariance": [[1e-4, 2e-5, 0.0], [2e-5, 1e-4, 2e-5], [0.0, 2e-5, 1e-4]],
}  # fmt: skip
OLD_CRYSTAL: dict[str, Any] = {
    "kind": "aotf_lab crystal calibration", "schema": 1, "name": "Skerry", "measured": "2029-11-05",
    "wavelengths_nm": [450.0, 600.0], "frequency_mhz": [93.0, 62.5], "lines_nm": {"E": 589.12, "F": None},
    "peaks_mhz": {"E": 64.2}, "fwhm_mhz": {"E": 0.3},
    "covariance": [[4e-4, 0, 0, 0], [0, 4e-4, 0, 0], [0, 0, 1e-6, 0], [0, 0, 0, 1e-6]],
}  # fmt: skip


def test_schema_1_is_read(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text(json.dumps(OLD_OSCILLATOR))
    (tmp_path / "c.json").write_text(json.dumps(OLD_CRYSTAL))
    oscillator, crystal = read_record(tmp_path / "o.json"), read_record(tmp_path / "c.json")
    assert isinstance(oscillator, OscillatorRecord)
    assert isinstance(crystal, CrystalRecord)
    assert oscillator.frequency(5.0).n == pytest.approx(62.0)
    found = covariance_matrix(list(oscillator.frequency([1.0, 5.0, 9.0], CauseBook())))
    assert np.array(found) == pytest.approx(np.array(OLD_OSCILLATOR["covariance"]), abs=1e-12)
    assert not oscillator.numbers.causes
    assert not oscillator.checks
    assert crystal.peak("E").s == pytest.approx(1e-3)
    assert crystal.fwhm_mhz("E").n == 0.3
    assert np.isnan(crystal.lines["F"])
    again = read_record(save_record(oscillator, tmp_path))
    assert json.loads((tmp_path / "oscillator_2029-11-05.json").read_text())["schema"] == 2
    assert np.array_equal(again.numbers.covariance(), oscillator.numbers.covariance())


@pytest.mark.parametrize(
    ("covariance", "words"),
    [
        ([[1e-4, 0.0], [0.0, 1e-4]], r"covariance of a wrong size; found \(2, 2\); allowed: 3 rows of 3"),
        ([[1e-4, 0.0], [0.0]], "the covariance is not square; found 1; allowed: 2 numbers in each"),
        (
            [[1.0, 0.2, 0.0], [0.1, 1.0, 0.0], [0.0, 0.0, 1.0]],
            "row 1, column 2: the covariance is not symmetric; found 0.2",
        ),
        ([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "the covariance is indefinite.*a least eigenvalue of -1"),
    ],
)
def test_schema_1_is_held_to_the_same(covariance: list[list[float]], words: str, tmp_path: Path) -> None:
    """[[1, 2], [2, 1]] has the eigenvalues 3 and -1: a textbook example of an indefinite matrix."""
    (tmp_path / "o.json").write_text(json.dumps(OLD_OSCILLATOR | {"covariance": covariance}))
    with pytest.raises(RecordError, match=words):
        read_record(tmp_path / "o.json")
