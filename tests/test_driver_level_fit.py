"""RF power over supply and band. Behaviour on invented benches with known truth; laws stand here once more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver.level import fit_level
from aotf_lab.errors import OutOfRangeError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.reading import Instruments, Readings, Scope, join_readings, read_scope_levels
from aotf_lab.reading.chain import RollOffError
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED

SUPPLIES = np.array([4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0])
BAND = np.arange(44.0, 97.0, 2.0)
U = 0.01


def truth(v, f, knee_w=1e9):
    """Power (W): the square of the supply over 3 V, a ripple over the band, a knee."""
    linear = 0.0125 * (v - 3.0) ** 2 * 10 ** (0.03 * np.sin(f / 3.0))
    return linear / (1 + (linear / knee_w) ** 4) ** 0.25


def table(v, f, power, rng=None, **more):
    noise = 0.0 if rng is None else U * rng.standard_normal(len(power))
    shown = power * (1 + noise)
    columns = {"supply_v": v, "frequency_mhz": f, "rf_power_w": shown, "u_rf_power_w": U * shown, **more}
    return pd.DataFrame(columns)


def both_runs(rng=None, law=truth, common=((), ()), factor=1.0, current=False):
    """The readings over the band at 8 V and over the supply at 64 MHz; the latter times ``factor``."""
    f, v = 64.0 + 0 * SUPPLIES, 8.0 + 0 * BAND
    along = law(SUPPLIES, f)
    more = {"supply_a": 0.03 + 0.14 * np.sqrt(along)} if current else {}
    return [
        Readings(table(v, BAND, law(v, BAND), rng), tuple(common[0])),
        Readings(table(SUPPLIES, f, factor * along, rng, **more), tuple(common[1])),
    ]


def gain_error(u=0.03):
    return CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", u), 2.0)


@pytest.fixture(scope="module")
def level():
    return fit_level(both_runs(np.random.default_rng(1), common=((gain,), (gain,))))


gain = gain_error()


def test_power_comes_back_away_from_both_runs(level):
    for v, f in ((5.5, 50.0), (9.5, 75.0), (10.8, 90.0)):
        power = level.rf_power(v, f)
        assert abs(power.n - truth(v, f)) < 0.02 * truth(v, f)
        assert power.s == pytest.approx(0.06 * power.n, rel=0.05)


def test_noiseless_readings_give_the_law_itself():
    level = fit_level(both_runs())
    assert level.along_supply.root(np.array([9.3]))[0] ** 2 == pytest.approx(truth(9.3, 64.0), rel=1e-4)
    # the shape is smoothed as readings of 1 % deserve: a quarter of their u at most
    assert level.rf_power(9.3, 64.0).n == pytest.approx(truth(9.3, 64.0), rel=U / 4)
    assert level.along_supply.fit.parameters["threshold"].n == pytest.approx(3.0, abs=2e-3)


def test_the_scale_cancels_in_a_ratio(level):
    first, second = level.rf_power(6.0, 55.0), level.rf_power(9.0, 85.0)
    ratio = first / second
    assert ratio.s / ratio.n < 0.02
    assert "scope gain" not in {k for k, share in level.fit.budget(ratio).items() if share > 1e-9}


def test_arrays_keep_their_shape(level):
    powers = level.rf_power(np.array([[6.0], [8.0]]), np.array([50.0, 60.0, 70.0]))
    assert powers.shape == (2, 3)
    assert powers[1, 2].n == pytest.approx(level.rf_power(8.0, 70.0).n)


def test_supply_is_the_inverse_and_keeps_the_uncertainty(level):
    supply = level.supply(0.3, 70.0)
    power = level.rf_power(supply.n, 70.0)
    assert power.n == pytest.approx(0.3, abs=1e-6)
    step = 0.01
    rise = (level.rf_power(supply.n + step, 70.0).n - level.rf_power(supply.n - step, 70.0).n) / (2 * step)
    assert supply.s == pytest.approx(power.s / rise, rel=1e-3)
    assert (rise * supply + power).s < 1e-3 * power.s


def test_the_hottest_frequency_is_that_of_the_ripple(level):
    # sin(f / 3) is 1 at f = 3 (pi / 2 + 2 pi n): 61.26 and 80.11 MHz, 42.41 MHz lies below the band
    assert min(abs(level.hottest_mhz(8.0) - top) for top in (61.26, 80.11)) < 1.0
    assert abs(level.hottest_mhz(8.0, (70.0, 90.0)) - 80.11) < 1.0


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda level: level.rf_power(12.0, 60.0), r"supply voltage lies outside .* found 12 V; allowed: 4 to 11 V"),
        (lambda level: level.rf_power(8.0, 40.0), r"frequency lies outside .* found 40 MHz; allowed: 44 to 96 MHz"),
        (lambda level: level.supply(5.0, 60.0), r"RF power at 60 MHz lies outside .* found 5 W; allowed: 0.01"),
        (lambda level: level.supply(0.2, 99.0), r"frequency lies outside the measured range; found 99 MHz"),
        (lambda level: level.hottest_mhz(8.0, (40.0, 60.0)), r"frequency lies outside .* found 40 MHz"),
    ],
)
def test_nothing_is_extrapolated(level, ask, message):
    with pytest.raises(OutOfRangeError, match=message):
        ask(level)


def test_a_knee_is_found_where_it_was_reached():
    level = fit_level(both_runs(np.random.default_rng(2), lambda v, f: truth(v, f, 0.5)))
    q = level.along_supply.fit.parameters["q"]
    assert q.n > 5 * q.s
    assert "of the slope in dB is lost" in next(c.detail for c in level.fit.checks if c.name == "supply law")
    assert level.rf_power(11.0, 64.0).n == pytest.approx(truth(11.0, 64.0, 0.5), rel=0.03)
    # beyond the knee it may give way at one output or at one drive: 64 MHz is certain, the top of the ripple not
    assert "at which output the amplifier gives way" in level.fit.budget(level.rf_power(11.0, 80.0))
    assert (
        level.rf_power(11.0, 80.1).s / level.rf_power(11.0, 80.1).n
        > level.rf_power(6.0, 80.1).s / level.rf_power(6.0, 80.1).n
    )


def test_a_law_that_fails_is_replaced_by_a_smooth_curve():
    def other(v, f):
        return truth(v, f) * (1 + 0.25 * np.sin(1.4 * v))

    level = fit_level(both_runs(np.random.default_rng(3), other))
    check = next(c for c in level.fit.checks if c.name == "supply law")
    assert not check.passed
    assert "a smooth curve stands instead" in check.detail
    power = level.rf_power(7.0, 64.0)
    assert abs(power.n - other(7.0, 64.0)) < 3 * power.s
    assert len(level.fit.parameters) == level.fit.covariance.shape[0]


def test_a_run_read_peak_to_peak_brings_its_shape_and_not_its_scale():
    swing = CommonError("harmonics (peak to peak)", "rf_power_w", "relative", new_cause("peak to peak", 0.23))
    level = fit_level(both_runs(np.random.default_rng(4), common=((gain,), (gain, swing)), factor=1.3))
    assert level.anchored_on_band
    power = level.rf_power(9.5, 70.0)
    assert abs(power.n / truth(9.5, 70.0) - 1) < 0.03
    assert power.s / power.n == pytest.approx(0.06, rel=0.1)
    assert "peak to peak" not in level.fit.budget(power)


def test_joined_files_keep_their_own_way_of_reading(log):
    bench = Instruments(scope=Scope(probe=1.0, pad_db=30.0))
    head = "Supply (V),Counter (MHz),Scope"
    band = "\n".join(f"8,{f},{(truth(8.0, f) / 20) ** 0.5}" for f in BAND)
    run = "\n".join(f"{v},64,{3.0 * (truth(v, 64.0) / 20) ** 0.5}" for v in SUPPLIES)
    rms = read_scope_levels(log(f"{head} (Vrms)\n{band}\n", "band.csv"), bench)
    swing = read_scope_levels(log(f"{head} (Vpp)\n{run}\n", "run.csv"), bench)
    apart, joined = fit_level([rms, swing]), fit_level(join_readings([rms, swing]))
    assert joined.rf_power(9.3, 70.0).n == pytest.approx(apart.rf_power(9.3, 70.0).n, rel=1e-12)
    assert joined.rf_power(9.3, 70.0).s == pytest.approx(apart.rf_power(9.3, 70.0).s, rel=1e-9)
    assert joined.anchored_on_band


def test_the_better_known_run_sets_the_scale_whichever_it_is():
    swing = CommonError("harmonics (peak to peak)", "rf_power_w", "relative", new_cause("peak to peak", 0.23))
    parts = both_runs(np.random.default_rng(4), common=((gain, swing), (gain,)))
    parts[0] = replace(parts[0], table=parts[0].table.assign(rf_power_w=1.3 * parts[0].table["rf_power_w"]))
    level = fit_level(parts)
    assert not level.anchored_on_band
    power = level.rf_power(9.5, 70.0)
    assert abs(power.n / truth(9.5, 70.0) - 1) < 0.03
    assert power.s / power.n == pytest.approx(0.06, rel=0.1)


def test_the_doubt_about_the_roll_off_grows_over_the_band():
    pole = new_cause("scope bandwidth", 0.3)
    error = RollOffError("scope bandwidth", "rf_power_w", "relative", pole, 0.1, 200.0)
    level = fit_level(both_runs(common=((error,), (error,))))
    for f in (45.0, 64.0, 95.0):
        share = (f / 200) ** 2 / (1 + (f / 200) ** 2)
        by_cause = level.rf_power(8.0, f).error_components()
        u = next(u for variable, u in by_cause.items() if variable.tag == "scope bandwidth")
        assert u / level.rf_power(8.0, f).n == pytest.approx(0.3 * share, rel=1e-3)


def test_runs_that_disagree_are_told():
    level = fit_level(both_runs(np.random.default_rng(5), common=((gain,), (gain,)), factor=1.2))
    check = next(c for c in level.fit.checks if c.name == "both runs agree")
    assert not check.passed
    assert "changed between the two runs" in check.detail


def test_readings_at_other_settings_are_held_against_the_curve():
    v, f = np.repeat([5.0, 10.0], 6), np.tile([50.0, 57.0, 67.0, 73.0, 81.0, 93.0], 2)
    rng = np.random.default_rng(6)
    for law, passes in ((truth, True), (lambda v, f: truth(v, f) * np.where(v > 9, (f / 64.0) ** 0.5, 1.0), False)):
        parts = [*both_runs(np.random.default_rng(7)), Readings(table(v, f, law(v, f), rng))]
        check = next(c for c in fit_level(parts).fit.checks if c.name == "readings at other settings")
        assert check.passed is passes
        assert "12 readings that neither run used" in check.detail


def test_current_heat_and_efficiency():
    level = fit_level(both_runs(current=True))
    power = truth(9.0, 80.0)
    dc = 9.0 * (0.03 + 0.14 * power**0.5)
    assert level.dc_power_w(9.0, 80.0).n == pytest.approx(dc, rel=2e-3)
    assert level.heat_w(9.0, 80.0).n == pytest.approx(dc - power, rel=5e-3)
    assert level.efficiency(9.0, 80.0).n == pytest.approx(power / dc, rel=3e-3)
    assert "keeps" in str(level)


def test_without_current_there_is_no_heat(level):
    with pytest.raises(ReadingsError, match=r"no current of the amplifier's supply; found no column supply_a"):
        level.heat_w(8.0, 60.0)


def test_too_few_settings():
    one = both_runs()[0]
    with pytest.raises(ReadingsError, match=r"too few different supplies at one frequency; found 1; allowed: at least"):
        fit_level(one)
    with pytest.raises(ReadingsError, match=r"too few different frequencies at one supply; found 1; allowed: at least"):
        fit_level(both_runs()[1])
    with pytest.raises(ReadingsError, match=r"no readings of level; found 0"):
        fit_level([])


def test_a_power_of_zero_is_named():
    parts = both_runs()
    parts[1].table.loc[2, "rf_power_w"] = 0.0
    with pytest.raises(ReadingsError, match=r"row 3: rf_power_w that cannot be fitted; found 0; allowed"):
        fit_level(parts)


def test_a_column_that_is_missing():
    with pytest.raises(ReadingsError, match=r"no column 'supply_v' in these readings"):
        fit_level(both_runs()[0].table.drop(columns="supply_v"))


def test_readings_without_uncertainty_are_said_to_be_so():
    parts = [p.table.drop(columns="u_rf_power_w") for p in both_runs(np.random.default_rng(8))]
    level = fit_level(parts)
    assert not level.fit.trusted
    assert any("no uncertainty was stated" in c.detail for c in level.fit.failed)
    assert level.rf_power(9.0, 70.0).s > 0


def test_an_unstated_scale_is_said():
    cause = Instruments(scope=Scope()).causes[POWER_SCALE_UNSTATED]
    error = CommonError(POWER_SCALE_UNSTATED, "rf_power_w", "relative", cause)
    level = fit_level(both_runs(common=((error,), (error,))))
    assert not level.power_scale_known
    assert any(c.name == "power scale" and "any factor" in c.detail for c in level.fit.failed)


def test_plots_show_readings_and_wall(level):
    over_band, against_supply = level.plot(limit_w=0.8), level.plot_supply(limit_w=0.8)
    for ax in (over_band, against_supply):
        assert "limit 0.8 W" in [t.get_text() for t in ax.get_legend().get_texts()]
        assert ax.get_ylim()[1] > 0.8
    assert len(over_band.lines[1].get_xdata()) == len(level.band_run.rows)
    assert level._repr_html_().startswith("<pre>")
