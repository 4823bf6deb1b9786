"""Generator settings of the demo: what to type, checked by decimal arithmetic and circuit theory, and the story."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.planning.curves import Curves, light_lost_percent
from aotf_lab.planning.generator import generator_output, generator_settings
from aotf_lab.planning.generator.typed import typed_of
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts
from aotf_lab.simulate.oscillator import oscillator_frequency

GENERATOR = GeneratorFacts(10.0, 0.0, 10.0, 50.0, 0.5, 14, 0.001, 0.001, 1.0, 1.0, 2.0)
PORT = OscillatorFacts(0.0, 15.0, 1000.0, 15.0, 10.0, 180.0)
PAIR = ["D", "E"]


def output(bias_v=0.0, port=PORT, **facts):
    return generator_output(replace(GENERATOR, **facts), port, bias_v=bias_v)


def check(settings, name):
    return next(c for c in settings.checks if c.name == name)


@pytest.fixture(scope="module")
def pair(demo):
    return generator_settings(demo, PAIR, output())


def test_the_pair_stands_near_its_two_levels(pair):
    d, e = (pair.at(n).port_v.n for n in PAIR)
    assert (d, e) == (pytest.approx(6.75, abs=0.02), pytest.approx(5.40, abs=0.02))


def test_typed_values_make_the_wanted_volts_by_kirchhoff(pair):
    for typed in pair.typed.values():
        for level, volts in zip(pair.wanted, (typed.high_v, typed.low_v), strict=True):
            open_v = volts if typed.display == "high impedance" else 2 * volts
            current = open_v / (50.0 + 1000.0)
            assert 1000.0 * current == pytest.approx(level.port_v.n, abs=0.0016)
    high, fifty = pair.typed.values()
    assert fifty.offset_v == pytest.approx(high.offset_v / 2, abs=0.001)
    assert fifty.amplitude_vpp == pytest.approx(high.amplitude_vpp / 2, abs=0.001)


def test_typed_values_are_whole_steps_in_decimal_arithmetic(pair):
    for typed in pair.typed.values():
        for value in (typed.offset_v, typed.amplitude_vpp):
            steps = Decimal(repr(round(value, 9))) / Decimal("0.001")
            assert steps == steps.to_integral_value()


def best_by_decimals(high, low, step_a, step_o, limit):
    """The least largest error of a level over every whole-step pair near by, in decimal arithmetic."""
    high, low, a, o, limit = (Decimal(repr(v)) for v in (high, low, step_a, step_o, limit))
    errors = []
    for i in range(-4, 5):
        for k in range(-4, 5):
            amplitude = (round((high - low) / a) + i) * a
            offset = (round((high + low) / 2 / o) + k) * o
            ends = offset + amplitude / 2, offset - amplitude / 2
            if ends[0] <= limit and ends[1] >= 0 and amplitude >= 0:
                errors.append(max(abs(ends[0] - high), abs(ends[1] - low)))
    return float(min(errors))


@pytest.mark.parametrize("seed", range(60))
def test_rounding_is_the_best_that_decimal_arithmetic_finds(seed):
    rng = np.random.default_rng(seed)
    low, high = (round(v, 6) for v in np.sort(rng.uniform(0, 10, 2)).tolist())
    if seed % 4 == 0:
        high = 10.0
    step_a, step_o = rng.choice([0.001, 0.002, 0.005, 0.01, 0.1], 2).tolist()
    facts = GeneratorFacts(10.0, 0.0, 10.0, amplitude_step_v=step_a, offset_step_v=step_o)
    typed = typed_of([high, low], "high impedance", facts, (0.0, 10.0))
    error = max(abs(typed.levels_v[0] - high), abs(typed.levels_v[1] - low))
    assert error == pytest.approx(best_by_decimals(high, low, step_a, step_o, 10.0), abs=2e-6)
    assert typed.high_v <= 10.0 + 1e-9
    assert typed.low_v >= -1e-9


def test_bits_over_full_scale_are_the_steps_where_none_is_stated(demo):
    facts = {"amplitude_step_v": None, "offset_step_v": None}
    settings = generator_settings(demo, PAIR, output(**facts))
    step = 20.0 / 2**14
    for typed, factor in zip(settings.typed.values(), (1.0, 0.5), strict=True):
        assert typed.steps_v == (pytest.approx(factor * step), pytest.approx(factor * step))
        assert typed.offset_v / factor / step == pytest.approx(round(typed.offset_v / factor / step), abs=1e-6)
    unknown = generator_settings(demo, PAIR, output(**facts, bits=None))
    assert abs(unknown.at("D").error_mhz.n) < 1e-9
    assert "its steps are not stated and nothing was rounded" in check(unknown, "rounding").detail


def test_error_and_light_are_those_of_the_curve(demo, pair):
    made = pair.at("D")
    true = demo.vco.frequency_at_true(made.port_v.n).n
    assert made.error_mhz.n == pytest.approx(true - demo.scans["D"].centre_mhz.n, abs=1e-9)
    fwhm = demo.scans["D"].fwhm_mhz.n
    assert made.rounding_lost_percent == pytest.approx(100 * light_lost(made.error_mhz.n / fwhm), rel=1e-6)
    assert made.u_share_of_fwhm == pytest.approx(made.error_mhz.s / fwhm)
    assert made.light_lost_percent > 99


def test_loss_at_most_never_falls_as_the_error_grows():
    """sinc^2 has its first null at 1 / 0.8859 FWHM; beyond it a sidelobe gives light back, a bound does not."""
    lost = [light_lost_percent(x, 1.0) for x in np.linspace(0, 3, 301)]
    assert np.all(np.diff(lost) >= 0)
    assert lost[50] == pytest.approx(50, abs=1e-9)
    assert lost[-1] == 100


def test_accuracy_is_told_at_the_95_percent_limit_by_one_number(demo):
    settings = generator_settings(demo, "C", output())
    made, told = settings.at("C"), check(settings, "accuracy")
    limit_mhz = abs(made.error_mhz.n) + made.wanted.coverage * made.error_mhz.s
    assert told.at_stake_mhz == pytest.approx(limit_mhz, rel=1e-12)
    assert f"off by {1e3 * limit_mhz:.3g} kHz (95 %), {limit_mhz / made.wanted.fwhm_mhz:.2g} of FWHM" in told.detail
    assert "up to 100 % of light lost" in told.detail
    assert made.light_lost_percent == 100


def test_uncertainty_is_that_of_drawn_generators(demo, pair):
    rng = np.random.default_rng(1)
    n = 40_000
    gain, offset, zero = 0.01 * rng.standard_normal((3, n)) * [[1], [1], [0.2]]
    source, load = rng.normal(50, 0.5, n), rng.normal(1000, 10, n)
    typed = pair.typed["high impedance"]
    port = {}
    for name, sign in zip(PAIR, (0.5, -0.5), strict=True):
        made = typed.offset_v * (1 + offset) + zero + sign * typed.amplitude_vpp * (1 + gain)
        port[name] = made * load / (load + source)
        assert pair.at(name).port_v.s == pytest.approx(np.std(port[name]), rel=0.015)
    between = pair.at("D").port_v - pair.at("E").port_v
    assert between.s == pytest.approx(np.std(port["D"] - port["E"]), rel=0.015)
    assert between.s < 0.3 * pair.at("D").port_v.s


def test_the_generators_own_accuracy_dominates_and_the_voltmeter_cures_it(demo, pair):
    failed = check(pair, "accuracy")
    assert not failed.passed
    assert "set each level at the port by the voltmeter of the readings" in failed.detail
    assert f"{pair.wanted[0].drive_v.n:.4f} V at D" in failed.detail
    assert pair.at("D").generator_share > 0.95
    assert pair.at("D").u_calibrated_mhz < 0.05 * pair.at("D").error_mhz.s
    assert pair.at("D").calibrated_lost_percent < 2
    fine = generator_settings(demo, PAIR, output(
        gain_percent=0.005, offset_percent=0.005, u_offset_mv=0.1, u_source_ohm=0.01,
        port=replace(PORT, u_input_ohm=0.1)))  # fmt: skip
    assert check(fine, "accuracy").passed
    assert fine.trusted


def test_factor_two_between_the_displays(demo, pair):
    table = pair.slips_table.set_index(["mistake", "level"])
    row = table.loc[("50-ohm numbers on a high-impedance display", "D")]
    assert row["port_v"] == pytest.approx(pair.at("D").port_v.n / 2, abs=0.001)
    truth = [
        float(oscillator_frequency(v / 1.0012, temperature_c=22.4)) for v in (row["port_v"], pair.at("D").port_v.n)
    ]
    assert row["off_mhz"] == pytest.approx(truth[0] - truth[1], abs=0.05)
    other = table.loc[("high-impedance numbers on a 50-ohm display", "D")]
    assert math.isnan(other["frequency_mhz"])
    assert "the generator does not give it" in other["remark"]
    forgotten = table.loc[("port's resistance forgotten", "E")]
    assert forgotten["port_v"] == pytest.approx(pair.wanted[1].port_v.n * 1000 / 1050, abs=1e-6)
    harm = generator_settings(
        demo, PAIR, output(max_output_v=20.0, high_limit_v=20.0, port=replace(PORT, input_max_v=9))
    )
    wrong = [s for s in harm.slips if s.mistake == "high-impedance numbers on a 50-ohm display"]
    assert all(s.harmful and "beyond what the port may take" in s.remark for s in wrong)


@pytest.mark.parametrize("other", "BCDEFG")
def test_any_pair_with_a_is_out_of_reach_and_a_battery_cures_it(demo, other):
    settings = generator_settings(demo, ["A", other], output())
    near = settings.at("A")
    assert not near.reachable
    assert not check(settings, "reach").passed
    assert near.port_v.n == pytest.approx(10 / 1.05, abs=0.002)
    assert near.rounding_lost_percent == 100.0
    assert "A needs 13.801 V, beyond what the generator gives" in check(settings, "reach").detail
    bias = settings.bias
    if other in "FG":  # further from A than 10 V: the menu's lower limit must go first
        assert bias is None
        words = check(settings, "reach").detail
        assert "within the limits of its menu no bias would do; with these lifted, a battery" in words
        return
    assert bias.least_v.n == pytest.approx(13.801 * 1.05 - 10, abs=0.002)
    assert bias.summing_v.n == pytest.approx(3.801, abs=0.002)
    with_it = generator_settings(demo, ["A", other], output(bias_v=math.ceil(100 * bias.least_v.n) / 100))
    assert check(with_it, "reach").passed
    assert abs(with_it.at("A").error_mhz.n) < 0.003


def test_a_span_that_no_bias_brings_in_reach(demo):
    settings = generator_settings(demo, ["A"], output(max_output_v=5.0, high_limit_v=5.0), park_mhz=44.566)
    assert settings.bias is None
    assert "no bias would do: an amplifier is needed" in check(settings, "reach").detail
    port = generator_settings(demo, ["A", "D"], output(max_output_v=20.0, high_limit_v=20.0,
                                                       port=replace(PORT, input_max_v=12)))  # fmt: skip
    assert "beyond what the port may take" in check(port, "reach").detail
    assert "no bias would do: the port may not take it" in check(port, "reach").detail
    assert port.at("A").port_v.n <= 12


def test_on_and_park(demo):
    settings = generator_settings(demo, "D", output(), park_mhz=44.566)
    parked = settings.at("park")
    assert parked.frequency_mhz.n == pytest.approx(44.566, abs=0.005)
    assert parked.light_lost_percent is None
    assert parked.port_v.n > 0
    assert "a square wave between two levels: D, park" in str(settings)


def test_one_line_is_dc(demo):
    settings = generator_settings(demo, "E", output())
    typed = settings.typed["high impedance"]
    assert typed.amplitude_vpp == 0
    assert typed.high_v == typed.low_v == typed.offset_v
    assert str(typed) == f"DC, offset {typed.offset_v:.3f} V"


def test_a_list_is_a_waveform_in_codes(demo):
    settings = generator_settings(demo, list("CDEFG"), output(bits=12))
    typed = settings.typed["50 ohm"]
    for code, level in zip(typed.codes, settings.wanted, strict=True):
        volts = Decimal(repr(typed.low_v)) + Decimal(code) * Decimal(repr(typed.amplitude_vpp)) / 4095
        assert float(volts) * 2 / 1.05 == pytest.approx(level.port_v.n, abs=0.002)
    assert typed.codes[0] >= 4093
    assert typed.codes[-1] <= 2
    none = generator_settings(demo, list("CDEFG"), output(bits=None)).typed["50 ohm"]
    assert none.codes is None


def test_nothing_stated_is_said(demo):
    bare = generator_settings(demo, PAIR, generator_output(GeneratorFacts(), OscillatorFacts()))
    stated = check(bare, "what is stated")
    assert not stated.passed
    assert "source_ohm taken as 50 ohm" in stated.detail
    assert "the port is taken as open" in stated.detail
    assert bare.typed["high impedance"].high_v == pytest.approx(bare.wanted[0].port_v.n, abs=1e-9)
    assert bare.at("D").error_mhz.s < 0.03
    assert "max_output_v is not stated: no level is held against what it gives" in stated.detail
    guessed = generator_output(GeneratorFacts(source_ohm=50.0), OscillatorFacts(input_ohm=1000.0))
    assert guessed.share.s == pytest.approx(math.hypot(0.02, 0.02) * (1 / 1.05) * (50 / 1050), rel=1e-6)


@pytest.mark.parametrize(
    ("generator", "port", "words"),
    [
        ({}, {"input_ohm": None}, "read its resistance with everything off"),
        ({"max_output_v": None, "low_limit_v": None, "high_limit_v": None}, {}, "max_output_v is not stated"),
    ],
)
def test_what_would_move_the_levels_unseen_is_no_check_passed(demo, generator, port, words):
    """A port of 1 kohm taken as open is 4.8 % of the volts: five passbands, and in no uncertainty."""
    made = output()
    bare = generator_output(replace(made.generator, **generator), replace(made.oscillator, **port))
    stated = check(generator_settings(demo, PAIR, bare), "what is stated")
    assert not stated.passed
    assert words in stated.detail
    assert check(generator_settings(demo, PAIR, made), "what is stated").passed


def test_a_level_that_may_go_negative_is_said(demo):
    settings = generator_settings(demo, ["D"], output(u_offset_mv=500.0), park_mhz=44.566)
    assert "the port takes 0 to 15 V, and this may leave it: park" in check(settings, "port").detail


def test_tables_text_html_plot(demo, pair, tmp_path):
    path = pair.to_csv(tmp_path / "typed.csv")
    assert [p.name for p in tmp_path.iterdir()] == ["typed.csv"]
    back = pd.read_csv(path)
    assert len(back) == 4
    assert {"high_v", "offset_v", "amplitude_vpp", "u_error_mhz"} <= set(back.columns)
    assert len(pair.typed_table) == 4
    assert len(pair.table) == 4
    assert "type, 50 ohm display" in str(pair)
    assert "<table>" in pair._repr_html_()
    ax = pair.plot(Figure().subplots())
    assert [t.get_text() for t in ax.texts] == PAIR


@pytest.mark.parametrize(
    ("lines", "settings", "message"),
    [
        (["Q"], {}, "no such line; found 'Q'"),
        ([], {}, "no level is asked for; found no line"),
        (PAIR, {"bias_v": 40.0}, "no volts that generator, port and curve have in common; found 38.1 V"),
        (PAIR, {"low_limit_v": 5.0, "high_limit_v": 5.01, "offset_step_v": 3.0}, "no setting of the generator's steps"),
    ],
)
def test_what_is_refused(demo, lines, settings, message):
    with pytest.raises(AotfLabError, match=message):
        generator_settings(demo, lines, output(**settings))


def test_without_a_curve_and_beyond_it(demo):
    with pytest.raises(AotfLabError, match="no curve of the oscillator; found it was not measured"):
        generator_settings(Curves(), ["D"], output())
    with pytest.raises(AotfLabError, match="frequency lies outside the measured range; found 20 MHz"):
        generator_settings(demo, ["D"], output(), park_mhz=20.0)
