"""A session's calibrations are kept apart, with what was known beside them."""

from __future__ import annotations

import os
from datetime import date, datetime
from pathlib import Path

import pytest

import aotf_lab
from aotf_lab.errors import AotfLabError, RecordError
from aotf_lab.record import CrystalRecord, OscillatorRecord, RecordFolder, kept_set_points
from aotf_lab.session.keep import keep, records_of
from aotf_lab.simulate.modulator import write_modulator_session


def test_the_demo_is_kept_in_two_files(demo: aotf_lab.Session, tmp_path: Path) -> None:
    paths = keep(demo, tmp_path, measured="2031-03-02")
    assert [p.name for p in paths] == ["oscillator_2031-03-02.json", "crystal_2031-03-02.json"]
    folder = RecordFolder(tmp_path)
    oscillator, crystal = folder.latest_oscillator(), folder.latest_crystal()
    assert oscillator.conditions["supply_v"] == 15.0
    assert oscillator.coefficients["mhz_per_k"][0] == pytest.approx(demo.warm_up.temperature_mhz_per_k.n)
    assert oscillator.coefficients["mhz_per_supply_v"][1] == pytest.approx(demo.pushing.mhz_per_v.s)
    assert crystal.conditions == {"crystal_c": 22.6}
    assert crystal.rated_rf_power_w == 0.8
    assert set(crystal.lines) == set("ABCDEFG")
    assert {s.name for s in crystal.made_of} >= {"scan_A_up.csv", "efficiency_E.csv"}
    assert keep(demo, tmp_path, measured="2031-03-02") == paths


def test_a_bench_without_an_oscillators_log(tmp_path: Path) -> None:
    bench = tmp_path / "bench"
    bench.mkdir()
    (bench / "session.toml").write_text('[session]\nname = "bare"\n[[file]]\npath = "v.csv"\npurpose = "oscillator"\n')
    rows = "\n".join(f"{v},{40 + 5 * v - 0.05 * v * v}" for v in range(1, 13))
    (bench / "v.csv").write_text(f"drive (V),frequency (MHz)\n{rows}\n")
    os.utime(bench / "v.csv", (1.93e9, 1.93e9))
    (record,) = records_of(aotf_lab.open_session(bench))
    assert record.part == "oscillator"
    assert record.measured == date.fromtimestamp(1.93e9).isoformat()
    assert record.checks[-1].detail == f"{record.measured} is the time of the newest raw file: no date was stated"


def test_nothing_to_keep(tmp_path: Path) -> None:
    bench = tmp_path / "bench"
    bench.mkdir()
    (bench / "session.toml").write_text('[session]\nname = "bare"\n')
    with pytest.raises(RecordError, match=r"bare: nothing of this session can be kept; found .*no file with purpose"):
        keep(aotf_lab.open_session(bench), tmp_path / "kept")
    assert not (tmp_path / "kept").exists()


def test_a_date_that_is_none(demo: aotf_lab.Session, tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="a date that is none; found 'yesterday'"):
        keep(demo, tmp_path, measured="yesterday")


def test_a_date_is_taken_as_it_is(demo: aotf_lab.Session, tmp_path: Path) -> None:
    assert [p.name for p in keep(demo, tmp_path, measured=date(2031, 3, 2))] == [
        "oscillator_2031-03-02.json", "crystal_2031-03-02.json",
    ]  # fmt: skip


def _bench(tmp_path: Path, day: str, written: date) -> Path:
    """Write a session of ``day`` whose one raw file bears the time of ``written``."""
    tmp_path.mkdir(exist_ok=True)
    (tmp_path / "session.toml").write_text(
        f'[session]\nname = "bare"\ndate = {day}\n[[file]]\npath = "v.csv"\npurpose = "oscillator"\n'
    )
    rows = "\n".join(f"{v},{40 + 5 * v - 0.05 * v * v}" for v in range(1, 13))
    (tmp_path / "v.csv").write_text(f"drive (V),frequency (MHz)\n{rows}\n")
    noon = datetime(written.year, written.month, written.day, 12).timestamp()
    os.utime(tmp_path / "v.csv", (noon, noon))
    return tmp_path


def test_a_slip_of_the_year_is_a_failed_check_and_a_remark(tmp_path: Path) -> None:
    """Judged by the raw files alone: 36 years after them is a slip, whenever this test is run."""
    session = aotf_lab.open_session(_bench(tmp_path, "2062-03-02", date(2026, 3, 2)))
    (record,) = records_of(session)
    assert record.checks[-1].name == "date"
    assert not record.checks[-1].passed
    assert "the date 2062-03-02 lies 36 years after the newest raw file, of 2026-03-02" in record.checks[-1].detail
    assert any("correct a slip of the year" in remark for remark in session.facts.remarks)
    assert any("correct a slip of the year" in str(c) for c in records_of(session, measured="2126-03-02")[0].failed)


@pytest.mark.parametrize("day", ["2026-03-02", "2026-03-05", "2031-03-02", "1999-01-01"])
def test_a_date_near_the_raw_files_or_before_them_is_none_of_it(day: str, tmp_path: Path) -> None:
    session = aotf_lab.open_session(_bench(tmp_path, day, date(2026, 3, 2)))
    assert not [c for c in records_of(session)[0].checks if c.name == "date"]
    assert session.facts.remarks == ()


def test_a_modulator_is_kept_by_its_carrier(tmp_path: Path) -> None:
    session = aotf_lab.open_session(write_modulator_session(tmp_path))
    oscillator, crystal = records_of(session, measured="2031-03-02")
    assert isinstance(oscillator, OscillatorRecord)
    assert isinstance(crystal, CrystalRecord)
    own, kept = session.set_points()["R"], kept_set_points(oscillator, crystal)["R"]
    assert kept.drive_v.n == pytest.approx(own.drive_v.n, abs=2e-5)
    assert kept.u_setting_mhz == pytest.approx(own.u_setting_mhz, rel=0.01)
    assert kept.light_lost_percent == pytest.approx(own.light_lost_percent, rel=0.02)
    for a, b in ((own.rf_power_w, kept.rf_power_w), (own.efficiency, kept.efficiency)):
        assert b.n == pytest.approx(a.n, rel=1e-9)
        assert b.s == pytest.approx(a.s, rel=1e-6)
    assert crystal.saturation_w("R").n == pytest.approx(session.modulators["R"].saturation_power_w.n)
    with pytest.raises(AotfLabError, match="this calibration has no tuning curve"):
        crystal.frequency(532.0)
