"""The drive panel: every line's light at one drive, against the simulator's truth, and the limit as a wall."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from aotf_lab.errors import UnsafeDriveError
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY
from aotf_lab.widgets.drive_power import BY_POWER, BY_SUPPLY, DrivePanel, drive_state, efficiency_curves


@pytest.fixture(scope="module")
def curves(demo):
    return efficiency_curves(demo)[0]


@pytest.fixture
def panel(demo):
    return DrivePanel(demo)


@pytest.mark.parametrize("supply_v", [6.0, 7.5, 8.5])
def test_light_of_each_line_is_the_true_one_within_its_u(demo, curves, supply_v):
    state = drive_state(demo, curves, BY_SUPPLY, supply_v)
    for line in SKERRY.lines:
        peak = float(true_peak_frequency(line.wavelength_air_nm))
        truth = float(true_efficiency(peak, true_rf_power(np.array([supply_v]), peak), line.wavelength_air_nm)[0])
        told = next(e for e in state.lines if e.line == line.name)
        assert abs(told.efficiency.n - truth) < 4 * told.efficiency.s


def test_most_light_is_where_the_law_is_highest(demo, curves):
    for name in ("B", "E", "G"):
        highest = minimize_scalar(
            lambda w, n=name: -next(e.by_law for e in drive_state(demo, curves, BY_POWER, w).lines if e.line == n),
            bounds=(0.05, 0.71), method="bounded",
        ).x  # fmt: skip
        told = next(e for e in drive_state(demo, curves, BY_POWER, 0.3).lines if e.line == name)
        assert float(told.most_light_at.split()[1].split("(")[0]) == pytest.approx(highest, abs=2e-3)


def test_no_light_is_stated_beyond_the_drive_that_was_measured(demo, curves):
    state = drive_state(demo, curves, BY_SUPPLY, 9.5)
    over = [e for e in state.lines if e.efficiency is None]
    assert [e.line for e in over] == ["A", "C"]
    assert all("by the law: no drive went so far" in e.words for e in over)


def test_above_the_limit_nothing_is_shown(demo, curves):
    with pytest.raises(UnsafeDriveError, match="a supply above the safe one"):
        drive_state(demo, curves, BY_SUPPLY, 9.6)
    with pytest.raises(UnsafeDriveError, match="RF power could exceed the crystal's rating"):
        drive_state(demo, curves, BY_POWER, 0.79)


def test_the_limit_leaves_the_true_power_below_the_rating(demo, curves):
    """Upper 97.5 % point of the true power at the limit: 1.96 u of a normal (JCGM 100:2008, table G.1)."""
    limit = drive_state(demo, curves, BY_POWER, 0.1).limit
    scale = demo.efficiency.common_errors
    at_limit = limit
    for error in scale:
        at_limit = error.applied_to(at_limit)
    assert at_limit.n + 1.95996 * at_limit.s == pytest.approx(demo.facts.crystal.rated_rf_power_w, rel=1e-3)


def test_the_wall_is_said_in_words_and_nothing_old_stays(panel):
    panel.supply_v.value = 10.0
    assert panel.now is None
    assert "a supply above the safe one" in panel.said.value
    assert panel.numbers.value == ""
    panel.supply_v.value = 8.0
    assert panel.now.at == 8.0
    assert panel.problems == []


def test_switching_to_rf_power_and_back(panel):
    assert panel.rf_power_w.disabled
    first = panel.image.value
    panel.by.value = BY_POWER
    assert panel.supply_v.disabled
    assert not panel.rf_power_w.disabled
    assert panel.now.unit == "W"
    assert panel.image.value != first
    panel.rf_power_w.value = 0.25
    assert "0.250 W" in panel.numbers.value
    panel.by.value = BY_SUPPLY
    assert panel.image.value == first


def test_the_weakest_line_is_named(demo, curves):
    state = drive_state(demo, curves, BY_SUPPLY, 8.0)
    shares = {e.line: e.share.n for e in state.lines}
    assert state.weakest.line == min(shares, key=shares.get)
    assert state.weakest.line in dict(state.rows())["weakest line"]


def test_a_line_without_a_curve_is_named(demo):
    from dataclasses import replace

    wavelengths = {**demo.wavelengths_nm, "X": None, "Y": 1200.0}
    without = replace(demo)
    object.__setattr__(without, "wavelengths_nm", wavelengths)
    found, left_out = efficiency_curves(without)
    assert set(found) == set("ABCDEFG")
    assert any("line X is left out: its wavelength is not known" in w for w in left_out)
    assert any("line Y is left out: wavelength lies outside" in w for w in left_out)
