"""What ``passbands`` says of lines with known truth.

Outside: brute-force maxima and random draws by numpy, exact phase matching by the two crossings of the index surfaces,
and scans that are simulated without the package's own model (tests/benchmarks/scan_bench.py).
"""

import numpy as np
import pandas as pd
import pytest
from uncertainties import correlated_values, ufloat

from aotf_lab import fit_efficiency_lines, fit_scan, fit_tuning
from aotf_lab.crystal.passbands.bound import Spread, least_detuning
from aotf_lab.crystal.passbands.passband import NULLS, Passband
from aotf_lab.crystal.passbands.passbands import passbands
from aotf_lab.errors import AotfLabError, FitError
from aotf_lab.estimation import u_by_cause
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.sidelobes import from_here_on, phase_spread, sinc_square
from tests.benchmarks.scan_bench import LEANS, Scenario, Truth, grids, measured

RATE = 2 * 1.391557 / 0.30
LINES = pd.DataFrame(
    {"wavelength_nm": [473.19, 556.42, 589.12, 671.29], "u_wavelength_nm": 0.1,
     "frequency_mhz": [86.34, 69.08, 64.24, 54.76], "u_frequency_mhz": 0.005, "label": list("BDEG")}
)  # fmt: skip


def one_line(**changes):
    facts = {"peak_mhz": ufloat(64.0, 0.002), "rate_per_mhz": ufloat(RATE, 0.05), "skew": ufloat(0.1, 0.01),
             "saturation_power_w": ufloat(0.4, 0.01), "peak_efficiency": ufloat(0.88, 0.01)}  # fmt: skip
    return Passband("E", 589.1, **(facts | changes))


def drive_table(saturation_w=0.42, peak=0.88, reach=1.4):
    power = saturation_w * reach * np.arange(1, 13) / 12
    light = peak * np.sin(np.pi / 2 * np.sqrt(power / saturation_w)) ** 2
    return pd.DataFrame(
        {"rf_power_w": power, "u_rf_power_w": 0.005 * power, "efficiency": light, "u_efficiency": 0.004}
    )


@pytest.fixture(scope="module")
def scans():
    rng, scenario, found = np.random.default_rng(3), Scenario("both"), {}
    for name, centre, width, drive in (("E", 64.24, 0.30, 1.0), ("B", 86.34, 0.31, 0.6)):
        truth = Truth(centre, width, 0.08, drive, "tanh D")
        found[name] = truth, fit_scan(measured(scenario, truth, grids(scenario, truth, rng), rng), drive_ratio=drive,
                                      line=name)  # fmt: skip
    return found


@pytest.fixture(scope="module")
def efficiency():
    return fit_efficiency_lines({"E": (drive_table(), 589.12)})


@pytest.fixture(scope="module")
def found(scans, efficiency):
    nm = {"E": 589.12, "B": 473.19, "D": 556.42, "Z": None}
    return passbands({n: s for n, (_, s) in scans.items()}, efficiency, fit_tuning(LINES), wavelengths_nm=nm)


def test_highest_lobe_to_come_is_the_running_maximum():
    s = np.linspace(0.0, 60.0, 600_001)
    running = np.maximum.accumulate(sinc_square(s)[::-1])[::-1]
    inside = s < 55.0
    assert np.max(np.abs(from_here_on(s) - running)[inside]) < 2e-8


def test_phase_spread_agrees_with_random_draws():
    rng = np.random.default_rng(1)
    for s, u in ((np.pi, 0.05), (4.0, 0.3), (20.0, 1.5), (50.0, 30.0)):
        drawn = np.sin(s + u * rng.standard_normal(400_000)) ** 2 - np.sin(s) ** 2
        assert phase_spread(s, u) == pytest.approx(np.sqrt(np.mean(drawn**2)), rel=0.01)


def test_width_of_a_scan_is_taken_back_to_weak_drive(scans, found):
    """The scans' truth is a detuning per MHz, made from their width at their own drive by an independent root."""
    for name, (truth, _) in scans.items():
        rate = found.line(name).rate_per_mhz
        assert abs(rate.n - truth.per_mhz) < 3.5 * rate.s
        assert rate.s < 0.03 * rate.n
        assert found.fwhm_mhz(name).n > 1.03 * truth.fwhm_mhz


