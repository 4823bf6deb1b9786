"""Counts, units and aliases: the factor is named, with the rows and the frequency that they would have."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.reading.counter import read_counter
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.alias import aliased, fold_frequency
from aotf_lab.reading.sanity.counts import false_counts
from aotf_lab.reading.sanity.mixed_units import mixed_frequency_units
from aotf_lab.reading.sanity.unfold import folded, unfold

DRIVE = np.array([0.4, 0.7, 1.0, 1.4, 1.9, 2.5, 3.1, 3.8, 4.5, 5.2, 6.0, 6.8, 7.5, 8.2, 9.0, 9.8, 10.6, 11.4, 12.2])
TRUE = 41.2 + 5.05 * DRIVE - 0.178 * DRIVE**2 + 0.0062 * DRIVE**3 - 0.9 * np.exp(-DRIVE / 0.9)


def sweep(frequency: np.ndarray, **columns: object) -> Readings:
    table = pd.DataFrame({"drive_v": DRIVE, "frequency_mhz": frequency, **columns})
    return Readings(table.assign(file="vco.csv", line=np.arange(len(table)) + 3))


def wrong(factor: float, rows: slice) -> Readings:
    frequency = TRUE.copy()
    frequency[rows] *= factor
    return sweep(frequency)


def test_folding_is_that_of_the_sampling_theorem():
    # Oppenheim & Schafer, Discrete-Time Signal Processing, 3rd ed., section 4.2: 8 kHz sampled at 6 kHz gives
    # the samples of 2 kHz (the numbers of the example from memory, the folding is the theorem)
    assert folded(np.array([8.0]), 6.0) == pytest.approx(2.0)
    n = np.arange(64)
    assert np.cos(2 * np.pi * 8.0 * n / 6.0) == pytest.approx(np.cos(2 * np.pi * 2.0 * n / 6.0))


@pytest.mark.parametrize("frequency_mhz", [3.0, 47.0, 61.3, 77.7, 112.5, 190.1])
def test_folded_frequency_is_where_the_spectrum_of_the_samples_peaks(frequency_mhz):
    # outside: numpy's discrete Fourier transform of the samples themselves
    rate, many = 100.0, 4000
    samples = np.sin(2 * np.pi * frequency_mhz * np.arange(many) / rate)
    peak = np.fft.rfftfreq(many, 1 / rate)[np.argmax(np.abs(np.fft.rfft(samples)))]
    assert float(folded(np.array([frequency_mhz]), rate)[0]) == pytest.approx(peak, abs=rate / many)


@pytest.mark.parametrize("rate", [61.0, 83.0, 104.0, 126.0, 171.0])
def test_unfolding_gives_the_true_frequencies_back(rate):
    found = unfold(DRIVE, folded(TRUE, rate), rate)
    shift = rate * np.floor(TRUE[0] / rate)  # the whole curve may lie a multiple of the rate higher
    assert found.true_mhz + shift == pytest.approx(TRUE)
    assert found.rises


def test_alias_names_the_true_frequency_of_each_row():
    (found,) = aliased(sweep(folded(TRUE, 160.0)), sample_rate_mhz=160.0)
    rows = np.flatnonzero(TRUE > 80.0)
    assert found.rows == tuple(rows)
    assert found.where == f"vco.csv:{rows[0] + 3}-21"
    assert f"true {TRUE[rows[0]]:.7g} MHz" in found.likely_cause
    assert "any multiple of 160 MHz higher" in found.likely_cause
    assert found.unusable


def test_alias_in_a_band_that_leaves_one_choice():
    (found,) = aliased(sweep(folded(TRUE + 100.0, 100.0)), sample_rate_mhz=100.0, band_mhz=(120.0, 210.0))
    assert len(found.rows) == len(DRIVE)
    assert f"true {TRUE[0] + 100:.7g} MHz" in found.likely_cause
    assert "higher" not in found.likely_cause


def test_alias_without_a_sample_rate_names_only_where_it_folds():
    (found,) = aliased(sweep(folded(TRUE, 140.0)))
    assert "turns at 70" in found.found
    assert "cannot be told" in found.likely_cause
    fold, u_fold = fold_frequency(DRIVE, folded(TRUE, 140.0)) or (0.0, 0.0)
    assert abs(fold - 70.0) < 3 * max(u_fold, 0.01)


def test_no_alias_in_a_true_maximum_or_above_half_of_the_sample_rate():
    assert aliased(sweep(70.0 - 0.4 * (DRIVE - 6.0) ** 2)) == ()
    assert aliased(sweep(TRUE), sample_rate_mhz=100.0) == ()  # no trace shows 96 MHz at 100 MS/s
    assert aliased(sweep(TRUE), sample_rate_mhz=400.0) == ()


@pytest.mark.parametrize(
    ("factor", "what"),
    [(2, "doubled"), (0.5, "halved"), (3, "tripled"), (1 / 3, "a third"), (10, "times too high"), (0.1, "too low")],
)
@pytest.mark.parametrize("rows", [slice(0, 1), slice(5, 9), slice(15, None)])
def test_counts_over_a_stretch(factor, what, rows):
    (found,) = false_counts(wrong(factor, rows))
    assert what in found.what
    assert found.rows == tuple(range(len(DRIVE)))[rows]
    assert f"{TRUE[rows][0]:.7g} MHz" in found.likely_cause
    assert mixed_frequency_units(wrong(factor, rows)) == ()


@pytest.mark.parametrize(("factor", "unit"), [(1e3, "kHz"), (1e6, "Hz"), (1e-3, "GHz")])
def test_mixed_units_list_the_rows_and_their_values(factor, unit):
    frequency = TRUE.copy()
    frequency[[2, 3, 11]] *= factor
    (found,) = mixed_frequency_units(sweep(frequency))
    assert found.what == f"MHz and {unit} are mixed in one column"
    assert found.where == "vco.csv:5-6, 14"
    assert f"{TRUE[2]:.8g} MHz" in found.likely_cause
    assert false_counts(sweep(frequency)) == ()


def test_the_group_that_no_drive_can_have_is_the_wrong_one():
    frequency = np.where(np.arange(TRUE.size) < 7, TRUE, 1e3 * TRUE)  # most rows are in kHz
    (found,) = mixed_frequency_units(sweep(frequency))
    assert found.rows == tuple(range(7, TRUE.size))


def test_a_factor_needs_one_per_cent():
    assert false_counts(wrong(2.15, slice(5, 9))) == ()
    assert mixed_frequency_units(wrong(1100.0, slice(5, 9))) == ()


def test_settings_and_steps_of_the_drive_are_no_miscounts():
    hunts = np.tile(np.arange(44.0, 88.0, 2.0), 2)
    toggled = np.tile([1.4, 12.2], 12) + 0.001 * np.arange(24)
    follows = np.interp(toggled, DRIVE, TRUE)
    shuffled = np.random.default_rng(1).permutation(np.arange(44.0, 97.0, 2.0))
    for table in (
        pd.DataFrame({"frequency_mhz": hunts}),
        pd.DataFrame({"frequency_mhz": shuffled}),
        pd.DataFrame({"drive_v": toggled, "frequency_mhz": follows}),
    ):
        assert false_counts(Readings(table)) + mixed_frequency_units(Readings(table)) == ()


@pytest.mark.parametrize(
    ("unit", "scale", "slip", "named"),
    [("kHz", 1e3, 1e-3, "MHz"), ("MHz", 1.0, 1e3, "kHz"), ("Hz", 1e6, 1e-6, "MHz"), ("GHz", 1e-3, 1e3, "MHz")],
)
def test_mixed_units_are_named_as_the_heading_has_them(log, unit, scale, slip, named):
    true_mhz = 47.0 + 4.1 * np.arange(8)
    cells = true_mhz * scale * np.where(np.arange(8) == 3, slip, 1.0)
    rows = "".join(f"{1.0 + k},{cell:.9g}\n" for k, cell in enumerate(cells))
    readings = read_counter(log(f"Drive (V),Frequency ({unit})\n{rows}"))
    (found,) = mixed_frequency_units(readings)
    assert found.what == f"{unit} and {named} are mixed in one column"
    assert found.rows == (3,)
    assert f"1 of 8 rows are in {named}" in found.likely_cause
    assert "they would be 59.3 MHz" in found.likely_cause
