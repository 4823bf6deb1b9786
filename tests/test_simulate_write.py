"""The written session: same bytes, readable by the project, and without the truth."""

import math
import re
from dataclasses import astuple
from pathlib import Path

import numpy as np
import pytest

from aotf_lab.errors import SessionError
from aotf_lab.reading import read_counter, read_lines, read_power_log
from aotf_lab.reading.by_purpose import READERS, read_raw_file
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.simulate import SKERRY, Faults, simulate_session
from aotf_lab.simulate.__main__ import main

DEMO = Path(__file__).parent.parent / "data" / "demo" / "skerry"
MILLIVOLT = 0.001  # a step of the generator's display, and by chance the noise of the current
KNOWN_TO_THE_OWNER = {SKERRY.crystal.rated_power_w, SKERRY.instruments.scope_bandwidth_mhz, MILLIVOLT}
NUMBER = re.compile(r"(?<![\w.])[0-9]+(?:\.[0-9]+)?")


def numbers(path):
    return {float(n) for n in NUMBER.findall(path.read_text(encoding="utf-8"))}


def floats(value):
    if isinstance(value, tuple | list):
        return {x for part in value for x in floats(part)}
    return {value} if isinstance(value, float) else set()


def test_the_demo_session_is_what_the_simulation_writes(tmp_path):
    fresh = simulate_session(tmp_path / "skerry")
    assert sorted(p.name for p in fresh.iterdir()) == sorted(p.name for p in DEMO.iterdir())
    for path in fresh.iterdir():
        assert path.read_bytes() == (DEMO / path.name).read_bytes(), path.name


def test_the_seed_makes_the_readings(tmp_path):
    one, other = simulate_session(tmp_path / "one", 1), simulate_session(tmp_path / "other", 2)
    again = simulate_session(tmp_path / "again", 1)
    assert (one / "vco_warm.csv").read_bytes() == (again / "vco_warm.csv").read_bytes()
    assert (one / "vco_warm.csv").read_bytes() != (other / "vco_warm.csv").read_bytes()
    facts = [
        re.sub(r"counter_mhz = [0-9.]+", "", (f / "session.toml").read_text(encoding="utf-8")) for f in (one, other)
    ]
    assert facts[0] == facts[1]


def test_no_true_value_stands_in_the_raw_folder():
    telling = {643.4, 0.415, 0.88, 29.92}
    telling |= {line.wavelength_air_nm for line in SKERRY.lines}
    for path in DEMO.iterdir():
        text = path.read_text(encoding="utf-8")
        assert not numbers(path) & telling, path.name
        assert not re.search(r"643\.4|P_sat|truth|saturat", text, re.IGNORECASE), path.name


def test_session_toml_states_what_its_owner_can_know():
    true = floats(astuple(SKERRY.crystal)) | floats(astuple(SKERRY.oscillator)) | floats(astuple(SKERRY.amplifier))
    true |= {x for x in floats(astuple(SKERRY.instruments)) if not x.is_integer()} - KNOWN_TO_THE_OWNER
    small = {x for x in true if x.is_integer() or x in (0.1, 1.1)} | KNOWN_TO_THE_OWNER
    assert not numbers(DEMO / "session.toml") & (true - small)


def test_every_stated_accuracy_holds_the_true_error():
    """Within two standard uncertainties, as an honest statement is 19 times out of 20."""
    bench, true = load_session_file(DEMO).instruments, SKERRY.instruments
    scope, counter, voltmeter = bench.scope, bench.counter, bench.voltmeter
    assert abs(true.counter_error) <= 2e-6 * counter.time_base_ppm
    assert abs(true.voltmeter_error) <= 2e-2 * voltmeter.gain_percent
    assert abs(true.scope_error) <= 2e-2 * scope.gain_percent
    assert abs(true.pad_db - scope.pad_db) <= 2 * scope.u_pad_db
    assert abs(true.load_ohm - scope.load_ohm) <= 2 * scope.u_load_ohm
    assert true.voltmeter_noise_v <= 1e-3 * voltmeter.u_reading_mv
    assert math.hypot(true.laser_wander, true.head_noise) <= 1e-2 * bench.power_meter.u_reading_percent
    crystal = load_session_file(DEMO).crystal
    assert abs(crystal.velocity_m_s - SKERRY.crystal.velocity_m_s) <= 2 * crystal.u_velocity_m_s


