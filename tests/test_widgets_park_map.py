"""The park map panel: the place looked at against the map's own table and the frequencies of the harmonics."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.errors import OutOfRangeError
from aotf_lab.widgets.park_map import ParkPanel, park_map, park_state


@pytest.fixture(scope="module")
def panel(demo):
    return ParkPanel(demo)


def test_it_opens_at_the_sessions_own_park_frequency(demo):
    panel = ParkPanel(demo)
    assert panel.now.park.best.at_mhz == pytest.approx(demo.park.best.at_mhz)
    assert panel.now.park.best.bound_db == pytest.approx(demo.park.best.bound_db, abs=0.05)
    assert panel.at_mhz.value == pytest.approx(demo.park.best.at_mhz, abs=1e-3)


def test_the_leak_looked_at_is_that_of_the_map(demo):
    table = demo.park.table
    for k in (700, 2000, 3111):
        row = table.iloc[k]
        state = park_state(demo.park, float(row["frequency_mhz"]))
        assert state.leak_db == pytest.approx(row["likely_db"])
        assert state.most_db == pytest.approx(row["sure_db"])
        assert state.by_line_db["C"] == pytest.approx(row["line_C_db"])


def test_half_of_a_lines_frequency_is_a_trap(demo):
    at = demo.passbands.peak_mhz("A").n / 2
    state = park_state(demo.park, at)
    assert state.worst_line == "A"
    assert state.by_line_db["A"] > -15.0
    assert f"{at:.3f} MHz: line A by 2 f" in dict(state.rows())["keep away"]


def test_a_frequency_that_cannot_be_set_is_said_to_be_one(demo):
    state = park_state(demo.park, 90.0)
    assert any("90.000 MHz cannot be set: above what the generator gives" in r for r in state.remarks)


def test_outside_the_map(demo):
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range"):
        park_state(demo.park, 30.0)


def test_less_drift_is_a_narrower_window_and_never_more_leak(demo):
    wide, narrow = (park_map(demo, 8.0, drift, "sum") for drift in (0.3, 0.05))
    assert wide.window_mhz - narrow.window_mhz == pytest.approx(0.25)
    grid, step = wide.map.frequency_mhz, np.diff(wide.map.frequency_mhz)[0]
    inside = slice(int(0.5 / step), len(grid) - int(0.5 / step))
    at = np.isfinite(wide.map.likely[inside]) & np.isfinite(narrow.map.likely[inside])
    assert np.all(narrow.map.likely[inside][at] <= wide.map.likely[inside][at] * (1 + 1e-12))


def test_the_cursor_does_not_compute_the_map_anew(panel):
    park = panel.now.park
    panel.at_mhz.value = 50.0
    assert panel.now.park is park
    assert "50.000 MHz" in panel.numbers.value
    panel.supply_v.value = 7.0
    assert panel.now.park is not park
    assert panel.problems == []


def test_each_control_moves_numbers_and_picture(panel):
    for control, value in ((panel.at_mhz, 55.5), (panel.supply_v, 6.5), (panel.drift_khz, 60.0),
                           (panel.count, "the worst line")):  # fmt: skip
        before = panel.numbers.value, panel.image.value
        control.value = value
        assert panel.numbers.value != before[0]
        assert panel.image.value != before[1]


def test_the_button_goes_to_the_best_place(panel):
    panel.at_mhz.value = 70.0
    panel.to_best.click()
    assert panel.now.at_mhz == pytest.approx(panel.now.park.best.at_mhz, abs=1e-3)
    assert panel.problems == []


def test_a_supply_above_the_safe_one_is_refused_in_words(demo):
    panel = ParkPanel(demo)
    panel.supply_v.value = 10.0
    assert "a supply above the safe one" in panel.said.value
    assert panel.numbers.value == ""
    panel.supply_v.value = 8.0
    assert panel.said.value == ""
