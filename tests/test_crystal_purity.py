"""Crosstalk and contrast on lines and readings with known truth.

Outside: coupled waves by numpy written out here, and the simulated bench.
"""

import numpy as np
import pandas as pd
import pytest
from matplotlib import pyplot as plt
from uncertainties import ufloat

from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.purity.contrast import contrast
from aotf_lab.crystal.purity.crosstalk import crosstalk
from aotf_lab.crystal.purity.leakage import fit_leakage
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from aotf_lab.estimation import new_cause
from aotf_lab.simulate.leakage import LeakageTruth, leakage_run
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency, true_saturation_power
from aotf_lab.simulate.truth import SKERRY

RATE = 2 * 1.391557 / 0.3
PEAKS = {"D": 64.18, "E": 64.0, "G": 58.0}
U_POWER_MW = 0.0012


def passbands_of(peaks=None, u_peak=0.002):
    scale = 1 + new_cause("scope gain", 0.05)
    return Passbands({
        n: Passband(n, None, ufloat(f, u_peak), ufloat(RATE, 0.04), ufloat(0.05, 0.01), 0.4 * scale, ufloat(0.88, 0.01))
        for n, f in (peaks or PEAKS).items()
    })  # fmt: skip


def bench():
    """The demo bench as known: its true peaks, saturation powers and rates."""
    lines = {}
    for line in SKERRY.lines:
        f = float(true_peak_frequency(line.wavelength_air_nm))
        rate = 2 * 1.391557 / (0.3 * (1 + 0.06 * (f - 64.0) / 30.0))
        power = float(true_saturation_power(line.wavelength_air_nm))
        lines[line.name] = Passband(line.name, None, ufloat(f, 0.002), ufloat(rate, 0.03), ufloat(0.1, 0.006),
                                    ufloat(power, 0.02 * power), ufloat(0.88, 0.01))  # fmt: skip
    return Passbands(lines)


def with_u(table):
    u = {f"u_{c}": np.hypot(0.013 * np.abs(table[c]), U_POWER_MW) for c in table if c.endswith("_mw")}
    return table.assign(**u)


def leak(line="G", seed=1, **plan):
    table = leakage_run(np.random.default_rng(seed), SKERRY.line(line), plan=LeakageTruth(**plan))
    return fit_leakage(with_u(table), line=line)


# crosstalk


def test_prediction_in_the_main_lobe_is_a_number_and_a_bound_beyond():
    found = crosstalk(passbands_of(), rf_power_w=0.3)
    near, far = found.cells["E", "D"], found.cells["E", "G"]
    d = RATE * -0.18
    q2 = np.pi**2 / 4 * 0.75
    s = np.hypot(q2**0.5, d * (1 - 0.05 * np.tanh(d)))
    true = q2 * (np.sin(s) / s) ** 2 / np.sin(q2**0.5) ** 2
    assert near.ratio.n == pytest.approx(true, rel=1e-6)
    assert near.predicted_db.n == pytest.approx(10 * np.log10(true))
    assert near.bound > near.ratio.n
    assert far.ratio is None
    assert far.predicted_words.startswith("< -3")
    assert found.rows()[1][1:3] == (near.predicted_words, "-")


def test_incident_light_weights_the_ratio():
    plain = crosstalk(passbands_of(), rf_power_w=0.3)
    weighted = crosstalk(passbands_of(), rf_power_w=0.3, incident_mw={"D": 4.0, "E": 1.0, "G": 1.0})
    assert weighted.cells["E", "D"].ratio.n == pytest.approx(4 * plain.cells["E", "D"].ratio.n)
    assert weighted.cells["D", "E"].bound == pytest.approx(plain.cells["D", "E"].bound / 4)
    assert "light of each line" in str(weighted)


def test_measured_stands_beside_predicted_and_agrees():
    found = crosstalk(bench(), rf_power_w=0.45, measured=[leak("G", scattered=0.0), leak("B", 2, scattered=0.0)])
    assert found.trusted, [str(c) for c in found.checks]
    cell = found.cells["F", "G"]
    power, f = 0.45, float(true_peak_frequency(SKERRY.line("F").wavelength_air_nm))
    true = true_efficiency(f, power, SKERRY.line("G").wavelength_air_nm)
    assert abs(cell.measured.value.n * 0.85 - true) < 4 * cell.measured.value.s
    assert found.cells["F", "A"].measured is None
    assert " / " in found.rows()[0][2]
    assert found.total_db("F") > cell.bound_db


def test_scattered_light_above_every_sidelobe_fails_the_prediction():
    found = crosstalk(bench(), rf_power_w=0.45, measured=[leak("G", scattered=0.02)])
    (check,) = [c for c in found.checks if c.name == "prediction"]
    assert not check.passed
    assert "scattered" in check.detail
    assert "limit" in check.detail


def test_a_harmonic_is_named():
    lines = passbands_of({"A": 96.0, "E": 48.0})
    table = pd.DataFrame({"frequency_mhz": [48.0] * 4, "optical_power_mw": 0.05 + np.array([1, -1, 2, -2]) * 1e-4,
                          "u_optical_power_mw": 2e-4, "incident_power_mw": 1.0, "dark_power_mw": 0.0})  # fmt: skip
    found = crosstalk(lines, rf_power_w=0.4, measured=[fit_leakage(table, line="A")])
    assert "2 x 48.000 MHz" in str(found)
    assert "harmonic" in found._repr_html_()


