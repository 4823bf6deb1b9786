"""The simulated sweep against the light that its parts should give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.hunt import DEMO_HUNT, HUNT_COLUMNS, hunt_sweep, true_light
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY


def test_a_ghost_lies_at_half_and_is_half_as_wide() -> None:
    line = SKERRY.line("A")
    top = float(true_peak_frequency(line.wavelength_air_nm))
    f = np.linspace(top / 2 - 0.3, top / 2 + 0.3, 6001)
    light = true_light(f, line)
    assert f[np.argmax(light)] == pytest.approx(top / 2, abs=1e-3)
    high = f[light > 0.5 * light.max()]
    weak = np.linspace(top - 0.6, top + 0.6, 6001)
    own = true_efficiency(weak, 1e-4, line.wavelength_air_nm)
    wide = weak[own > 0.5 * own.max()]
    assert np.ptp(high) == pytest.approx(np.ptp(wide) / 2, rel=0.01)


def test_a_ghosts_light_is_that_of_the_harmonics_power() -> None:
    """-19 dBc of the fundamental's power (the amplifier's truth) at the line's own efficiency."""
    line = SKERRY.line("A")
    top = float(true_peak_frequency(line.wavelength_air_nm))
    power = float(true_rf_power(DEMO_HUNT.supply_v, top / 2)) * 10**-1.9
    alone = line.incident_power_mw * float(true_efficiency(top, power, line.wavelength_air_nm))
    assert float(true_light(np.array([top / 2]), line)[0]) == pytest.approx(alone, rel=1e-2)


def test_columns_and_order_of_time() -> None:
    table = hunt_sweep(np.random.default_rng(0), plan=replace(DEMO_HUNT, both_ways=True))
    assert [column for _, column, *_ in HUNT_COLUMNS] == list(table.columns)
    assert table["time_s"].is_monotonic_increasing
    half = len(table) // 2
    assert table["frequency_mhz"].iloc[half - 1] > 95.9
    assert table["frequency_mhz"].iloc[-1] < 42.6


def test_without_light_only_the_head_speaks() -> None:
    table = hunt_sweep(np.random.default_rng(0), light=False)
    net = table["optical_power_mw"] - SKERRY.instruments.head_offset_mw
    assert net.std() == pytest.approx(SKERRY.instruments.head_floor_mw, rel=0.1)


def test_the_head_trails_upwards() -> None:
    plan = replace(DEMO_HUNT, both_ways=True)
    table = hunt_sweep(np.random.default_rng(1), plan=plan)
    half = len(table) // 2
    tops = [part.loc[part["optical_power_mw"].idxmax(), "frequency_mhz"] for part in (table[:half], table[half:])]
    assert 0.05 < tops[0] - tops[1] < 0.25