def test_main_lobe_agrees_with_random_draws_of_the_parameters():
    rng = np.random.default_rng(2)
    mean, covariance = np.array([64.0, RATE, 0.1, 0.4, 0.88]), np.diag([0.003, 0.08, 0.02, 0.012, 0.01]) ** 2
    covariance[0, 2] = covariance[2, 0] = 0.8 * 0.003 * 0.02
    line = Passband("E", 589.1, *correlated_values(mean, covariance))
    draws = rng.multivariate_normal(mean, covariance, 4000)
    for f, power in ((64.0, 0.3), (64.08, 0.4), (63.88, 0.2), (64.12, 0.5)):
        values = []
        for peak, rate, skew, saturation, top in draws:
            away = rate * (f - peak)
            d, q2 = away * (1 - skew * np.tanh(away)), np.pi**2 / 4 * power / saturation
            s = np.sqrt(q2 + d * d)
            values.append(top * q2 * (np.sin(s) / s) ** 2)
        answer = line.efficiency(f, power)
        assert answer.n == pytest.approx(np.mean(values), abs=0.1 * np.std(values))
        assert answer.s == pytest.approx(np.std(values), rel=0.05)
        assert line.in_main_lobe(f, power)


def test_far_from_the_peak_the_spread_of_the_nulls_counts():
    """At a null a linear law knows no spread; random draws of peak, width and lean do."""
    line, rng = one_line(), np.random.default_rng(5)
    f = np.linspace(66.0, 66.4, 400)
    null = float(f[np.argmin(line.nominal(f, 0.4))])
    peak, rate, skew = 64 + 0.002 * rng.standard_normal(9000), RATE + 0.05 * rng.standard_normal(9000), 0.1
    away = rate * (null - peak)
    d = away * (1 - (skew + 0.01 * rng.standard_normal(9000)) * np.tanh(away))
    s = np.sqrt(np.pi**2 / 4 + d * d)
    drawn = 0.88 * np.pi**2 / 4 * (np.sin(s) / s) ** 2
    answer = line.efficiency(null, 0.4)
    assert answer.s == pytest.approx(np.sqrt(np.mean((drawn - answer.n) ** 2)), rel=0.1)
    assert NULLS in u_by_cause(answer)
    assert not line.in_main_lobe(null, 0.4)


@pytest.mark.parametrize("form", ["tanh D", "tanh D/2", "sign D"])
@pytest.mark.parametrize("skew", [0.1, -0.1])
def test_bound_holds_for_every_form_of_lean(form, skew):
    line, f = one_line(skew=ufloat(skew, 0.01)), np.linspace(60.0, 68.0, 40_001)
    d = LEANS[form](RATE * (f - 64.0), skew)
    s = np.sqrt(np.pi**2 / 4 * 0.9 + d * d)
    true = 0.88 * np.pi**2 / 4 * 0.9 * (np.sin(s) / s) ** 2
    assert np.all(true <= line.upper(f, 0.36) * (1 + 1e-9))


def test_bound_never_falls_into_a_null_and_is_not_idle():
    line, f = one_line(), np.linspace(64.5, 75.0, 5000)
    upper, nominal = line.upper(f, 0.4), line.nominal(f, 0.4)
    assert np.all(np.diff(upper) <= 1e-12)
    tops = nominal[1:-1][(nominal[1:-1] > nominal[:-2]) & (nominal[1:-1] > nominal[2:])]
    assert 10 * np.log10(upper[:200].max() / tops[0]) < 4.0
    assert float(line.upper(64.0, 0.4)) == pytest.approx(0.90, abs=0.01)


@pytest.mark.parametrize(("nm", "incidence"), [(450.0, 10.6), (589.0, 10.6), (671.0, 10.6), (589.0, 16.2)])
def test_mismatch_bends_less_than_allowed_for(nm, incidence):
    """The distance of the tip k_i + K from the ellipsoid, against frequency, by numpy alone."""
    n_o, n_e = float(ordinary_index(nm)), float(extraordinary_index(nm))
    light, sound = np.radians(incidence), np.radians(5.3 if incidence < 11 else 8.6)

    def outside(grating):
        x = n_o * np.sin(light) + grating * np.cos(sound)
        z = n_o * np.cos(light) - grating * np.sin(sound)
        r = np.hypot(x, z)
        return r * (1.0 - 1.0 / np.hypot(x / n_e, z / n_o))

    grid = np.linspace(1e-4, 0.5, 200_001)
    first = grid[np.argmax(np.diff(np.sign(outside(grid))) != 0)]
    assert first > 0.01
    slope = (outside(first * 1.0001) - outside(first * 0.9999)) / (0.0002 * first)
    for share in (-0.4, -0.1, 0.1, 0.4):
        straight = slope * share * first
        assert outside(first * (1 + share)) / straight > 1 - 0.2 * abs(share)


