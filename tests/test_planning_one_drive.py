"""One drive for all lines: the best supply found again by brute force, never above the safe one, and said plainly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError, OutOfRangeError, UnsafeDriveError
from aotf_lab.planning.one_drive import one_drive
from aotf_lab.planning.one_drive_lines import _borrowed
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY
from tests.test_session import copy_of_demo

LINES = list("ABCDEFG")


@pytest.fixture(scope="module")
def found(demo):
    return one_drive(demo)


@pytest.fixture(scope="module")
def truth():
    """Return supplies (n,) and the true efficiency (lines, n), by the simulator's own formulas."""
    supply = np.arange(4.0, 11.0, 0.01)
    rows = []
    for line in SKERRY.lines:
        peak = float(true_peak_frequency(line.wavelength_air_nm))
        rows.append(true_efficiency(peak, true_rf_power(supply, peak), line.wavelength_air_nm))
    return supply, np.array(rows)


def at(grid, rows, supply_v):
    return rows[:, int(np.argmin(np.abs(grid - supply_v)))]


@pytest.mark.parametrize("aim", ["efficiency", "share"])
def test_the_weakest_line_loses_no_more_than_stated(demo, truth, aim):
    # the simulator's truth on a grid of all supplies: nothing of the fit is in it
    grid, rows = truth
    choice = one_drive(demo, aim=aim)
    least = at(grid, rows, choice.supply_v).min()
    best = rows[:, grid <= choice.safe.supply_v].min(axis=0).max()
    assert 100 * (1 - least / best) <= choice.lost_percent


def test_one_lower_supply_serves_all_seven_lines(demo, truth):
    choice = one_drive(demo, aim="share")
    grid, rows = truth
    true_shares = at(grid, rows, choice.supply_v) / SKERRY.crystal.peak_efficiency
    assert round(100 * true_shares.min()) == 97  # 97.6 % is the most that any supply gives the weakest line
    assert len(choice.lines) == 7
    assert choice.supply_v < choice.safe.supply_v - 0.5
    for entry, share in zip(choice.lines, true_shares, strict=True):
        assert abs(entry.share.n - share) < 3 * entry.share.s + 0.005


def test_more_power_gives_less_light_is_said(found, truth):
    grid, rows = truth
    less = {e.line for e in found.lines if e.less_light_at_safe}
    clear = at(grid, rows, found.safe.supply_v) < at(grid, rows, found.supply_v) - 0.03
    assert less == {n for n, c in zip(LINES, clear, strict=True) if c} == set("ABCD")
    words = next(w for w in found.findings if w.startswith("more power gives less light"))
    assert f"{found.safe.supply_v:.2f} V" in words
    assert "* by the law, no drive went so far" in words


def test_each_line_peaks_where_it_truly_does(found, truth):
    grid, rows = truth
    for entry, row in zip(found.lines, rows, strict=True):
        assert abs(entry.peak_supply_v.n - grid[np.argmax(row)]) < 3 * entry.peak_supply_v.s + 0.01


def test_the_scale_of_power_cancels(found):
    # amplifier and efficiency were read with one scope: its 6 % of power must not come back in the light
    for entry in found.lines:
        assert entry.rf_power_w.s / entry.rf_power_w.n > 0.05
        assert (
            entry.peak_supply_v.s
            < 0.5 * entry.rf_power_w.s / entry.rf_power_w.n * (entry.peak_supply_v.n - 3.1) / 2 + 0.07
        )
    assert found["E"].share.s < 0.005


def test_a_supply_is_a_whole_step_and_safe(demo):
    for step in (0.01, 0.25):
        choice = one_drive(demo, step_v=step)
        assert choice.supply_v / step == pytest.approx(round(choice.supply_v / step))
        assert choice.supply_v <= choice.safe.supply_v
    low = replace(demo.safe_supply, supply_v=7.005)
    held = one_drive(replace(demo.curves, safe=low), demo.wavelengths_nm)
    assert held.supply_v == pytest.approx(7.0)
    assert held.within_v[1] == pytest.approx(7.0)


def test_one_line_alone_is_driven_to_its_own_maximum(demo):
    for name in "BE":
        choice = one_drive(demo, [name], aim="share")
        entry = choice[name]
        assert choice.supply_v == pytest.approx(entry.peak_supply_v.n, abs=2 * entry.peak_supply_v.s)
        assert entry.share.n > 0.995


def test_weights_pull_the_supply_to_the_line_that_has_them(demo):
    short = one_drive(demo, weights={"A": 1.0}).supply_v
    even = one_drive(demo, weights=dict.fromkeys(LINES, 1.0))
    long = one_drive(demo, weights={"G": 5.0, "F": 1.0}).supply_v
    assert short < even.supply_v < long
    mean = np.mean([e.efficiency.n for e in even.lines])
    assert even.aimed == pytest.approx(mean, rel=1e-6)