def test_a_peak_that_moved_fails_the_prediction_in_the_main_lobe():
    lines, f = passbands_of(), 64.0
    light = float(lines.nominal("D", f + 0.05, 0.3))
    table = pd.DataFrame({"frequency_mhz": [f] * 4, "optical_power_mw": light + np.array([1, -1, 2, -2]) * 1e-3,
                          "u_optical_power_mw": 2e-3, "incident_power_mw": 1.0, "dark_power_mw": 0.0})  # fmt: skip
    found = crosstalk(lines, set_mhz={"E": f}, rf_power_w=0.3, measured={"D": fit_leakage(table, line="D")})
    (check,) = [c for c in found.checks if c.name == "prediction"]
    assert not check.passed
    assert "has a peak moved" in check.detail
    assert abs(found.cells["E", "D"].z) > 3.1


def test_readings_at_another_rf_power_are_not_compared():
    table = with_u(leakage_run(np.random.default_rng(1), SKERRY.line("G"))).assign(rf_power_w=0.30)
    found = crosstalk(bench(), rf_power_w=0.45, measured=[fit_leakage(table, line="G")])
    assert found.cells["F", "G"].measured is None
    assert "was read at 0.3 W, not 0.45 W" in str(found)


def test_leakage_averages_settings_and_states_bounds():
    found = leak("G")
    assert len(found.frequency_mhz) == 7
    k = found.nearest(54.76, 0.03)
    assert found.efficiency[k].n == pytest.approx(0.85, abs=0.03)
    assert "below" in str(found)
    assert "<table>" in found._repr_html_()
    assert found.nearest(50.0, 0.03) is None


def test_bad_arguments_are_refused():
    lines = passbands_of()
    with pytest.raises(AotfLabError, match="RF power for line E; found none; allowed: above 0 W"):
        crosstalk(lines, rf_power_w={"D": 0.3})
    with pytest.raises(AotfLabError, match="incident light of line E; found 'none'; allowed: above 0 mW"):
        crosstalk(lines, incident_mw={"D": 1.0, "G": 1.0})
    with pytest.raises(AotfLabError, match="too few lines for crosstalk; found 1"):
        crosstalk(passbands_of({"E": 64.0}))
    with pytest.raises(AotfLabError, match="no such side of the matrix; found 'both'"):
        crosstalk(lines).levels_db("both")
    with pytest.raises(ReadingsError, match="frequency_mhz is not a number; found nan"):
        fit_leakage(leakage_run(np.random.default_rng(1), SKERRY.line("G")).assign(frequency_mhz=np.nan), line="G")
    with pytest.raises(ReadingsError, match="incident light not above its dark reading; found -0"):
        fit_leakage(leakage_run(np.random.default_rng(1), SKERRY.line("G")).assign(incident_power_mw=0.0), line="G")


def test_matrix_is_drawn_with_its_numbers():
    found = crosstalk(bench(), rf_power_w=0.45, measured=[leak("G")])
    ax = found.plot()
    assert len(ax.texts) == 49
    assert any("\n" in t.get_text() for t in ax.texts)
    plt.close(ax.figure)


# contrast


def test_light_that_needs_no_rf_makes_a_best_drive():
    clean, dirty = contrast(passbands_of(), "E", ["G"]), contrast(passbands_of(), "E", ["G"], background=1e-3)
    assert clean.best_power_w == pytest.approx(clean.rf_power_w[0])
    assert clean.rf_power_w[0] < dirty.best_power_w < dirty.most_light_w
    assert dirty.most_light_w == pytest.approx(0.4, rel=0.01)
    assert dirty.best_db < clean.best_db


def test_power_for_a_wanted_contrast_is_the_one_of_most_light():
    found = contrast(passbands_of(), "E", ["G"], background=1e-3)
    wanted = found.contrast_db(0.4) + 0.3
    power = found.power_for(wanted)
    assert 0.2 < power < 0.4
    assert found.contrast_db(power) >= wanted - 1e-9
    assert found.contrast_db(power + 0.01) < wanted
    assert found.power_for(found.contrast_db(0.4) - 0.5) == pytest.approx(found.most_light_w)


def test_contrast_out_of_reach_is_refused():
    found = contrast(passbands_of(), "E", ["G"])
    with pytest.raises(AotfLabError, match=r"no drive gives line E this contrast \(dB\); found 90"):
        found.power_for(90.0)
    with pytest.raises(OutOfRangeError, match="RF power lies outside the measured range; found 5 W"):
        found.contrast_db(5.0)
    with pytest.raises(AotfLabError, match="RF powers to look at; found"):
        contrast(passbands_of(), "E", rf_power_w=[0.3, 0.2])
    with pytest.raises(AotfLabError, match=r"background light over incident light; found -0\.1"):
        contrast(passbands_of(), "E", background=-0.1)


def test_contrast_speaks_and_draws():
    found = contrast(passbands_of(), "E", background=1e-3)
    assert "best contrast" in str(found)
    assert "<table>" in found._repr_html_()
    ax = found.plot()
    assert len(ax.lines) == 4
    plt.close(ax.figure)
