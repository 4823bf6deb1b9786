"""The parts of the hunt against independent evaluations, and what it refuses."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal.hunt.expected import expected
from aotf_lab.crystal.hunt.ghosts import light_ratio
from aotf_lab.crystal.hunt.hunt import fit_hunt
from aotf_lab.crystal.hunt.model import SHARED, HuntModel, envelope, lights
from aotf_lab.crystal.hunt.neighbours import phase_of_top
from aotf_lab.crystal.hunt.seeds import Doubt, find_seeds, row_scatter
from aotf_lab.crystal.hunt.table import hunt_table
from aotf_lab.errors import ReadingsError


def sweep(n: int = 200, uneven: bool = False) -> pd.DataFrame:
    rng = np.random.default_rng(0)
    time = np.cumsum(rng.uniform(0.3, 0.9, n)) if uneven else 0.5 * np.arange(n)
    power = 1e-3 * rng.standard_normal(n)
    return pd.DataFrame({"time_s": time, "frequency_mhz": 60 + 0.05 * np.arange(n), "optical_power_mw": power})


@pytest.mark.parametrize("uneven", [False, True])
def test_a_meter_trails_as_its_differential_equation_says(uneven: bool) -> None:
    """tau dy/dt = x - y, x constant over each step: y keeps exp(-step/tau) of its deviation."""
    table = hunt_table(sweep(uneven=uneven))
    light = np.exp(-0.5 * ((np.arange(200) - 90) / 6.0) ** 2)
    assert table.step_s is not None
    tau = 1.3 * table.step_s
    kept = np.exp(-table.lapse * table.step_s / tau)
    by_hand, state = [], light[0]
    for x, keep in zip(light, kept, strict=True):
        state = x + keep * (state - x)
        by_hand.append(state)
    shown = table.trailing(light, 1.0 / math.expm1(table.step_s / tau))
    assert np.max(np.abs(shown - by_hand)) < (2e-3 if uneven else 1e-9)


def test_the_gradient_is_that_of_numerical_differences() -> None:
    model = HuntModel(hunt_table(sweep()))
    values = np.array(
        [0.01, 0.002, 0.001, 0.8, 0.08, 63.113, math.log(0.3), 1.5, 0.6, 66.013, math.log(0.16), 0.2, 0.3]
    )
    gradient = model.gradient(values)
    for k in range(len(values)):
        step = np.zeros_like(values)
        step[k] = 1e-5
        by_hand = (model.shown(values + step) - model.shown(values - step)) / 2e-5
        assert np.max(np.abs(gradient[:, k] - by_hand)) < 6e-3 * max(1.0, float(np.max(np.abs(by_hand))))


def test_all_sidelobes_touch_the_envelope() -> None:
    """sin^2(s)/s^2 has its maxima where tan s = s (Abramowitz & Stegun, table 4.19: 4.49341, 7.72525, 10.90412)."""
    assert [round(phase_of_top(k), 5) for k in (1, 2, 3)] == [4.49341, 7.72525, 10.90412]
    values = np.zeros(SHARED + 4)
    values[SHARED:] = 70.0, math.log(0.3), 1.0, 0.5
    f = np.linspace(70.35, 73.0, 4000)
    light, line = lights(f, values)[:, 0], envelope(f, values)
    tops = np.flatnonzero((light[1:-1] > light[:-2]) & (light[1:-1] > light[2:])) + 1
    assert len(tops) > 5
    assert np.all(light <= line * 1.001)
    assert np.all(light[tops] > 0.94 * line[tops])


@pytest.mark.parametrize(("drive", "level"), [(0.01, -20.0), (0.5, -19.0), (1.0, -24.0)])
def test_a_ghosts_height_follows_from_coupled_waves(drive: float, level: float) -> None:
    share = 10 ** (level / 10)
    by_hand = math.sin(math.pi / 2 * math.sqrt(drive * share)) ** 2 / math.sin(math.pi / 2 * math.sqrt(drive)) ** 2
    assert light_ratio(drive, level) == pytest.approx(by_hand, rel=1e-12)


def test_false_peaks_are_as_rare_as_stated() -> None:
    """0.2 % of sweeps by design; 3 of 400 or more would come by chance in 5 % of all cases were it 0.2 %."""
    rng, found = np.random.default_rng(11), 0
    for _ in range(400):
        rows = pd.DataFrame({"frequency_mhz": 44 + 0.07 * np.arange(740), "optical_power_mw": rng.normal(0, 1e-3, 740)})
        table = hunt_table(rows)
        nothing = np.zeros(740)
        found += bool(find_seeds(table, table.power_mw, Doubt(nothing, nothing, 0.0)))
    assert found <= 3


def test_the_scatter_of_a_row_is_not_moved_by_light() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 1e-3, 2000)
    noise[900:960] += np.hanning(60)
    assert row_scatter(noise) == pytest.approx(1e-3, rel=0.12)


def test_too_few_rows_are_refused() -> None:
    with pytest.raises(ReadingsError, match=r"too few readings for a hunt; found 20; allowed: 60 to 8000; sweep"):
        fit_hunt(sweep(20))


def test_a_reading_that_is_no_number_is_named() -> None:
    rows = sweep().astype({"optical_power_mw": object})
    rows.loc[7, "optical_power_mw"] = "over"
    with pytest.raises(ReadingsError, match=r"row 8: optical_power_mw is not a number; found 'over'"):
        fit_hunt(rows)


def test_a_missing_column_is_named() -> None:
    with pytest.raises(ReadingsError, match=r"no column 'optical_power_mw' in these readings"):
        fit_hunt(sweep().drop(columns="optical_power_mw"))


def test_one_frequency_is_no_sweep() -> None:
    with pytest.raises(ReadingsError, match=r"too few different frequencies for a hunt; found 1; allowed: 30 or more"):
        fit_hunt(sweep().assign(frequency_mhz=60.0))


def test_an_impossible_uncertainty_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"row 1: standard uncertainty u_optical_power_mw; found 0;"):
        fit_hunt(sweep().assign(u_optical_power_mw=0.0))


def test_a_harmonic_above_the_fundamental_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"level of harmonic 2; found '3 dBc'; allowed: order 2 or more"):
        expected(None, None, {2: 3.0})


def test_a_wavelength_of_zero_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"wavelength of line A; found 0; allowed: above 0 nm"):
        expected({"A": 0.0}, None, None)


def test_of_scan_and_wavelength_the_better_known_counts_by_hand() -> None:
    # 0.1 MHz/nm: 500(1) nm and the curve's 0.02 MHz make 50 +- sqrt(0.1^2 + 0.02^2) MHz
    tuning = SimpleNamespace(frequency=lambda nm: ufloat(100.0 - 0.1 * nm, 0.02))
    lines = {name: ufloat(500.0, 1.0) for name in "ABC"}
    scans = {"A": ufloat(50.05, 0.01), "B": ufloat(49.95, 0.5), "C": ufloat(50.9, 0.01), "D": ufloat(61.0, 0.01)}
    told = expected(lines, tuning, None, scans)  # type: ignore[arg-type]
    label = (50.0, pytest.approx(math.hypot(0.1, 0.02), rel=1e-3))
    assert told.lines["A"] == (50.05, 0.01)
    assert told.lines["B"] == (pytest.approx(label[0]), label[1])
    assert told.lines["C"] == (pytest.approx(label[0]), label[1])
    assert told.lines["D"] == (61.0, 0.01)
    (note,) = told.notes
    # 0.9 MHz apart; a two-sided limit of 3.1 standard deviations of 0.1025 MHz is 0.32 MHz
    assert note.startswith("line C: scanned 900 kHz from where its wavelength is expected, limit 3")
    assert told.told
    assert told.count == 4
    assert expected(None, None, None, {"A": ufloat(50.0, 0.1)}).lines == {"A": (50.0, 0.1)}


def test_a_negative_time_constant_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"time constant of the power meter; found '-1 s'; allowed: 0 s or more"):
        fit_hunt(sweep(), time_constant_s=-1.0)


def test_a_drive_beyond_the_shapes_meaning_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"drive ratio P / P_sat of a sweep; found '3'; allowed: 0 to 2.3"):
        fit_hunt(sweep(), drive_ratio=3.0)


def test_a_width_of_zero_is_refused() -> None:
    with pytest.raises(ReadingsError, match=r"FWHM of a line; found '0 MHz'; allowed: above 0 MHz"):
        fit_hunt(sweep(), fwhm_mhz=0.0)


def test_the_scatter_of_a_counter_is_no_wander() -> None:
    # sinc^2 passbands in steps of a fifth of their width; u(f) = 4 kHz moves a reading on the flank by 2 % of the peak
    rng = np.random.default_rng(5)
    centres, wandering = (62.3, 66.1, 71.7), 0
    for _ in range(10):
        f = np.arange(60.0, 75.0, 0.07)
        light = sum(0.32 * np.sinc(0.886 * (f - c) / 0.36) ** 2 for c in centres)
        shown = 0.003 + light * (1 + 0.01 * rng.normal(size=len(f))) + 8e-4 * rng.normal(size=len(f))
        counted, u = f + 0.004 * rng.normal(size=len(f)), np.hypot(0.01 * light, 8e-4)
        table = {"frequency_mhz": counted, "u_frequency_mhz": 0.004, "optical_power_mw": shown, "u_optical_power_mw": u}
        found = fit_hunt(pd.DataFrame(table))
        wandering += any(c.name == "shape" and not c.passed for c in found.fit.checks)
        peaks = [p.frequency_mhz for p in found.peaks if p.kind != "sidelobe"]
        assert len(peaks) == len(centres)
        assert all(abs(p.n - c) < 4 * p.s for p, c in zip(peaks, centres, strict=True))
    assert wandering <= 1
