"""What each part of the bench takes: keys, bounds, and that nothing is invented where nothing is stated."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.reading import load_session_file, write_template
from aotf_lab.reading.session_limits import (
    CounterLimits,
    DamageLimits,
    GeneratorFacts,
    OscillatorFacts,
    PowerMeterLimits,
    ScopeLimits,
)
from tests.test_reading_session_file import session_folder

ALL = """\
[crystal]
rated_rf_power_w = 0.8
peak_rf_power_w = 2.0
duty_limit = 0.3
[instrument.counter]
time_base_ppm = 15.0
pad_db = 40.0
input_ohm = 50
max_input_vrms = 1.0
[instrument.scope]
pad_db = 30.0
input_ohm = 1e6
max_input_vrms = 5.0
pad_rated_w = 2.0
load_rated_w = 5.0
[instrument.power_meter]
max_power_mw = 50.0
[oscillator]
input_min_v = -0.5
input_max_v = 15.0
input_ohm = 1000
supply_v = 15
u_input_ohm = 20
port_bandwidth_khz = 180
[generator]
max_output_v = 10
low_limit_v = 0
high_limit_v = 9.5
source_ohm = 50
u_source_ohm = 0.5
bits = 14
amplitude_step_v = 0.002
offset_step_v = 0.001
gain_percent = 1.5
offset_percent = 1
u_offset_mv = 2
"""


@pytest.fixture
def session(tmp_path):
    return lambda text: session_folder(tmp_path, text)


def test_every_key_is_read_and_the_instruments_are_as_before(session):
    facts = load_session_file(session(ALL))
    assert (facts.crystal.peak_rf_power_w, facts.crystal.duty_limit) == (2.0, 0.3)
    assert facts.limits == DamageLimits(
        ScopeLimits(5.0, 2.0, 5.0), CounterLimits(40.0, 50.0, 1.0), PowerMeterLimits(50.0),
        OscillatorFacts(-0.5, 15.0, 1000.0, 15.0, 20.0, 180.0),
        GeneratorFacts(10.0, 0.0, 9.5, 50.0, 0.5, 14, 0.002, 0.001, 1.5, 1.0, 2.0),
    )  # fmt: skip
    assert (facts.instruments.scope.pad_db, facts.instruments.counter.time_base_ppm) == (30.0, 15.0)


def test_nothing_stated_is_nothing_known_and_nothing_assumed(session):
    facts = load_session_file(session(""))
    assert facts.limits == DamageLimits()
    parts = (getattr(facts.limits, part.name) for part in fields(facts.limits))
    assert all(getattr(part, field.name) is None for part in parts for field in fields(part))
    assert facts.crystal.peak_rf_power_w is None
    assert not any("max_input" in words for words in facts.assumed)


@pytest.mark.parametrize(
    ("output", "low", "high", "expected"),
    [
        (None, None, None, None),
        (None, 0.0, None, None),
        (None, 0.0, 9.0, (0.0, 9.0)),
        (10.0, None, None, (-10.0, 10.0)),
        (10.0, 0.0, None, (0.0, 10.0)),
        (10.0, None, 5.0, (-10.0, 5.0)),
        (10.0, -20.0, 20.0, (-10.0, 10.0)),
    ],
)
def test_what_a_generator_can_give(output, low, high, expected):
    assert GeneratorFacts(output, low, high).range_v == expected


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (ALL.replace("duty_limit = 0.3", "duty_limit = 30"),
         "[crystal]: duty_limit: out of bounds; found 30; allowed: a share of time above 0, 1 at the most; write 30 %"),
        (ALL.replace("duty_limit = 0.3", "duty_limit = 0"), "[crystal]: duty_limit: out of bounds; found 0; allowed"),
        (ALL.replace("peak_rf_power_w = 2.0", "peak_rf_power_w = 0.5"),
         "peak_rf_power_w: below rated_rf_power_w, whose own peak it is; found 0.5; allowed: a number of at least 0.8"),
        (ALL.replace("peak_rf_power_w = 2.0", "peak_rf_power_w = -2"), "peak_rf_power_w: out of bounds; found -2"),
        (ALL.replace("pad_db = 40.0", "pad_db = -40.0"),
         "session.toml [instrument.counter]: pad_db: out of bounds; found -40; allowed: a number of at least 0"),
        (ALL.replace("input_ohm = 50\n", "input_ohm = 75\n"),
         "session.toml [instrument.counter]: input_ohm: another number; found 75; allowed: 50 or 1e+06"),
        (ALL.replace("max_input_vrms = 1.0", "max_input_vrms = 0"),
         "session.toml [instrument.counter]: max_input_vrms: out of bounds; found 0; allowed: a number above 0"),
        (ALL.replace("max_input_vrms = 5.0", "max_input_vrms = '5 V'"),
         "session.toml [instrument.scope]: max_input_vrms: not a number; found '5 V'; allowed: a number above 0"),
        (ALL.replace("pad_rated_w = 2.0", "pad_rated_w = 0"), "[instrument.scope]: pad_rated_w: out of bounds; found"),
        (ALL.replace("load_rated_w = 5.0", "load_rated_w = nan"),
         "[instrument.scope]: load_rated_w: not a number; found nan"),
        (ALL.replace("max_power_mw = 50.0", "max_power_mw = -1"),
         "session.toml [instrument.power_meter]: max_power_mw: out of bounds; found -1; allowed: a number above 0"),
        (ALL.replace("input_min_v = -0.5", "input_min_v = 15.0"),
         "session.toml [oscillator]: input_min_v: not below input_max_v; found 15; allowed: a number below 15"),
        (ALL.replace("input_min_v = -0.5\ninput_max_v = 15.0", "input_max_v = -15"),
         "[oscillator]: input_max_v: not above 0 V, with no input_min_v; found -15; allowed: a number"),
        (ALL.replace("input_ohm = 1000", "input_ohm = 0"),
         "session.toml [oscillator]: input_ohm: out of bounds; found 0"),
        (ALL.replace("supply_v = 15", "supply_v = -15"),
         "session.toml [oscillator]: supply_v: out of bounds; found -15"),
        (ALL.replace("max_output_v = 10", "max_output_v = -10"),
         "session.toml [generator]: max_output_v: out of bounds; found -10; allowed: a number above 0"),
        (ALL.replace("low_limit_v = 0", "low_limit_v = 9.5"),
         "session.toml [generator]: low_limit_v: not below high_limit_v; found 9.5; allowed: a number below 9.5"),
        (ALL.replace("low_limit_v = 0", "low_limit_v = -12"),
         "low_limit_v: beyond what the generator gives; found -12; allowed: -10 to 10 V (max_output_v); correct one"),
        (ALL.replace("high_limit_v = 9.5", "high_limit_v = 11"),
         "high_limit_v: beyond what the generator gives; found 11"),
        (ALL.replace("bits = 14", "bits = 14.5"),
         "session.toml [generator]: bits: no number of bits; found 14.5; allowed: a whole number, 24 at the most"),
        (ALL.replace("bits = 14", "bits = 64"), "session.toml [generator]: bits: no number of bits; found 64; allowed"),
        (ALL.replace("source_ohm = 50\nu", "source_ohm = 0\nu"),
         "session.toml [generator]: source_ohm: out of bounds; found 0; allowed: a number above 0"),
        (ALL.replace("gain_percent = 1.5", "gain_percent = -1"),
         "session.toml [generator]: gain_percent: out of bounds; found -1; allowed: a number of at least 0"),
        (ALL.replace("offset_step_v = 0.001", "offset_step_v = 0"),
         "session.toml [generator]: offset_step_v: out of bounds; found 0; allowed: a number above 0"),
        (ALL.replace("port_bandwidth_khz = 180", "port_bandwidth_khz = -1"),
         "session.toml [oscillator]: port_bandwidth_khz: out of bounds; found -1; allowed: a number above 0"),
        ("[oscillator]\ninput_max = 15\n",
         "session.toml [oscillator]: input_max: unknown key; found 15; allowed: input_min_v, input_max_v, input_ohm, "
         "supply_v, u_input_ohm, port_bandwidth_khz; write input_max_v if that is meant"),
        ("[generator]\nsteps = 4\n",
         "session.toml [generator]: steps: unknown key; found 4; allowed: max_output_v, low_"),
    ],
)  # fmt: skip
def test_what_is_refused(session, text, message):
    with pytest.raises(SessionError, match=re.escape(message)):
        load_session_file(session(text))


def test_a_generator_has_fifty_ohm_where_nothing_is_stated():
    assert (GeneratorFacts().output_ohm, GeneratorFacts(source_ohm=600.0).output_ohm) == (50.0, 600.0)


def test_the_template_names_every_limit_once_and_with_its_unit(tmp_path):
    write_template(tmp_path)
    text = (tmp_path / "session.toml").read_text("utf-8")
    kinds = (ScopeLimits, CounterLimits, PowerMeterLimits, OscillatorFacts, GeneratorFacts)
    keys = [field.name for kind in kinds for field in fields(kind)] + ["peak_rf_power_w", "duty_limit"]
    lines = re.findall(r"(?m)^# (\w+) = ", text)
    assert all(lines.count(key) == keys.count(key) for key in set(keys) - {"pad_db", "input_ohm", "gain_percent"})
    assert {"supply_v", "low_limit_v", "peak_rf_power_w"} <= set(lines)
    path = tmp_path / "session.toml"
    path.write_text(re.sub(r"(?m)^# (\w+ = [0-9.]+ *#|\w+ = [0-9.]+$)", r"\1", text), "utf-8")
    facts = load_session_file(tmp_path)
    parts = [getattr(facts.limits, part.name) for part in fields(facts.limits)]
    assert all(getattr(part, field.name) is not None for part in parts for field in fields(part))
    assert (facts.crystal.peak_rf_power_w, facts.crystal.duty_limit) == (2.0, 0.3)
