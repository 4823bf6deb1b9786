"""The efficiency curve on bad input: each a clear error, or a widened result with a named check. Invented data."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.crystal import fit_efficiency
from aotf_lab.errors import FitError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.reading.readings import Readings
from tests.test_crystal_efficiency import PEAK, SATURATION, sweep


def from_file(table: pd.DataFrame) -> Readings:
    return Readings(table.assign(file="efficiency_E.csv", line=np.arange(len(table)) + 2))


def checks(curve) -> dict[str, bool]:
    return {c.name: c.passed for c in curve.fit.checks}


def put(table: pd.DataFrame, row: int, column: str, value: float) -> Readings:
    table.loc[row, column] = value
    return from_file(table)


def driven(low: float, high: float, points: int = 12) -> pd.DataFrame:
    """Return an exact sweep between two drive ratios."""
    power = np.linspace(low, high, points) * SATURATION
    light = PEAK * np.sin(np.pi / 2 * np.sqrt(power / SATURATION)) ** 2
    return pd.DataFrame(
        {"rf_power_w": power, "u_rf_power_w": 0.008 * power, "efficiency": light, "u_efficiency": 0.005 * light + 0.003}
    )


def test_efficiency_above_one_names_file_and_line():
    with pytest.raises(ReadingsError, match=r"efficiency_E\.csv:6: efficiency above 1 that cannot be; found 1\.2"):
        fit_efficiency(put(sweep(1.2), 4, "efficiency", 1.2))
    per_cent = sweep(1.2).assign(efficiency=lambda t: 100 * t["efficiency"], u_efficiency=0.5)
    with pytest.raises(ReadingsError, match="per cent are divided by 100"):
        fit_efficiency(from_file(per_cent))


def test_efficiency_above_one_by_its_own_scatter_is_taken():
    table = sweep(1.2, seed=None).assign(efficiency=lambda t: t["efficiency"] / PEAK * 0.999)
    table.loc[11, "efficiency"] = 1.005
    curve = fit_efficiency(table)
    assert curve.fit.trusted
    assert curve.peak_efficiency.n <= 1
    with pytest.raises(ReadingsError, match=r"row 12: efficiency above 1 that cannot be; found 1\.005"):
        fit_efficiency(table.drop(columns="u_efficiency"))


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("efficiency", -0.1, r"efficiency_E\.csv:3: efficiency below 0 that cannot be; found -0\.1"),
        ("efficiency", np.nan, r"efficiency_E\.csv:3: efficiency above 1 that cannot be; found nan"),
        ("rf_power_w", -0.1, r"efficiency_E\.csv:3: RF power that cannot be; found -0\.1; allowed: 0 W or more"),
        ("rf_power_w", np.nan, r"efficiency_E\.csv:3: RF power that cannot be; found nan"),
        ("u_efficiency", 0.0, r"efficiency_E\.csv:3: u_efficiency: a standard uncertainty that cannot be; found 0;"),
        (
            "u_efficiency",
            -0.1,
            r"efficiency_E\.csv:3: u_efficiency: a standard uncertainty that cannot be; found -0\.1",
        ),
        ("u_rf_power_w", 0.0, r"efficiency_E\.csv:3: u_rf_power_w: a standard uncertainty that cannot be; found 0;"),
        (
            "u_rf_power_w",
            np.inf,
            r"efficiency_E\.csv:3: u_rf_power_w: a standard uncertainty that cannot be; found inf",
        ),
    ],
)
def test_impossible_values_name_file_and_line(column, value, says):
    with pytest.raises(ReadingsError, match=says):
        fit_efficiency(put(sweep(1.2), 1, column, value))


def test_a_reading_without_drive_may_state_its_power_as_exact():
    dark = pd.DataFrame({"rf_power_w": [0.0], "u_rf_power_w": [0.0], "efficiency": [0.001], "u_efficiency": [0.003]})
    curve = fit_efficiency(pd.concat([dark, sweep(1.2)]))
    assert curve.fit.trusted
    assert curve.fit.dof == pytest.approx(14)


def test_missing_column_empty_table_and_too_few_drives():
    with pytest.raises(ReadingsError, match="no column 'efficiency' in these readings"):
        fit_efficiency(sweep(1.2).drop(columns="efficiency"))
    with pytest.raises(ReadingsError, match="no readings at all"):
        fit_efficiency(sweep(1.2).iloc[:0])
    with pytest.raises(ReadingsError, match="nothing to join"):
        fit_efficiency([])
    with pytest.raises(
        ReadingsError, match=r"efficiency_E\.csv: too few different drives .* found 2; allowed: at least 3"
    ):
        fit_efficiency(from_file(pd.concat([sweep(1.2).iloc[[3, 9]]] * 4, ignore_index=True)))


def test_only_overdrive_is_refused():
    with pytest.raises(FitError, match=r"only overdrive: .* lie beyond the peak .* found a lowest drive of 0\.4565 W"):
        fit_efficiency(driven(1.1, 2.0))
    assert fit_efficiency(driven(0.5, 2.0)).saturation_power_w.n == pytest.approx(SATURATION, rel=1e-6)


def test_efficiency_that_falls_with_drive_is_refused():
    falling = sweep(0.8, seed=None)
    falling["efficiency"] = falling["efficiency"].to_numpy()[::-1]
    with pytest.raises(ReadingsError, match=r"efficiency falls as the drive rises .* found 0\.8\d* at 0\.0221 W"):
        fit_efficiency(falling)
    with pytest.raises(ReadingsError, match="efficiency falls as the drive rises"):
        fit_efficiency(falling.drop(columns=["u_efficiency", "u_rf_power_w"]))


def test_no_light_is_refused():
    table = sweep(1.2).assign(efficiency=0.001 * np.array([1, -1, 2, 0, -2] * 3), u_efficiency=0.002)
    with pytest.raises(FitError, match="show no light that rises with drive"):
        fit_efficiency(table)


def test_wrong_zero_fails_the_dark_check_and_says_what_it_costs():
    curve = fit_efficiency(sweep(1.2, dark=0.03))
    assert not checks(curve)["dark"]
    detail = next(c.detail for c in curve.fit.checks if c.name == "dark")
    assert "efficiency without drive is 0.0" in detail
    assert "P_sat would move by" in detail
    assert checks(fit_efficiency(sweep(1.2)))["dark"]


def test_stated_offset_is_fitted_within_its_size():
    offset = CommonError("dark reading", "efficiency", "offset", new_cause("dark reading", 0.03), -1.0)
    curve = fit_efficiency(Readings(sweep(1.2, dark=0.03), (offset,)))
    assert "dark" not in checks(curve)
    assert abs(curve.fit.parameters["dark_offset"].n + 0.03) < 0.01
    assert abs(curve.saturation_power_w.n - SATURATION) < 3 * curve.saturation_power_w.s
    assert curve.fit.budget(curve.saturation_power_w)["dark reading"] > 0
    power = CommonError("scope offset", "rf_power_w", "offset", new_cause("scope offset", 0.004))
    low = sweep(1.2).assign(rf_power_w=lambda t: t["rf_power_w"] - 0.004)
    moved = fit_efficiency(Readings(low, (power, offset)))
    assert abs(moved.fit.parameters["power_offset_w"].n - 0.004) < 3 * moved.fit.parameters["power_offset_w"].s
    interval = moved.saturation_interval_w()
    assert interval[0] < SATURATION < interval[1]


def test_bent_power_scale_fails_the_law_check():
    bent = sweep(1.5).assign(rf_power_w=lambda t: t["rf_power_w"] * (1 - 0.5 * t["rf_power_w"]))
    assert not checks(fit_efficiency(bent))["law"]


def test_too_much_light_fails_the_peak_check():
    table = sweep(0.7, seed=None).assign(efficiency=lambda t: 1.25 * t["efficiency"])
    curve = fit_efficiency(table[table["efficiency"] < 1].assign(u_efficiency=0.002))
    assert not checks(curve)["peak efficiency"]
    assert curve.peak_efficiency.n <= 1


def test_outlier_widens_the_result_and_is_named():
    good, bad = fit_efficiency(sweep(1.2)), fit_efficiency(put(sweep(1.2), 6, "efficiency", 0.5))
    assert bad.saturation_power_w.s > 3 * good.saturation_power_w.s
    assert not checks(bad)["scatter"]
    assert "efficiency_E.csv:8" in next(c.detail for c in bad.fit.failed if c.name == "single readings")


def test_scatter_that_was_scaled_up_leaves_the_power_scale_as_stated():
    table = sweep(0.75)
    tight = table.assign(u_efficiency=table["u_efficiency"] / 3, u_rf_power_w=table["u_rf_power_w"] / 3)
    scope = CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", 0.02), 2.0)
    wide, scaled = fit_efficiency(Readings(table, (scope,))), fit_efficiency(Readings(tight, (scope,)))
    assert scaled.fit.birge > 2
    width, scaled_width = np.diff(wide.saturation_interval_w()), np.diff(scaled.saturation_interval_w())
    assert scaled_width / width == pytest.approx(scaled.fit.coverage_factor() / 1.96, rel=0.1)
    assert np.diff(scaled.peak_interval()) < 2 * np.diff(wide.peak_interval())


def test_unstated_uncertainty_is_estimated_and_said():
    curve = fit_efficiency(sweep(1.2).drop(columns=["u_efficiency", "u_rf_power_w"]))
    assert [c.name for c in curve.fit.failed] == ["stated uncertainty", "stated uncertainty"]
    assert abs(curve.saturation_power_w.n - SATURATION) < 4 * curve.saturation_power_w.s
    low, high = curve.saturation_interval_w()
    assert low < SATURATION < high
    normal = fit_efficiency(sweep(1.2))
    assert curve.fit.coverage_factor() > normal.fit.coverage_factor()
    gaps = fit_efficiency(put(sweep(1.2), 3, "u_efficiency", np.nan))
    assert "1 readings of efficiency state no uncertainty" in gaps.fit.failed[0].detail


def test_several_lines_in_one_table_need_a_name():
    table = pd.concat([sweep(1.2).assign(label="E"), sweep(0.8).assign(label="G")])
    with pytest.raises(
        ReadingsError, match=r"readings of several lines in one table, and none is named; .* allowed: E, G"
    ):
        fit_efficiency(table)
    with pytest.raises(ReadingsError, match="no readings of this line; found 'H'; allowed: E, G"):
        fit_efficiency(table, line="H")
    assert fit_efficiency(table, line="G").range_w[1] == pytest.approx(0.8 * SATURATION, rel=0.05)
    assert fit_efficiency(sweep(1.2).assign(label="E")).line == "E"


def test_wavelength_must_be_one_and_positive():
    assert fit_efficiency(sweep(1.2).assign(wavelength_nm=588.96)).wavelength_nm == 588.96
    two = sweep(1.2).assign(wavelength_nm=[588.96] * 14 + [671.1])
    with pytest.raises(
        ReadingsError, match=r"several wavelengths in the readings of one line; found '588\.96 nm, 671\.1 nm'"
    ):
        fit_efficiency(two)
    with pytest.raises(ReadingsError, match=r"wavelength; found -5 nm; allowed: above 0 nm"):
        fit_efficiency(sweep(1.2), wavelength_nm=-5)
