"""The efficiency curve of one line: value and uncertainty against other programs, correlations, both directions."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from odrpack import odr_fit
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar
from uncertainties import ufloat

from aotf_lab.crystal import Efficiency, fit_efficiency
from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD, drive_law, law_slopes, power_for
from aotf_lab.drawing import new_figure
from aotf_lab.errors import AotfLabError, FitError, OutOfRangeError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.reading.readings import Readings, join_readings

PEAK, SATURATION = 0.88, 0.415


def sweep(reach: float, points: int = 15, seed: int | None = 1, dark: float = 0.0) -> pd.DataFrame:
    """Return an invented sweep; without ``seed`` the readings are exact."""
    power = np.linspace(reach / points, reach, points) * SATURATION
    light = PEAK * np.sin(np.pi / 2 * np.sqrt(power / SATURATION)) ** 2
    u_power, u_light = 0.008 * power, 0.005 * light + 0.003
    if seed is not None:
        rng = np.random.default_rng(seed)
        power, light = power + u_power * rng.normal(size=points), light + u_light * rng.normal(size=points)
    return pd.DataFrame(
        {"rf_power_w": power, "u_rf_power_w": u_power, "efficiency": light + dark, "u_efficiency": u_light}
    )


def with_scope(table: pd.DataFrame, u_gain: float = 0.01) -> Readings:
    return Readings(table, (CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", u_gain), 2.0),))


def law(power, saturation, peak):
    return peak * np.sin(np.pi / 2 * np.sqrt(power / saturation)) ** 2


@pytest.mark.parametrize("drive_ratio", [0.1, 0.5, 1.0, 1.7])
def test_law_is_the_solution_of_the_coupled_wave_equations(drive_ratio):
    # Yariv & Yeh, Optical Waves in Crystals (1984): dA/dz = i k B, dB/dz = i k A in tune; here integrated numerically
    k = np.pi / 2 * np.sqrt(drive_ratio)
    waves = solve_ivp(lambda z, a: 1j * k * a[::-1], (0, 1), np.array([1, 0], dtype=complex), rtol=1e-10, atol=1e-12)
    expected = abs(waves.y[1, -1]) ** 2
    assert drive_law(np.array([drive_ratio]), QUARTER_PERIOD, 1.0)[0] == pytest.approx(expected, abs=1e-8)


def test_law_is_smooth_through_zero_power_and_its_slopes_are_its_derivatives():
    power, slope, curvature = np.linspace(0.0, 0.7, 8), 5.2, 1.14
    step = 1e-6
    by = (
        (drive_law(power + step, slope, curvature) - drive_law(power - step, slope, curvature)),
        (drive_law(power, slope + step, curvature) - drive_law(power, slope - step, curvature)),
        (drive_law(power, slope, curvature + step) - drive_law(power, slope, curvature - step)),
    )
    for found, expected in zip(law_slopes(power, slope, curvature), by, strict=True):
        np.testing.assert_allclose(found, expected / (2 * step), atol=1e-8)
    low = power[power < QUARTER_PERIOD / (slope * curvature)]
    np.testing.assert_allclose(power_for(drive_law(low, slope, curvature), slope, curvature), low, atol=1e-12)


@pytest.mark.parametrize("reach", [0.5, 0.75, 1.2, 1.5])
def test_value_and_uncertainty_agree_with_orthogonal_distance_regression(reach):
    # odrpack (Boggs et al., ODRPACK, NISTIR 92-4834): errors in both variables, latent powers fitted one by one
    table = sweep(reach, seed=3)
    curve = fit_efficiency(table)
    odr = odr_fit(
        lambda x, b: law(x, *b), table["rf_power_w"].to_numpy(), table["efficiency"].to_numpy(), np.array([0.4, 0.8]),
        weight_x=table["u_rf_power_w"].to_numpy() ** -2, weight_y=table["u_efficiency"].to_numpy() ** -2,
    )  # fmt: skip
    saturation, peak = curve.saturation_power_w, curve.peak_efficiency
    unscaled = np.sqrt(np.diag(odr.cov_beta))
    assert saturation.n == pytest.approx(odr.beta[0], abs=0.05 * saturation.s)
    assert peak.n == pytest.approx(odr.beta[1], abs=0.05 * peak.s)
    np.testing.assert_allclose([saturation.s, peak.s], unscaled, rtol=0.03)


@pytest.mark.parametrize("reach", [0.5, 0.75])
def test_interval_is_where_chi_square_rises_by_the_quantile(reach):
    # profile likelihood (Venzon & Moolgavkar, Appl. Statist. 37, 87 (1988)); here every peak efficiency tried anew
    table = sweep(reach, seed=4)
    x, u_x, y, u_y = (table[c].to_numpy() for c in ("rf_power_w", "u_rf_power_w", "efficiency", "u_efficiency"))

    def lowest(saturation):
        def chi2(peak):
            slope = peak * np.pi / 2 * np.sin(np.pi * np.sqrt(x / saturation)) / np.sqrt(x * saturation) / 2
            return np.sum((y - law(x, saturation, peak)) ** 2 / (u_y**2 + (slope * u_x) ** 2))

        return minimize_scalar(chi2, bounds=(0.05, 1.0), method="bounded", options={"xatol": 1e-10}).fun

    curve = fit_efficiency(table)
    best = lowest(curve.saturation_power_w.n)
    low, high = curve.saturation_interval_w(0.95)
    assert high - curve.saturation_power_w.n > curve.saturation_power_w.n - low
    assert [lowest(low) - best, lowest(high) - best] == pytest.approx([3.8415, 3.8415], abs=0.01)


def test_exact_readings_give_back_the_truth():
    curve = fit_efficiency(sweep(1.2, seed=None), wavelength_nm=589.0, line="E")
    assert curve.level == "full"
    assert curve.fit.trusted
    assert curve.saturation_power_w.n == pytest.approx(SATURATION, rel=1e-7)
    assert curve.peak_efficiency.n == pytest.approx(PEAK, rel=1e-7)
    assert curve.slope_per_w.n == pytest.approx(PEAK * np.pi**2 / 4 / SATURATION, rel=1e-7)
    assert curve.reach.n == pytest.approx(1.2, rel=1e-7)
    assert curve.most_light_w == pytest.approx(SATURATION, rel=1e-7)
    assert (curve.line, curve.wavelength_nm) == ("E", 589.0)


@pytest.mark.parametrize(
    ("reach", "level"),
    [(0.3, "slope only"), (0.4, "slope only"), (0.6, "asymmetric interval"), (0.85, "asymmetric interval"),
     (1.2, "full"), (2.2, "full")],
)  # fmt: skip
def test_level_says_how_far_the_drive_is_proven_to_have_reached(reach, level):
    for seed in range(6):
        assert fit_efficiency(sweep(reach, seed=seed)).level == level


def test_low_drive_gives_the_slope_and_refuses_the_peak():
    curve = fit_efficiency(with_scope(sweep(0.3)), line="B")
    true_slope = PEAK * np.pi**2 / 4 / SATURATION
    assert abs(curve.slope_per_w.n - true_slope) < 3 * curve.slope_per_w.s
    with pytest.raises(FitError, match=r"saturation power of line B .* found a largest drive of 0\.12\d W"):
        _ = curve.saturation_power_w
    with pytest.raises(FitError, match="peak efficiency of line B is not known: the drive was too low"):
        _ = curve.peak_efficiency
    with pytest.raises(FitError, match="peak efficiency of line B is not known"):
        curve.peak_interval()
    low, high = curve.saturation_interval_w()
    assert low < SATURATION < high < 1.1 * QUARTER_PERIOD / curve.slope_per_w.n
    assert [c.name for c in curve.fit.failed] == ["reach"]
    assert "only the initial slope is known" in curve.fit.failed[0].detail
    assert abs(curve.rf_power(0.2).n - 0.0402) < 4 * curve.rf_power(0.2).s


def test_common_power_scale_is_kept_apart():
    table = sweep(1.2)
    bare, shared = fit_efficiency(table), fit_efficiency(with_scope(table))
    indicated, true = shared.saturation_power_indicated_w, shared.saturation_power_w
    assert indicated.n == pytest.approx(bare.saturation_power_w.n)
    assert indicated.s == pytest.approx(bare.saturation_power_w.s)
    assert true.s == pytest.approx(np.hypot(indicated.s, 0.02 * true.n), rel=1e-6)
    assert shared.fit.budget(true)["scope gain"] == pytest.approx(1 - (indicated.s / true.s) ** 2, rel=1e-6)
    assert shared.peak_efficiency.s == pytest.approx(bare.peak_efficiency.s)


def test_power_made_with_the_same_scope_cancels_its_error():
    table = sweep(1.2)
    shared, bare = fit_efficiency(with_scope(table)), fit_efficiency(table)
    power = shared.common_errors[0].applied_to(0.1)
    same, other = shared.efficiency(power), shared.efficiency(0.1)
    assert same.s == pytest.approx(bare.efficiency(0.1).s, rel=1e-6)
    slope = PEAK * np.pi / 2 * np.sin(np.pi * np.sqrt(0.1 / SATURATION)) / np.sqrt(0.1 * SATURATION) / 2
    assert other.s == pytest.approx(np.hypot(same.s, slope * 0.002), rel=0.02)
    foreign = shared.efficiency(ufloat(0.1, 0.002))
    assert foreign.s == pytest.approx(np.hypot(other.s, slope * 0.002), rel=0.02)


def test_two_lines_of_one_scope_keep_their_correlation():
    common = with_scope(sweep(1.2)).common
    first = fit_efficiency(Readings(sweep(1.2, seed=5), common)).saturation_power_w
    second = fit_efficiency(Readings(sweep(1.2, seed=6), common)).saturation_power_w
    apart = np.hypot(0.0079 * first.n, 0.0079 * second.n)  # scatter alone, as in the test of the scale
    assert (first - second).s == pytest.approx(apart, rel=0.1)


def test_both_directions_are_inverse_with_their_correlation():
    curve = fit_efficiency(with_scope(sweep(1.2)))
    powers = np.array([0.02, 0.1, 0.25])
    back = curve.rf_power(curve.efficiency(powers))
    for power, value in zip(powers, back, strict=True):
        assert value.n == pytest.approx(power, rel=1e-9)
        assert value.s < 1e-9
    assert curve.efficiency(0.1).n == pytest.approx(curve.efficiency(powers)[1].n)


def test_uncertainty_of_the_curve_is_what_a_million_draws_give():
    curve = fit_efficiency(sweep(0.75))
    draws = np.random.default_rng(8).multivariate_normal(curve.fit.values, curve.fit.covariance, 1_000_000)
    for power in (0.05, 0.2, 0.3):
        spread = float(np.std(drive_law(np.full(len(draws), power), draws[:, 0], draws[:, 1])))
        assert curve.efficiency(power).s == pytest.approx(spread, rel=0.01)
        assert curve.u_efficiency(np.array([power]))[0] == pytest.approx(spread, rel=0.01)


def test_outside_the_range_is_refused():
    low, full = fit_efficiency(sweep(0.6)), fit_efficiency(sweep(1.2))
    with pytest.raises(OutOfRangeError, match=r"RF power lies outside the measured range; found 0\.4 W"):
        low.efficiency(0.4)
    with pytest.raises(OutOfRangeError, match=r"RF power lies outside the measured range; found -0\.01 W"):
        low.efficiency(-0.01)
    with pytest.raises(OutOfRangeError, match=r"efficiency lies outside the measured range; found 0\.85"):
        low.rf_power(0.85)
    with pytest.raises(OutOfRangeError, match=r"efficiency lies outside the measured range; found 0\.95"):
        full.rf_power(0.95)
    close = full.peak_efficiency.n - 0.5 * full.peak_efficiency.s
    with pytest.raises(OutOfRangeError, match="efficiency lies outside the measured range"):
        full.rf_power(close)
    assert full.rf_power(0.97 * full.peak_efficiency.n).n < full.saturation_power_w.n


def test_confidence_outside_zero_to_one_is_refused():
    with pytest.raises(AotfLabError, match=r"coverage probability; found 95"):
        fit_efficiency(sweep(0.6)).saturation_interval_w(95)


def test_peak_interval_ends_at_one():
    table = sweep(0.5, seed=None).assign(efficiency=lambda t: t["efficiency"] / PEAK * 0.99)
    low, high = fit_efficiency(table).peak_interval()
    assert low < 0.99 < high
    assert high == 1.0


def test_list_of_tables_and_joined_readings_give_the_same():
    up, down = sweep(1.2, seed=1), sweep(1.2, seed=2)
    before = up.copy()
    several = fit_efficiency([up, down])
    joined = fit_efficiency(join_readings([Readings(up), Readings(down)]))
    assert several.saturation_power_w.n == joined.saturation_power_w.n
    assert several.saturation_power_w.s < fit_efficiency(up).saturation_power_w.s
    pd.testing.assert_frame_equal(up, before)


def test_text_and_html_show_values_and_failed_checks():
    weak, middle, full = (fit_efficiency(sweep(r), line="<E>", wavelength_nm=588.9) for r in (0.3, 0.7, 1.2))
    assert str(full).startswith("Efficiency of line <E> at 588.90 nm\n  level             full\n")
    assert "chi2/dof" in str(full)
    assert "(95 %)" in str(middle)
    assert "FAILED reach" in str(weak)
    assert "bounds" in str(weak)
    assert "<caption>Efficiency of line &lt;E&gt;" in weak._repr_html_()
    assert "<li>FAILED reach" in weak._repr_html_()
    assert "<ul>" not in full._repr_html_()


@pytest.mark.parametrize("reach", [0.3, 0.7])
def test_plot_draws_on_the_axes_given(reach):
    _, (ax,) = new_figure()
    table = sweep(reach).drop(columns="u_rf_power_w" if reach == 0.3 else "u_efficiency")
    curve: Efficiency = fit_efficiency(table, line="E")
    assert curve.plot(ax) is ax
    assert ax.get_xlabel() == "RF power P (W)"
    shown = [t.get_text() for t in ax.get_legend().get_texts()]
    assert any("saturation" in t for t in shown) == (reach == 0.7)
