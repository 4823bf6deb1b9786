"""The simulated amplifier and scope keep their own description. Invented data: consistency, no outside source."""

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.rf import rms_to_watt
from aotf_lab.simulate.amplifier import level_readings, scope_level, supply_for, true_rf_power
from aotf_lab.simulate.truth import SKERRY

PERFECT = replace(
    SKERRY,
    amplifier=replace(SKERRY.amplifier, harmonics_dbc=()),
    instruments=replace(
        SKERRY.instruments, scope_error=0.0, scope_noise=0.0, scope_bandwidth_mhz=1e9, scope_bits=24, pad_db=30.0,
        load_ohm=50.0,
    ),
)  # fmt: skip


def test_a_perfect_scope_shows_power_by_definition():
    level = scope_level(np.random.default_rng(0), [0.1, 0.5], [50.0, 90.0], PERFECT)
    assert rms_to_watt(level) * 1000 == pytest.approx([0.1, 0.5], rel=1e-5)


@pytest.mark.parametrize(("change", "factor"), [
    ({"scope_error": 0.027}, 1.027),
    ({"scope_bandwidth_mhz": 60.0}, 0.5**0.5),
    ({"pad_db": 24.0}, 10 ** (6 / 20)),
    ({"load_ohm": 55.0}, 1.1**0.5),
])  # fmt: skip
def test_each_error_changes_the_level_by_its_own_factor(change, factor):
    bench = replace(PERFECT, instruments=replace(PERFECT.instruments, **change))
    shown, ideal = (scope_level(np.random.default_rng(0), 0.4, 60.0, b) for b in (bench, PERFECT))
    assert shown / ideal == pytest.approx(factor, rel=1e-4)


def test_the_scope_adds_the_harmonics_by_power():
    bench = replace(PERFECT, amplifier=replace(PERFECT.amplifier, harmonics_dbc=((2, -19.0), (3, -24.0))))
    shown, ideal = (float(scope_level(np.random.default_rng(0), 0.4, 60.0, b)) for b in (bench, PERFECT))
    assert (shown / ideal) ** 2 == pytest.approx(1 + 10**-1.9 + 10**-2.4, rel=1e-4)


def test_the_power_goes_as_the_square_of_supply_over_threshold_and_then_gives_way():
    weak = true_rf_power([5.1, 7.1], 60.0)
    assert weak[1] / weak[0] == pytest.approx(4.0, rel=1e-3)
    linear = float(weak[0]) * ((14.0 - 3.1) / 2.0) ** 2
    assert linear > 1.2
    assert float(true_rf_power(14.0, 60.0)) < 0.9 * linear


def test_supply_for_is_the_inverse_and_refuses_what_is_out_of_reach():
    assert true_rf_power(supply_for(0.6, 64.0), 64.0) == pytest.approx(0.6, rel=1e-9)
    with pytest.raises(AotfLabError, match=r"cannot give this power .* found 5"):
        supply_for(5.0, 64.0)


def test_level_readings_broadcast_supply_and_frequency():
    table = level_readings(np.random.default_rng(0), 8.0, [50.0, 60.0, 70.0])
    assert table["supply_v"].tolist() == [8.0, 8.0, 8.0]
    assert table["frequency_mhz"].to_numpy() == pytest.approx([50.0, 60.0, 70.0], abs=0.03)
    assert np.all(table["rf_level_vrms"] > 0.05)