def test_every_file_is_listed_and_read_whole():
    session = load_session_file(DEMO)
    assert session.remarks == ()
    assert session.assumed == ()
    for file in session.files:
        if file.purpose in READERS:
            readings = read_raw_file(file, session.instruments)
            assert not readings.receipts[0].rejected
            assert all(c.meaning for c in readings.receipts[0].columns), file.path.name


def test_the_second_line_table_has_one_slip():
    session = load_session_file(DEMO)
    table = read_lines(DEMO / "lines_mistyped.csv", session.instruments).table
    stated = {line.name: line.wavelength_nm for line in session.lines}
    off = {n: w - stated[n] for n, w in zip(table["label"], table["wavelength_nm"], strict=True)}
    assert [n for n, d in off.items() if abs(d) > 1e-9] == ["E"]
    assert off["E"] == pytest.approx(10.0, abs=0.01)


def test_the_runs_reach_as_far_as_the_story_says(tmp_path):
    for name, reach in {"B": 0.36, "G": 0.75, "E": 1.5}.items():
        table = read_power_log(DEMO / f"efficiency_{name}.csv", load_session_file(DEMO).instruments).table
        saturation = 0.415 * (SKERRY.line(name).wavelength_air_nm / 589.0) ** 2
        assert table["rf_power_w"].max() / saturation == pytest.approx(reach, rel=0.15)


def test_faults_leave_their_marks(tmp_path):
    clean = simulate_session(tmp_path / "clean")
    faults = Faults(True, ("D", "E"), (4, 5), True, True, one_way_scans=True)
    faulty = simulate_session(tmp_path / "faulty", faults=faults)
    sweeps = [read_counter(f / "vco_warm.csv").table for f in (clean, faulty)]
    ratio = sweeps[1]["frequency_mhz"] / sweeps[0]["frequency_mhz"]
    assert np.flatnonzero(ratio > 1.9).tolist() == [4, 5]
    rows = ratio[ratio < 1.9]
    assert rows.iloc[0] > rows.iloc[-1]
    assert sweeps[1]["drive_v"].tolist() == [float(f"{v:.3f}") for v in sweeps[1]["drive_v"]]
    scan = [read_power_log(f / "scan_D_up.csv").table["frequency_mhz"].mean() for f in (clean, faulty)]
    assert scan[0] - scan[1] > 4.0
    assert not (faulty / "scan_D_down.csv").exists()
    assert load_session_file(faulty).lines[4].stated_wavelength_nm == 598.96


def test_a_one_way_sweep_never_comes_back(tmp_path):
    folder = simulate_session(tmp_path / "one_way", faults=Faults(one_way_sweep=True))
    drive = read_counter(folder / "vco_warm.csv").table["drive_v"]
    assert np.all(np.diff(drive[1:]) > 0)


def test_raw_files_of_somebody_else_are_left_alone(tmp_path):
    (tmp_path / "mine.csv").write_text("Drive (V),Frequency (MHz)\n1,47\n")
    with pytest.raises(SessionError, match=r"raw files of somebody else; found 'mine\.csv'"):
        simulate_session(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.csv"]


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(SessionError, match="a folder that cannot be written; found Not a directory"):
        simulate_session(tmp_path / "file" / "below")


def test_the_command_writes_a_session_and_says_what_failed(tmp_path, capsys):
    assert main([str(tmp_path / "new"), "--seed", "3"]) == 0
    assert "everything in it is invented" in capsys.readouterr().out
    (tmp_path / "mine.csv").write_text("a\n")
    assert main([str(tmp_path)]) == 1
    assert "found 'mine.csv'" in capsys.readouterr().err
    with pytest.raises(SystemExit, match="2"):
        main([])


@pytest.mark.parametrize("seed", ["-1", "1.5", "x", ""])
def test_the_command_refuses_what_is_no_seed(tmp_path, capsys, seed):
    with pytest.raises(SystemExit, match=r"^2$"):
        main([str(tmp_path / "new"), "--seed", seed])
    assert f"not a seed; found {seed!r}; allowed: a whole number, 0 or more" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
