"""Several lines fitted together: what one line's drive shows, the others may use. Invented data."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.crystal import EfficiencyLines, fit_efficiency, fit_efficiency_lines
from aotf_lab.errors import FitError, OutOfRangeError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.reading.readings import Readings

SATURATION_589 = 0.415
PLAN = {"B": (473.06, 0.4, 0.84), "E": (588.96, 1.5, 0.88), "G": (671.1, 0.75, 0.86)}


def saturation(nm: float, exponent: float = 2.0) -> float:
    return SATURATION_589 * (nm / 589.0) ** exponent


def sweep(nm: float, reach: float, peak: float, exponent: float = 2.0, seed: int | None = 1) -> pd.DataFrame:
    power = np.linspace(reach / 15, reach, 15) * saturation(nm, exponent)
    light = peak * np.sin(np.pi / 2 * np.sqrt(power / saturation(nm, exponent))) ** 2
    u_power, u_light = 0.008 * power, 0.005 * light + 0.003
    if seed is not None:
        rng = np.random.default_rng(seed + int(nm))
        power, light = power + u_power * rng.normal(size=15), light + u_light * rng.normal(size=15)
    return pd.DataFrame({"rf_power_w": power, "u_rf_power_w": u_power, "efficiency": light, "u_efficiency": u_light})


def scope() -> CommonError:
    return CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", 0.01), 2.0)


def three(exponent: float = 2.0, seed: int | None = 1, common: CommonError | None = None) -> EfficiencyLines:
    shared = common or scope()
    return fit_efficiency_lines(
        {n: (Readings(sweep(nm, reach, peak, exponent, seed), (shared,)), nm) for n, (nm, reach, peak) in PLAN.items()}
    )


def check(lines: EfficiencyLines, name: str) -> bool:
    return next(c.passed for c in lines.fit.checks if c.name == name)


def test_exact_readings_give_back_every_line():
    lines = three(seed=None)
    assert lines.level == "full"
    assert lines.fit.trusted
    assert lines.exponent.n == pytest.approx(2.0, abs=1e-6)
    assert lines.saturation_power_w().n == pytest.approx(SATURATION_589, rel=1e-6)
    for name, (nm, _, peak) in PLAN.items():
        curve = lines.line(name)
        assert curve.saturation_power_w.n == pytest.approx(saturation(nm), rel=1e-6)
        assert curve.peak_efficiency.n == pytest.approx(peak, rel=1e-6)
        assert lines.at(nm + 0.2).line == name


def test_a_line_of_low_drive_gains_its_peak_from_the_others():
    lines = three()
    alone, together = lines.own["B"], lines.line("B")
    assert alone.level == "slope only"
    assert together.level == "full"
    power = together.saturation_power_w
    assert abs(power.n - saturation(473.06)) < 3 * power.s
    assert power.s < 0.06 * power.n
    assert together.range_w[1] > 3 * alone.range_w[1]
    near = 0.9 * power.n
    expected = PLAN["B"][2] * np.sin(np.pi / 2 * np.sqrt(near / saturation(473.06))) ** 2
    assert abs(together.efficiency(near).n - expected) < 3 * together.efficiency(near).s
    assert lines.own["E"].saturation_power_w.n == fit_efficiency(sweep(*PLAN["E"])).saturation_power_w.n


def test_scope_error_is_shared_by_all_lines():
    lines = three()
    blue, red = lines.at(473.06).saturation_power_w, lines.at(671.1).saturation_power_w
    ratio = blue / red
    assert ratio.s / ratio.n < 0.04
    budget = lines.fit.budget(lines.saturation_power_w())
    assert budget["scope gain"] > 0.8
    assert "scope gain" not in {k for k, v in lines.fit.budget(ratio).items() if v > 1e-9}
    assert [e.name for e in lines.common_errors] == ["scope gain"]


def test_a_line_never_measured_is_answered_with_the_doubt_that_lines_differ():
    lines = three()
    curve = lines.at(556.27)
    assert curve.line == ""
    assert abs(curve.saturation_power_w.n - saturation(556.27)) < 3 * curve.saturation_power_w.s
    assert 0.02 < curve.peak_efficiency.s < 0.1
    assert (lines.at(556.27).peak_efficiency - curve.peak_efficiency).s < 1e-12
    assert lines.fit.budget(curve.peak_efficiency)["peak efficiency of a line never measured"] > 0.8
    assert lines.at(449.6).saturation_power_w.s / lines.at(449.6).saturation_power_w.n > 0.03


def test_exponent_of_paratellurite_lies_within_the_weak_prior():
    # figure of merit M2 with n^6 (Yariv, IEEE J. Quantum Electron. 9, 919 (1973)); packaged dispersion (Uchida 1971)
    nm = np.array([450.0, 473.0, 671.0, 700.0])

    def power(at):
        return at**2 / (ordinary_index(at, "TeO2") * extraordinary_index(at, "TeO2")) ** 3

    exponents = np.log(power(nm) / power(np.array([589.0]))) / np.log(nm / 589.0)
    assert exponents.min() > 2.45
    assert exponents.max() < 2.95
    lines = three(exponent=2.7)
    assert abs(lines.exponent.n - 2.7) < 3 * lines.exponent.s
    assert lines.fit.trusted
    assert abs(lines.at(450.0).saturation_power_w.n - saturation(450.0, 2.7)) < 3 * lines.at(450.0).saturation_power_w.s


def test_a_line_off_the_law_is_named():
    plan = {n: (sweep(nm, 1.2, 0.85), nm) for n, nm in (("B", 473.06), ("D", 556.27), ("E", 588.96), ("G", 671.1))}
    plan["D"] = (sweep(556.27, 1.2, 0.85).assign(rf_power_w=lambda t: 1.3 * t["rf_power_w"]), 556.27)
    lines = fit_efficiency_lines(plan)
    assert not check(lines, "wavelength law")
    assert "P_sat of line D alone is +" in next(c.detail for c in lines.fit.failed if c.name == "wavelength law")


def test_two_lines_off_the_law_are_both_named():
    plan = {"E": (sweep(588.96, 1.2, 0.85), 588.96), "F": (sweep(637.4, 1.2, 0.85), 637.4)}
    assert check(fit_efficiency_lines(plan), "wavelength law")
    plan["F"] = (plan["F"][0].assign(rf_power_w=lambda t: 1.5 * t["rf_power_w"]), 637.4)
    detail = next(c.detail for c in fit_efficiency_lines(plan).fit.failed if c.name == "wavelength law")
    assert "P_sat of lines E and F differ by" in detail


def test_a_law_far_from_the_square_fails_its_check():
    assert not check(three(exponent=4.5), "prior on exponent")


def test_lines_on_two_scopes_are_brought_together():
    first, second = scope(), scope()
    plan = {
        "E": (Readings(sweep(588.96, 1.5, 0.88, seed=None), (first,)), 588.96),
        "G": (Readings(sweep(671.1, 1.2, 0.86, seed=None), (second,)), 671.1),
    }
    lines = fit_efficiency_lines(plan)
    assert lines.at(671.1).saturation_power_w.n == pytest.approx(saturation(671.1), rel=1e-6)
    assert lines.fit.parameters["power_scale_to_first_0"].s < 0.03
    one = fit_efficiency_lines({n: (Readings(r.table, (first,)), nm) for n, (r, nm) in plan.items()})
    assert one.exponent.s < lines.exponent.s


def test_one_table_with_labels_is_the_same():
    table = pd.concat([sweep(*PLAN[n]).assign(label=n, wavelength_nm=PLAN[n][0]) for n in PLAN])
    lines = fit_efficiency_lines(table)
    apart = fit_efficiency_lines({n: (sweep(*PLAN[n]), PLAN[n][0]) for n in PLAN})
    assert lines.saturation_power_w().n == pytest.approx(apart.saturation_power_w().n, rel=1e-9)
    with pytest.raises(ReadingsError, match="no column 'label' in these readings"):
        fit_efficiency_lines(table.drop(columns="label"))


def test_low_drive_on_all_lines_leaves_slopes():
    lines = fit_efficiency_lines({"B": (sweep(473.06, 0.3, 0.84), 473.06), "E": (sweep(588.96, 0.3, 0.88), 588.96)})
    assert lines.level == "slope only"
    with pytest.raises(FitError, match="no line's saturation power is known: no drive was high enough"):
        lines.saturation_power_w()
    with pytest.raises(FitError, match="no line's saturation power is known"):
        lines.at(530.0)
    assert lines.line("B") is lines.own["B"]
    assert lines.at(473.06).efficiency(0.05).n > 0
    assert "initial slope" in str(lines)


def test_lines_that_cannot_take_part_are_named():
    lines = fit_efficiency_lines(
        {
            "E": (sweep(588.96, 1.5, 0.88), 588.96),
            "A": (sweep(450.0, 1.0, 0.8), None),
            "F": (sweep(637.4, 1.0, 0.8)[:2], 637.4),
        }
    )
    failed = {c.name: c.detail for c in lines.fit.failed}
    assert set(failed) == {"line A", "line F"}
    assert "its wavelength is not known" in failed["line A"]
    assert "too few different drives" in failed["line F"]
    assert lines.line("A") is lines.own["A"]
    with pytest.raises(ReadingsError, match="no such line; found 'F'; allowed: E, A"):
        lines.line("F")
    with pytest.raises(
        ReadingsError,
        match=r"no line that can be fitted .* found '.*too few different drives .* wavelength is not known",
    ):
        fit_efficiency_lines({"A": (sweep(450.0, 1.0, 0.8)[:2], 450.0), "C": (sweep(515.0, 1.0, 0.8), None)})


def test_failed_checks_of_a_line_are_carried_over():
    dark = sweep(588.96, 1.5, 0.88).assign(efficiency=lambda t: t["efficiency"] + 0.04)
    lines = fit_efficiency_lines({"E": (dark, 588.96), "G": (sweep(671.1, 0.75, 0.86), 671.1)})
    assert not check(lines, "line E: dark")


def test_far_beyond_the_measured_wavelengths_is_refused():
    lines = three()
    with pytest.raises(OutOfRangeError, match=r"wavelength lies outside the measured range; found 400 nm"):
        lines.at(400.0)
    with pytest.raises(OutOfRangeError, match=r"wavelength lies outside the measured range; found 750 nm"):
        lines.saturation_power_w(750.0)


def test_text_and_html():
    lines = three()
    assert str(lines).startswith("Efficiency of 3 lines, level full\n  saturation power 0.4")
    assert "  B: saturation power 0.2" in str(lines)
    assert lines._repr_html_().startswith("<p>Efficiency of 3 lines, level full</p><ul><li>saturation power")
