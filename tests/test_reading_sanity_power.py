"""RF power above the DC input, and two measurements that differ by a named factor."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.power_ratio import NAMED_RATIOS, power_columns_differ, power_files_differ
from aotf_lab.reading.sanity.rf_power_limit import FALSE_POWERS, rf_above_dc

SUPPLY = np.array([4.0, 6.0, 8.0, 10.0])
POWER = np.array([0.01, 0.10, 0.30, 0.60])
MOST_A = 0.2


def levels(power: np.ndarray, supply: np.ndarray = SUPPLY, name: str = "level.csv", **columns: object) -> Readings:
    table = pd.DataFrame({"supply_v": supply, "frequency_mhz": 64.0, "rf_power_w": power, **columns})
    return Readings(table.assign(file=name, line=np.arange(len(table)) + 2))


def test_factors_are_those_of_a_sine_and_a_divider():
    # a sine's rms from its definition: root of the mean square over a period (IEC 60050, 103-02-03)
    sine = np.sin(2 * np.pi * np.arange(1000) / 1000)
    rms = float(np.sqrt(np.mean(sine**2)))
    open_over_matched = (50.0 + 50.0) / 50.0  # a 50 ohm source into 50 ohm shows half of its open voltage
    wanted = {"peak read": np.max(sine) / rms, "peak-to-peak": np.ptp(sine) / rms, "not terminated": open_over_matched}
    for words, ratio in wanted.items():
        factor = next(f for f, text in FALSE_POWERS if text.startswith(words) or words in text)
        assert factor == pytest.approx(ratio**2, rel=1e-5), words


@pytest.mark.parametrize(("factor", "words"), FALSE_POWERS)
def test_the_slip_that_brings_power_below_the_input_is_named(factor, words):
    (found,) = rf_above_dc(levels(factor * POWER), supply_a=MOST_A if factor > 2.0 else 0.07)
    assert words in found.likely_cause
    assert found.rows == tuple(np.flatnonzero(factor * POWER > 1.05 * SUPPLY * (MOST_A if factor > 2.0 else 0.07)))
    assert found.unusable


def test_causes_stand_in_the_order_of_what_leaves_a_possible_amplifier():
    (found,) = rf_above_dc(levels(8 * POWER), supply_a=MOST_A)  # 8 x 0.6 W of 2 W: 2.4 times the input
    first, second, third, *_ = found.likely_cause.split("; ")
    assert first.startswith("scope input not terminated")  # 60 % of the input
    assert second.startswith("peak-to-peak")  # 30 %
    assert third.startswith("x10 probe")
    assert "power / 2:" not in found.likely_cause  # half of it is still above the input


def test_a_column_of_currents_goes_before_the_stated_one():
    drawn = levels(POWER, supply_a=np.array([0.02, 0.03, 0.03, 0.04]))
    (found,) = rf_above_dc(drawn, supply_a=5.0)
    assert found.rows == (2, 3)
    assert found.where == "level.csv:4-5"
    assert "10 V x 0.04 A = 0.4 W" in found.found


def test_dbm_in_a_column_of_watts():
    (found,) = rf_above_dc(levels(10 * np.log10(1e3 * POWER)), supply_a=MOST_A)
    assert "dBm taken for W" in found.likely_cause


def test_no_current_or_enough_of_it_is_no_suspicion():
    assert rf_above_dc(levels(POWER)) == ()
    assert rf_above_dc(levels(POWER), supply_a=MOST_A) == ()
    assert rf_above_dc(Readings(pd.DataFrame({"rf_power_w": POWER})), supply_a=MOST_A) == ()


@pytest.mark.parametrize("factor", [f for f, _ in NAMED_RATIOS])
@pytest.mark.parametrize("way", [1, -1])
def test_two_files_that_differ_by_a_named_factor(factor, way):
    one = levels(POWER, name="a.csv")
    other = levels(POWER * factor**way * np.array([1.01, 0.99, 1.02, 1.0]), SUPPLY + 0.01, "b.csv")
    (found,) = power_files_differ(one, other)
    named = f"{factor:g}" if way > 0 else f"1/{factor:g}"
    assert f"differ by a factor of {named}" in found.what
    assert found.where == "b.csv:2-5 against a.csv:2-5"
    assert "+-" in found.found
    assert f"{named} is 0." in found.found


def test_files_that_agree_or_share_no_setting_are_not_suspected():
    assert power_files_differ(levels(POWER), levels(1.15 * POWER)) == ()
    assert power_files_differ(levels(POWER), levels(8 * POWER, SUPPLY + 0.5)) == ()
    assert power_files_differ(levels(POWER), levels(2.9 * POWER)) == ()  # no slip is a factor of 2.9


def test_level_and_power_side_by_side_take_pad_and_probe():
    volts = np.sqrt(POWER * 50.0 / 1000.0)
    file = levels(POWER, rf_level_vrms=volts)
    assert power_columns_differ(file, pad_db=30.0) == ()
    (found,) = power_columns_differ(file, pad_db=0.0)
    assert "factor of 1/1000" in found.what
    assert "pad of 30 dB" in found.likely_cause
    (found,) = power_columns_differ(file, pad_db=30.0, probe=10.0)
    assert "factor of 100" in found.what
