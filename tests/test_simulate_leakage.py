"""The simulated leak: its light is that of the bench's own truth, its readings come from the meter's."""

import numpy as np
import pytest

from aotf_lab.simulate.leakage import LeakageTruth, leakage_run, leakage_settings
from aotf_lab.simulate.light import true_efficiency
from aotf_lab.simulate.truth import SKERRY


def test_readings_average_to_the_true_light():
    line, plan = SKERRY.line("G"), LeakageTruth(repeats=400)
    table = leakage_run(np.random.default_rng(1), line, {"G": 54.76, "F": 58.26}, plan=plan)
    net = table["optical_power_mw"] - SKERRY.instruments.head_offset_mw
    jitter = 54.76 + 0.004 * np.random.default_rng(2).standard_normal(400)
    for f, rows in ((jitter, slice(0, 400)), (58.26, slice(400, 800))):
        true = line.incident_power_mw * np.mean(true_efficiency(f, plan.rf_power_w, line.wavelength_air_nm) + 2e-4)
        assert net[rows].mean() == pytest.approx(true, abs=4 * np.hypot(0.013 * true, 0.0011) / 20 + 0.01 * true)
    assert table["dark_power_mw"].nunique() == 1


def test_default_settings_are_all_lines_and_the_zero_shifts_the_reading():
    line = SKERRY.line("B")
    one = leakage_run(np.random.default_rng(3), line)
    other = leakage_run(np.random.default_rng(3), line, plan=LeakageTruth(zero_mw=0.005))
    assert len(one) == 4 * len(leakage_settings())
    assert np.allclose(other["optical_power_mw"] - one["optical_power_mw"], 0.005)
    assert np.allclose(other["dark_power_mw"], one["dark_power_mw"])