def test_least_detuning_is_nothing_where_the_peak_may_be():
    spread = Spread((64.0, 0.01), (RATE, 0.1), (0.1, 0.01))
    assert float(least_detuning(np.array(64.02), spread)) == 0.0


def test_drive_narrows_the_passband_and_raises_sidelobes():
    line = one_line(skew=ufloat(0.0, 0.01))
    assert line.fwhm_at(0.4).n / line.fwhm_mhz.n == pytest.approx(0.9016, abs=2e-4)


def test_lines_without_scan_or_efficiency_get_wider_u_and_are_named(found):
    assert found.lines == ("B", "D", "E")
    assert found.peak_mhz("D").n == pytest.approx(69.08, abs=0.02)
    assert found.line("D").rate_per_mhz.s > 2 * found.line("E").rate_per_mhz.s
    assert found.fwhm_mhz("D").n == pytest.approx(0.5 * (found.fwhm_mhz("B").n + found.fwhm_mhz("E").n), rel=0.05)
    assert "Z" in found.missing
    said = " ".join(found.remarks)
    assert "D was not scanned" in said
    assert "B lies far beyond" in said
    assert found.saturation_power_w("B").s / found.saturation_power_w("B").n > 0.05
    assert found.saturation_power_w("D").n == pytest.approx(0.42 * (556.42 / 589.12) ** 2, rel=0.01)


def test_shared_power_scale_cancels_in_ratios_of_lines(found):
    ratio = found.saturation_power_w("D") / found.saturation_power_w("E")
    assert ratio.s / ratio.n < 0.04
    light = found.efficiency("E", [64.2, 64.24, 64.3], 0.2)
    assert (light[1] - light[1]).s < 1e-15
    assert (light[0] - light[2]).s < light[0].s + light[2].s


def test_weak_drive_alone_gives_a_wide_saturation_power(scans):
    weak = fit_efficiency_lines({"E": (drive_table(reach=0.1), 589.12)})
    found = passbands({"E": scans["E"][1]}, weak, wavelengths_nm={"E": 589.12})
    power = found.saturation_power_w("E")
    assert abs(power.n - 0.42) < 2.5 * power.s
    assert power.s > 0.1 * power.n
    assert "slope" in found.remarks[0]


def test_without_efficiency_peaks_stand_and_light_does_not(scans):
    found = passbands([scans["E"][1]])
    assert found.lines == ("E",)
    assert found.fwhm_mhz("E").n == pytest.approx(0.33, abs=0.02)
    with pytest.raises(FitError, match="no efficiency against RF power"):
        found.nominal("E", 64.2, 0.3)
    assert "not known" in str(found)
    assert "<table>" in found._repr_html_()


def test_width_may_be_stated_where_nothing_was_scanned(efficiency):
    found = passbands((), efficiency, fit_tuning(LINES), wavelengths_nm={"E": 589.12}, fwhm_mhz=0.3)
    assert found.fwhm_mhz("E").s == pytest.approx(0.03, rel=0.01)


def test_no_line_left_is_an_error():
    with pytest.raises(AotfLabError, match="no line with a passband; found no scan and no wavelength"):
        passbands()


def test_unknown_line_and_negative_power_are_errors(found):
    with pytest.raises(AotfLabError, match="no passband of this line; found 'Q'"):
        found.nominal("Q", 64.0, 0.1)
    with pytest.raises(AotfLabError, match="neither a scan nor its wavelength"):
        found.line("Z")
    with pytest.raises(AotfLabError, match=r"RF power; found -0\.1"):
        found.nominal("E", 64.0, -0.1)


def test_plot_draws_every_line(found):
    from matplotlib import pyplot as plt

    ax = found.plot(0.3)
    assert [t.get_text() for t in ax.texts] == ["B", "D", "E"]
    plt.close(ax.figure)
