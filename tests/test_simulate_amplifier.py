"""The simulated amplifier and scope keep their own description. Invented data: consistency, no outside source."""

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.rf import rms_to_watt
from aotf_lab.simulate.amplifier import (
    level_readings,
    scope_level,
    scope_swing,
    supply_current,
    supply_for,
    true_rf_power,
)
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


def test_a_pure_sine_swings_by_its_definition_and_harmonics_add_to_it():
    pure = scope_swing(np.random.default_rng(0), [0.1, 0.5], [50.0, 90.0], PERFECT)
    assert (pure / 8**0.5) ** 2 / 50 * 1000 == pytest.approx([0.1, 0.5], rel=1e-4)
    third = replace(PERFECT, amplifier=replace(PERFECT.amplifier, harmonics_dbc=((3, -10.0),), harmonics_rad=(0.0,)))
    # in phase with the crests the volts of both add: 1 + 10^-0.5
    swing = float(scope_swing(np.random.default_rng(0), 0.5, 60.0, third)[0])
    alone = float(scope_swing(np.random.default_rng(0), 0.5, 60.0, PERFECT)[0])
    assert swing / alone == pytest.approx(1 + 10**-0.5, rel=1e-4)


def test_the_current_rises_with_the_root_of_the_power():
    still = replace(SKERRY.amplifier, current_noise_a=0.0)
    current = supply_current(np.random.default_rng(0), [0.0, 0.25, 1.0], still)
    assert current - current[0] == pytest.approx([0.0, 0.5 * (current[2] - current[0]), current[2] - current[0]])
    # no class AB stage turns more than pi / 4 of its DC into RF (textbook result for a sine)
    for supply in (5.0, 8.0, 11.0):
        power = float(true_rf_power(supply, 54.0))
        assert power < np.pi / 4 * supply * float(supply_current(np.random.default_rng(0), power, still))


def test_level_readings_peak_to_peak_come_with_the_current():
    table = level_readings(np.random.default_rng(0), [6.0, 9.0], 64.0, swing=True)
    assert list(table.columns) == ["supply_v", "frequency_mhz", "rf_level_vpp", "supply_a"]
    plain = level_readings(np.random.default_rng(0), [6.0, 9.0], 64.0)["rf_level_vrms"]
    ratio = (table["rf_level_vpp"] / plain / 8**0.5).to_numpy()
    # one harmonic moves the power from volts peak to peak by -25 to +73 %; at one frequency always by the same
    assert np.all((ratio > 0.75**0.5) & (ratio < 1.73**0.5))
    assert ratio[0] == pytest.approx(ratio[1], rel=0.02)
