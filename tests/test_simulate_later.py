"""The bench months later: same bytes, readable by the project, true to its story and without the truth."""

import re

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.reading.by_purpose import read_raw_file
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.simulate import (
    LATER_DAYS,
    SKERRY,
    oscillator_frequency,
    simulate_later,
    true_peak_frequency,
    true_rf_power,
)
from aotf_lab.simulate.__main__ import main
from aotf_lab.simulate.later import NEW_AMPLIFIER, at_crystal_temperature
from tests.house import ROOT

DEMO = ROOT / "data" / "demo"
NUMBER = re.compile(r"(?<![\w.])[0-9]+(?:\.[0-9]+)?")


@pytest.mark.parametrize("day", LATER_DAYS)
def test_the_later_folders_are_what_the_simulation_writes(day, tmp_path):
    fresh, kept = simulate_later(tmp_path / "later", day), DEMO / f"skerry_day{day}"
    assert sorted(p.name for p in fresh.iterdir()) == sorted(p.name for p in kept.iterdir())
    for path in fresh.iterdir():
        assert path.read_bytes() == (kept / path.name).read_bytes(), path.name


@pytest.mark.parametrize("day", LATER_DAYS)
def test_every_later_file_is_listed_and_read_whole(day):
    session = load_session_file(DEMO / f"skerry_day{day}")
    assert session.remarks == ()
    assert session.crystal.temperature_c == LATER_DAYS[day].crystal_c
    assert {f.path.name for f in session.files} == {p.name for p in session.folder.glob("*.csv")}
    for file in session.files:
        receipt = read_raw_file(file, session.instruments).receipts[0]
        assert not receipt.rejected
        assert all(c.meaning for c in receipt.columns), file.path.name


@pytest.mark.parametrize("day", LATER_DAYS)
def test_no_true_value_stands_in_the_later_folders(day):
    telling = {SKERRY.crystal.velocity_m_s, SKERRY.crystal.saturation_power_w, NEW_AMPLIFIER.gain_w_per_v2}
    telling |= {line.wavelength_air_nm for line in SKERRY.lines}
    for path in (DEMO / f"skerry_day{day}").iterdir():
        assert not {float(n) for n in NUMBER.findall(path.read_text(encoding="utf-8"))} & telling, path.name


def test_on_day_120_the_oscillator_reads_what_its_temperature_makes_of_it():
    """-46 kHz/K and 2.5 K colder than on the first day: +115 kHz, to the errors of three readings."""
    session = load_session_file(DEMO / "skerry_day120")
    table = read_raw_file(session.files[0], session.instruments).table
    first_day = oscillator_frequency(table["drive_v"] / (1 + SKERRY.instruments.voltmeter_error), temperature_c=22.4)
    moved = table["frequency_mhz"] / (1 + SKERRY.instruments.counter_error) - first_day
    assert moved.to_numpy() == pytest.approx(0.115, abs=0.03)
    assert len(table) == 3


def test_the_crystal_follows_its_temperature_alone():
    """df/f = 4.6e-5 /K."""
    nm = [line.wavelength_air_nm for line in SKERRY.lines]
    cold = true_peak_frequency(nm, at_crystal_temperature(SKERRY, 19.5).crystal)
    assert cold == pytest.approx(true_peak_frequency(nm, temperature_c=19.5), rel=1e-12)
    assert cold / true_peak_frequency(nm) - 1 == pytest.approx(4.6e-5 * (19.5 - 22.6), rel=1e-3)


def test_on_day_410_the_amplifier_is_another_one():
    """At the supply that was safe with the first amplifier the new one exceeds the crystal's rating."""
    session = load_session_file(DEMO / "skerry_day410")
    tables = {f.path.name: read_raw_file(f, session.instruments).table for f in session.files}
    level, light = tables["supply_to_power.csv"], tables["efficiency_E.csv"]
    first = true_rf_power(level["supply_v"].to_numpy(), 64.0)
    assert np.all(level["rf_power_w"] > 1.5 * first)
    band_mhz = np.arange(44.0, 96.0)
    assert true_rf_power(9.5, band_mhz).max() < SKERRY.crystal.rated_power_w
    assert true_rf_power(9.5, band_mhz, NEW_AMPLIFIER).max() > SKERRY.crystal.rated_power_w
    assert level["rf_power_w"].max() < SKERRY.crystal.rated_power_w
    assert light["efficiency"].max() == pytest.approx(SKERRY.crystal.peak_efficiency, abs=0.03)


def test_a_day_without_measurements_is_refused(tmp_path):
    with pytest.raises(AotfLabError, match=r"no measurements on this day.*found 7; allowed: 120, 410"):
        simulate_later(tmp_path / "later", 7)
    assert not (tmp_path / "later").exists()


def test_the_command_writes_a_later_day(tmp_path, capsys):
    assert main([str(tmp_path / "later"), "--day", "120"]) == 0
    assert "everything in it is invented" in capsys.readouterr().out
    assert (tmp_path / "later" / "vco_check.csv").exists()
    with pytest.raises(SystemExit, match="2"):
        main([str(tmp_path / "other"), "--day", "7"])
