"""Set-points from kept calibrations: those of the session, and nothing of the time base."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from uncertainties import correlation_matrix, ufloat

import aotf_lab
from aotf_lab.errors import AotfLabError
from aotf_lab.record import CauseBook, CrystalRecord, OscillatorRecord, kept_set_points, read_record, save_record
from aotf_lab.session.keep import records_of
from tests.kept import small_crystal, small_oscillator

Pair = tuple[OscillatorRecord, CrystalRecord]


def _saved(records: tuple[OscillatorRecord | CrystalRecord, ...], folder: Path) -> Pair:
    oscillator, crystal = (read_record(save_record(r, folder)) for r in records)
    assert isinstance(oscillator, OscillatorRecord)
    assert isinstance(crystal, CrystalRecord)
    return oscillator, crystal


@pytest.fixture(scope="module")
def pair(demo: aotf_lab.Session, tmp_path_factory: pytest.TempPathFactory) -> Pair:
    return _saved(records_of(demo, measured="2031-03-02"), tmp_path_factory.mktemp("kept"))


def test_set_points_are_the_sessions(demo: aotf_lab.Session, pair: Pair) -> None:
    composed = kept_set_points(*pair)
    assert [p.line for p in composed] == list(demo.wavelengths_nm)
    for own, kept in zip(demo.set_points(), composed, strict=True):
        assert kept.drive_v is not None
        assert own.drive_v is not None
        assert kept.drive_v.n == pytest.approx(own.drive_v.n, abs=2e-5)  # 0.1 kHz at 5 MHz/V
        assert kept.drive_v.s == pytest.approx(own.drive_v.s, rel=0.01)
        assert kept.u_setting_mhz == pytest.approx(own.u_setting_mhz, rel=0.01)
        assert kept.share_of_fwhm == pytest.approx(own.share_of_fwhm, rel=0.01)
        assert kept.light_lost_percent == pytest.approx(own.light_lost_percent, rel=0.02)
        assert kept.origin == own.origin


def test_the_drive_by_another_meter_is_the_sessions(demo: aotf_lab.Session, pair: Pair) -> None:
    own = [p.drive_other_meter_v for p in demo.set_points()]
    kept = [p.drive_other_meter_v for p in kept_set_points(*pair)]
    for a, b in zip(own, kept, strict=True):
        assert a is not None
        assert b is not None
        assert b.n == pytest.approx(a.n, abs=2e-5)
        assert b.s == pytest.approx(a.s, rel=1e-4)
    assert np.array(correlation_matrix(kept)) == pytest.approx(np.array(correlation_matrix(own)), abs=1e-4)


def test_another_meter_is_unknown_to_an_older_calibration() -> None:
    composed = kept_set_points(small_oscillator(), small_crystal())
    assert composed["X"].drive_other_meter_v is None
    assert "by another meter" not in dict(composed.rows())["X"]
    assert any(a.startswith("no drive by another meter: ") and "keep its session anew" in a for a in composed.advice)


def test_a_line_by_the_tuning_curve_is_the_sessions(demo: aotf_lab.Session, pair: Pair) -> None:
    own, kept = demo.vco.drive(demo.tuning.frequency(532.15)), kept_set_points(*pair, {"green": 532.15})["green"]
    assert kept.origin == "tuning curve"
    assert kept.drive_v is not None
    assert kept.drive_v.n == pytest.approx(own.n, abs=4e-5)
    assert kept.drive_v.s == pytest.approx(own.s, rel=0.01)


def test_the_time_base_of_one_counter_cancels_after_saving(pair: Pair) -> None:
    """GUM F.1.2.3: what two quantities owe to one instrument cancels in their difference."""
    oscillator, crystal = pair
    u_base = crystal.numbers.causes["counter time base"][crystal.numbers.place("peak D")]
    assert u_base == pytest.approx(15e-6 * crystal.peak("D").n, rel=1e-6)
    point = kept_set_points(oscillator, crystal)["D"]
    assert point.budget.get("counter time base", 0.0) < 1e-12


def test_two_counters_add_their_time_bases(demo: aotf_lab.Session, tmp_path: Path, pair: Pair) -> None:
    other = records_of(demo, measured="2031-03-02", instruments={"counter": "counter 2"})
    _, crystal = _saved(other, tmp_path)
    assert "counter time base@counter 2" in crystal.numbers.causes
    one, two = kept_set_points(*pair)["D"], kept_set_points(pair[0], crystal)["D"]
    assert one.u_setting_mhz is not None
    assert two.u_setting_mhz is not None
    added = two.u_setting_mhz**2 - one.u_setting_mhz**2
    assert added == pytest.approx(2 * (15e-6 * crystal.peak("D").n) ** 2, rel=1e-4)


def test_lines_that_cannot_be_set_stay_with_the_reason() -> None:
    composed = kept_set_points(small_oscillator(), small_crystal(), book=CauseBook())
    assert composed["X"].light_lost_percent is not None
    assert composed["Z"].drive_v is None
    assert "no peak of this line in the calibration; found 'Z'" in composed["Z"].remark
    far = kept_set_points(small_oscillator(), small_crystal(), {"far": ufloat(470.0, 0.1), "beyond": 800.0})
    assert far["far"].drive_v is not None
    assert far["far"].frequency_mhz is not None
    assert "wavelength lies outside the measured range" in far["beyond"].remark
    short = kept_set_points(small_oscillator(moved_mhz=-30.0), small_crystal())
    assert "frequency lies outside the measured range" in short["X"].remark
    assert short["X"].frequency_mhz is not None
    assert short["X"].drive_v is None


def test_table_csv_text_and_html(pair: Pair, tmp_path: Path) -> None:
    composed = kept_set_points(*pair, ["D", "E"])
    table = pd.read_csv(composed.to_csv(tmp_path / "set.csv"))
    assert table["line"].tolist() == ["D", "E"]
    point = composed["E"]
    assert point.drive_v is not None
    assert table["drive_v"][1] == point.drive_v.n
    assert table["u_drive_v"][1] == point.drive_v.s
    text = str(composed)
    assert text.startswith("Set-points: oscillator as of 2031-03-02, crystal as of 2031-03-02")
    assert dict(composed.rows())["E"] == (
        "589.12(10) nm  64.2340(19) MHz  5.4065(12) V  5.4065(56) V by another meter  0.443(26) W  "
        "light lost up to 0.23 %"
    )
    words = " ".join(text.split())  # whatever the width of the terminal
    assert "E 589.12(10) nm 64.2340(19) MHz 5.4065(12) V 5.4065(56) V by another meter 0.443(26) W light" in words
    assert table["drive_other_meter_v"].tolist() == [p.drive_other_meter_v.n for p in composed]
    assert table["u_drive_other_meter_v"].tolist() == [p.drive_other_meter_v.s for p in composed]
    assert "the oscillator stood at 22.4 C; each kelvin of its box moves it by -44.3 kHz" in text
    assert "<caption>Set-points: oscillator" in composed._repr_html_()
    empty = kept_set_points(*pair, [])
    assert len(empty) == 0
    assert empty.table.empty


def test_two_names_are_asked_about() -> None:
    composed = kept_set_points(small_oscillator("Holm"), small_crystal("Skerry"))
    assert any("oscillator of Holm, crystal of Skerry; do they belong to one bench?" in a for a in composed.advice)


def test_no_such_line(pair: Pair) -> None:
    with pytest.raises(AotfLabError, match="no such line in the crystal's calibration; found 'Q'; allowed: A, B, C"):
        kept_set_points(*pair, ["Q"])
    with pytest.raises(AotfLabError, match="no set-point of this name; found 'B'; allowed: A"):
        kept_set_points(*pair, ["A"])["B"]


def test_an_unknown_passband_is_said() -> None:
    record = small_crystal()
    bare = CrystalRecord(
        name="x", measured="2031-03-02", wavelengths_nm=np.zeros(0), lines={"Y": 540.0},
        numbers=type(record.numbers)(("peak Y",), np.array([71.0]), {}, np.array([[1e-6]])),
    )  # fmt: skip
    point = kept_set_points(small_oscillator(), bare)["Y"]
    assert point.u_setting_mhz is not None
    assert point.light_lost_percent is None
    assert "no passband is known" in point.remark
