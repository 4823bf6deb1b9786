"""The demo's later days against the calibrations of its first: what moved, and what it was corrected to."""

import shutil

import numpy as np
import pytest

from aotf_lab.errors import RecordError, SessionError
from aotf_lab.record.folder import RecordFolder, save_record
from aotf_lab.session import open_session
from aotf_lab.session.keep import keep
from aotf_lab.session.opening import opening_of
from aotf_lab.simulate import SKERRY, oscillator_frequency, true_peak_frequency
from tests.house import ROOT

DEMO = ROOT / "data" / "demo"


@pytest.fixture(scope="module")
def records(demo, tmp_path_factory):
    folder = tmp_path_factory.mktemp("records")
    keep(demo, folder, measured="2026-03-16")
    return RecordFolder(folder)


@pytest.fixture(scope="module")
def day_120(records):
    return opening_of(records, open_session(DEMO / "skerry_day120"), measured="2026-07-14")


def test_day_120_the_oscillator_moved_by_115_khz_and_the_crystal_did_not(day_120):
    oscillator, crystal = day_120.links
    assert (oscillator.verdict, crystal.verdict) == ("corrected", "use")
    assert oscillator.shift_mhz == pytest.approx(0.115, abs=2 * oscillator.u_shift_mhz)
    assert oscillator.tilt_mhz is None
    assert crystal.shift_mhz == pytest.approx(-0.0099, abs=2 * crystal.u_shift_mhz)
    expected, u = oscillator.expected_mhz
    assert expected == pytest.approx(0.046 * 2.5, abs=2 * u)


def test_day_120_three_readings_renew_the_whole_curve(day_120):
    """The truth of that day lies within the 95 % band everywhere, before any light is lost."""
    drives = np.linspace(*day_120.oscillator.range_v, 60)
    shown = drives / (1 + SKERRY.instruments.voltmeter_error)
    truth = oscillator_frequency(shown, temperature_c=19.9)
    curve = day_120.oscillator.frequency(drives)
    away = np.abs([f.n - t for f, t in zip(curve, truth, strict=True)]) / [f.s for f in curve]
    assert np.mean(away < day_120.oscillator.coverage_factor) > 0.95
    peak = true_peak_frequency(SKERRY.line("D").wavelength_air_nm, temperature_c=19.5)
    assert abs(day_120.crystal.peak("D").n - peak) < 2 * day_120.crystal.peak("D").s


def test_day_410_the_oscillator_is_checked_beside_the_new_amplifier(records):
    """1.4 K warmer: -64 kHz by -46 kHz/K, +4.4 kHz by +4.6e-5 /K; the amplifier is no matter of either link."""
    found = opening_of(records, open_session(DEMO / "skerry_day410"), measured="2027-04-30")
    oscillator, crystal = found.links
    assert (oscillator.verdict, crystal.verdict) == ("corrected", "use")
    assert oscillator.shift_mhz == pytest.approx(-0.064, abs=2 * oscillator.u_shift_mhz)
    assert crystal.shift_mhz == pytest.approx(0.0044, abs=2 * crystal.u_shift_mhz)


def test_the_renewed_calibrations_join_the_history(records, day_120, tmp_path):
    for record in (*records.oscillators(), *records.crystals(), day_120.oscillator, day_120.crystal):
        save_record(record, tmp_path)
    history = RecordFolder(tmp_path)
    assert [f.path.name for f in history.files if "oscillator" in f.path.name] == [
        "oscillator_2026-03-16.json", "oscillator_2026-07-14.json",
    ]  # fmt: skip
    assert history.latest_oscillator().updates[-1].shift_mhz == pytest.approx(0.119, abs=0.001)


def test_records_of_another_bench_are_not_taken(records):
    session = open_session(DEMO / "skerry_day120")
    with pytest.raises(RecordError, match="no calibration of the oscillator of Elsewhere"):
        opening_of(records, session, name="Elsewhere", measured="2026-07-14")
    with pytest.raises(RecordError, match="no folder of calibrations"):
        opening_of(DEMO / "nowhere", session)


def test_a_session_without_readings_of_either_link_is_refused(records, tmp_path):
    (tmp_path / "session.toml").write_text('[session]\nname = "Skerry"\n', encoding="utf-8")
    with pytest.raises(SessionError, match="no reading for an opening check; found no files"):
        opening_of(records, open_session(tmp_path), measured="2026-07-14")


def test_a_folder_is_named_by_its_path_and_the_day_by_session_toml(records):
    found = opening_of(records.folder, open_session(DEMO / "skerry_day120"))
    assert found.measured == "2026-07-14"
    assert [link.verdict for link in found.links] == ["corrected", "use"]


def test_a_check_that_was_kept_is_made_again_as_it_was(records, tmp_path):
    """The readings are in what was kept: held against that, they would count twice and vouch for themselves."""
    today = open_session(DEMO / "skerry_day120")
    for record in (*records.oscillators(), *records.crystals()):
        save_record(record, tmp_path)
    first = opening_of(tmp_path, today)
    kept = [save_record(record, tmp_path) for record in (first.oscillator, first.crystal)]
    again = opening_of(tmp_path, today)
    assert str(again) == str(first)
    assert [save_record(record, tmp_path) for record in (again.oscillator, again.crystal)] == kept
    assert again.against == ("2026-03-16", "2026-03-16")
    assert {s.name for s in first.crystal.updates[-1].made_of} == {"scan_D_up.csv", "scan_D_down.csv"}
    late = opening_of(tmp_path, open_session(DEMO / "skerry_day410"))
    assert late.against == ("2026-07-14", "2026-07-14")


def test_readings_that_made_the_calibration_cannot_check_it(records, demo):
    with pytest.raises(
        RecordError, match=r"no calibration of the oscillator that is older than .* found vco_warm\.csv"
    ):
        opening_of(records, demo)


def test_a_line_that_was_never_kept_and_a_day_that_was_not_stated_are_said(records, tmp_path):
    session = tmp_path / "today"
    shutil.copytree(DEMO / "skerry_day120", session)
    text = (session / "session.toml").read_text(encoding="utf-8").replace("date = 2026-07-14\n", "")
    text = text.replace('name = "D"', 'name = "X"').replace('line = "D"', 'line = "X"')
    (session / "session.toml").write_text(text, encoding="utf-8")
    found = opening_of(records, open_session(session))
    assert found.crystal_link is None
    assert found.remarks[0] == "line X is not used: no peak of it was kept"
    assert "is the time of the newest raw file: no date was stated" in found.remarks[1]
    assert all(remark in str(found) for remark in found.remarks)
    (session / "session.toml").write_text(text.replace('purpose = "oscillator"', 'purpose = "keep"'), encoding="utf-8")
    with pytest.raises(SessionError, match="no reading for an opening check; found line X is not used: no peak of it"):
        opening_of(records, open_session(session))
    for name in ("scan_X_up.csv", "scan_X_down.csv"):
        (session / name.replace("X", "D")).write_text("Time (s),Counter (MHz),Diffracted (uW)\n0,69,1\n1,69.1,2\n")
    (session / "session.toml").write_text(text, encoding="utf-8")
    assert opening_of(records, open_session(session)).remarks[0].startswith("line X is not used: scan_D_up.csv")
