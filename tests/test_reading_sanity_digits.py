"""Lost points, flipped signs, dates in place of numbers, and wavelengths in another unit."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from aotf_lab.reading.any_table import read_table
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.date_serial import date_of, numbers_read_as
from aotf_lab.reading.sanity.wavelengths import wavelength_units
from aotf_lab.reading.sanity.wrong_digits import wrong_digits
from aotf_lab.reading.wavelength_unit import likely_unit

DRIVE = np.round(np.linspace(0.5, 13.5, 27) + 0.01 * np.sin(np.arange(27)), 4)
FREQUENCY = np.round(41.2 + 5.05 * DRIVE - 0.178 * DRIVE**2 + 0.0062 * DRIVE**3, 4)


def sweep(**changed: tuple[int, float]) -> Readings:
    table = pd.DataFrame({"drive_v": DRIVE, "frequency_mhz": FREQUENCY, "temperature_c": 22.4 + 0.01 * (DRIVE > 6)})
    for column, (row, value) in changed.items():
        table.loc[row, column] = value
    return Readings(table.assign(file="vco.csv", line=np.arange(27) + 3))


def test_serial_numbers_count_the_days_of_the_calendar():
    # ECMA-376, part 1, 18.17.4.1 (1900 base, which takes 1900 for a leap year): 1 is 1 January 1900, and from
    # 61 = 1 March 1900 on the day is that of Python's own calendar
    assert date_of(61) == date(1900, 3, 1)
    assert date_of(36526) == date(2000, 1, 1)
    assert (date_of(45750) - date(1900, 3, 1)).days == 45750 - 61


def test_a_date_is_read_back_as_the_number_that_was_typed():
    assert 3.4 in numbers_read_as(45750)
    assert 12.24 in numbers_read_as(45627)


@pytest.mark.parametrize("row", [0, 1, 13, 26])
@pytest.mark.parametrize("column", ["drive_v", "frequency_mhz"])
def test_a_point_that_was_lost(column, row):
    true = float((DRIVE if column == "drive_v" else FREQUENCY)[row])
    (found,) = wrong_digits(sweep(**{column: (row, round(true * 1e4))}))
    assert found.what.startswith("a decimal point was lost")
    assert found.rows == (row,)
    assert found.where == f"vco.csv:{row + 3}"
    assert f"would be {true:.7g}" in found.likely_cause


def test_a_sign_that_was_flipped():
    (found,) = wrong_digits(sweep(temperature_c=(7, -22.4)))
    assert (found.what, found.rows) == ("a sign was flipped: temperature", (7,))
    assert "would be 22.4" in found.likely_cause


def test_signs_on_both_sides_of_zero_are_no_slip():
    table = pd.DataFrame({"drive_v": np.round(np.linspace(-5, 5, 27), 2), "frequency_mhz": FREQUENCY})
    assert wrong_digits(Readings(table)) == ()
    cold = np.round(np.linspace(3, -3, 27), 2)
    assert wrong_digits(sweep()) == wrong_digits(Readings(table.assign(temperature_c=cold))) == ()


def test_a_date_amid_numbers():
    serial = float((date(2025, 9, 6) - date(1899, 12, 30)).days)  # 6.9 typed where days go before months
    row = int(np.argmin(np.abs(DRIVE - 6.9)))
    (found,) = wrong_digits(sweep(drive_v=(row, serial)))
    assert (found.what, found.rows) == ("a number became a date: drive voltage", (row,))
    assert "2025-09-06" in found.found
    assert "would be 6.9 V" in found.likely_cause


def test_a_date_is_seen_in_the_unit_of_the_file(tmp_path):
    lines = [f"{1e3 * v:.1f},{f:.4f}" for v, f in zip(DRIVE, FREQUENCY, strict=True)]
    lines[20] = f"45918,{FREQUENCY[20]:.4f}"  # 18 September 2025, where 10.5 V stood in mV: no number for it
    lines[3] = f"{1e7 * DRIVE[3]:.0f},{FREQUENCY[3]:.4f}"
    path = tmp_path / "vco.csv"
    path.write_text("Drive (mV),Frequency (MHz)\n" + "\n".join(lines) + "\n", encoding="utf-8")
    (found,) = wrong_digits(read_table(path))
    assert found.where == "vco.csv:5"


def test_a_peak_of_one_reading_is_no_lost_point():
    light = np.full(60, 0.0123) + 1e-4 * np.sin(np.arange(60.0))
    light[30] = 0.123
    table = pd.DataFrame({"frequency_mhz": 44.0 + 0.8 * np.arange(60), "optical_power_mw": light.round(4)})
    assert wrong_digits(Readings(table)) == ()


def test_a_lost_point_in_a_scan_that_is_resolved():
    light = (np.sinc((np.arange(41) - 20) / 9.0) ** 2 + 0.02).round(3)
    light[14] = 1000 * light[14]
    table = pd.DataFrame({"frequency_mhz": 64.0 + 0.03 * np.arange(41), "optical_power_mw": light})
    (found,) = wrong_digits(Readings(table))
    assert found.rows == (14,)


@pytest.mark.parametrize(("factor", "unit"), [(1e-3, "um"), (1e-9, "m"), (10.0, "Angstrom")])
@pytest.mark.parametrize("rows", [[1, 3], [0, 1, 2, 3]])
def test_wavelengths_in_another_unit(factor, unit, rows):
    nm = np.array([473.06, 556.27, 588.96, 671.10])
    shown = nm.copy()
    shown[rows] *= factor
    (found,) = wavelength_units(Readings(pd.DataFrame({"wavelength_air_nm": shown})), "TeO2")
    mixed = f"nm and {unit} are mixed in one column of wavelengths"
    assert found.what == (mixed if len(rows) < 4 else f"wavelengths in {unit}, not nm")
    assert found.rows == tuple(rows)
    assert "556.27 nm" in found.likely_cause


def test_angstrom_beside_nm_needs_no_crystal():
    mixed = Readings(pd.DataFrame({"wavelength_stated_nm": [473.06, 5562.7, 588.96]}))
    (found,) = wavelength_units(mixed)
    assert found.rows == (1,)
    assert wavelength_units(Readings(pd.DataFrame({"wavelength_stated_nm": [473.06, 1064.0, 2940.0]}))) == ()


def test_units_of_a_wavelength():
    # the sodium D1 line in air, 589.592 nm (CRC Handbook line tables, from memory), in four units
    assert likely_unit(589.592, "TeO2") is None
    for shown, unit in ((0.589592, "um"), (5.89592e-7, "m"), (5895.92, "Angstrom")):
        found = likely_unit(shown, "TeO2")
        assert found is not None
        assert found[0] == unit
        assert shown * found[1] == pytest.approx(589.592)
    assert likely_unit(0.0) is None