def test_beyond_the_drive_measured_nothing_is_chosen(demo):
    # B, E and G were driven to 1.5 of the saturation power at the most: with B alone the reach is 0.4
    efficiency = demo.efficiency
    short = replace(efficiency, reach=0.5 * efficiency.reach / efficiency.reach.n)
    choice = one_drive(replace(demo.curves, efficiency=short), demo.wavelengths_nm)
    failed = [c for c in choice.checks if not c.passed]
    assert [c.name for c in failed] == ["within the drive measured"]
    assert choice.supply_v < 7.5
    for line, entry in zip(choice.driven, choice.lines, strict=True):
        assert entry.rf_power_w.n <= line.curve.range_w[1] + 1e-9


def test_where_no_supply_is_low_enough(demo):
    short = replace(demo.efficiency, reach=0.01 * demo.efficiency.reach)
    with pytest.raises(OutOfRangeError, match=r"RF power on line . at 4.00 V, the lowest supply, lies outside"):
        one_drive(replace(demo.curves, efficiency=short), demo.wavelengths_nm)


def test_slope_only_is_said(demo):
    own = {"B": demo.efficiency.own["B"]}
    slope = replace(demo.efficiency, own=own, wavelengths_nm={"B": 473.19}, level="slope only")
    curve = replace(own["B"], level="slope only")
    choice = one_drive(replace(demo.curves, efficiency=replace(slope, own={"B": curve})), {"B": 473.19})
    assert choice["B"].share is None
    assert choice.least_share is None
    assert any("slope only for B" in w for w in choice.findings)
    with pytest.raises(AotfLabError, match=r"B: the share of a line's maximum is not known; found the initial"):
        one_drive(replace(demo.curves, efficiency=replace(slope, own={"B": curve})), {"B": 473.19}, aim="share")


def test_without_rating_or_amplifier_it_is_refused(demo):
    unrated = replace(demo.curves, safe=None, rated_rf_power_w=None)
    with pytest.raises(UnsafeDriveError, match=r"there is none; found no rated RF power; .* state \[crystal\]"):
        one_drive(unrated, demo.wavelengths_nm)
    with pytest.raises(AotfLabError, match=r"needs the amplifier's RF power .* found it was not measured"):
        one_drive(replace(demo.curves, level=None), demo.wavelengths_nm)
    with pytest.raises(AotfLabError, match=r"needs efficiency against RF power; found it was not measured"):
        one_drive(replace(demo.curves, efficiency=None), demo.wavelengths_nm)


def test_an_error_within_an_error_lists_what_is_allowed_once(tmp_path):
    session = copy_of_demo(tmp_path)
    for name in "BEG":
        (session.facts.folder / f"efficiency_{name}.csv").write_text("", encoding="utf-8")
    with pytest.raises(AotfLabError, match=r"needs efficiency against RF power; found .*efficiency_B.csv") as told:
        one_drive(session)
    assert str(told.value).count("allowed:") == 1
    assert str(told.value).count("; found ") == 1


def test_lines_that_cannot_be_driven_are_refused_by_name(demo):
    with pytest.raises(AotfLabError, match=r"no such line; found 'Z'; allowed: one of A, B, C, D, E, F, G; name"):
        one_drive(demo, ["A", "Z"])
    with pytest.raises(AotfLabError, match=r"X: the frequency of this line is not known; found neither a scan"):
        one_drive(demo, {"X": None})
    with pytest.raises(OutOfRangeError, match=r"frequency of line 800 nm lies outside|wavelength lies outside"):
        one_drive(demo, [800.0])


def test_a_line_far_from_every_measured_efficiency_is_named(demo):
    # lines of 473 to 671 nm were measured, and a tenth beyond them on either side is told by the law of wavelength
    message = (
        r"deep: the efficiency of this line is not known; found 400.0 nm; allowed: 426 to 738 nm, near lines whose "
        r"efficiency was measured; measure the efficiency of this line"
    )
    with pytest.raises(AotfLabError, match=message):
        _borrowed(demo.efficiency, "deep", 400.0)


def test_weights_steps_and_aims_without_a_meaning(demo):
    with pytest.raises(AotfLabError, match=r"weights without a meaning; found \{'Z': 1.0\}; allowed: 0 or more"):
        one_drive(demo, weights={"Z": 1.0})
    with pytest.raises(AotfLabError, match=r"weights without a meaning; found \{'A': -1.0\}"):
        one_drive(demo, weights={"A": -1.0})
    with pytest.raises(AotfLabError, match=r"a step without a meaning; found 0; allowed: above 0 to 0.5 V"):
        one_drive(demo, step_v=0.0)
    with pytest.raises(AotfLabError, match=r"a step without a meaning; found 20; allowed: above 0 to 0.5 V"):
        one_drive(demo, step_v=20.0)
    with pytest.raises(AotfLabError, match=r"no such aim; found 'most'; allowed: efficiency, share"):
        one_drive(demo, aim="most")


def test_text_and_plot(found):
    text = str(found)
    assert text.startswith(f"One drive for 7 lines: an amplifier supply of {found.supply_v:.2f} V")
    for name in LINES:
        assert f"line {name}" in text
        assert f"line {name}" in found._repr_html_()
    ax = found.plot()
    labels = ax.get_legend_handles_labels()[1]
    assert f"highest safe supply {found.safe.supply_v:.2f} V" in labels
    assert [t.get_text() for t in sorted(ax.texts, key=lambda t: t.get_text())] == LINES
    assert ax.get_xlabel() == "Amplifier supply Vs (V)"
