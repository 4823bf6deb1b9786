"""Planning asked with a path, text for a number, one for several, a number that is none: refused in words."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab import (
    Prospect,
    ProspectLine,
    Step,
    generator_output,
    generator_settings,
    next_readings,
    one_drive,
    park_frequency,
    plan_session,
    saturation_of,
    sequence,
    set_points,
    setting_of,
    sine_sweep,
    wavelength_of,
)
from aotf_lab.errors import AotfLabError, UnsafeDriveError
from aotf_lab.planning.safe_drive import require_safe
from aotf_lab.reading.instruments import UNSTATED
from tests.kept import small_oscillator

NAN = float("nan")


@pytest.mark.parametrize("wrong", ["/bench", None, small_oscillator()])
@pytest.mark.parametrize("ask", [set_points, one_drive, next_readings, lambda s: setting_of(s, "D")])
def test_what_has_no_curves(ask, wrong):
    with pytest.raises(
        AotfLabError, match=r"source of another kind; found an object of .*; allowed: an open session, or"
    ):
        ask(wrong)


def test_kept_calibrations_have_a_function_of_their_own():
    with pytest.raises(AotfLabError, match="kept calibrations go into kept_set_points"):
        set_points(small_oscillator())


def test_one_line_or_wavelength_needs_no_list(demo):
    assert [p.line for p in set_points(demo, "D")] == ["D"]
    assert [p.line for p in set_points(demo, 589.1)] == ["589.1 nm"]
    for wavelength in (589, np.int64(589), np.float32(589)):
        assert [p.line for p in set_points(demo, wavelength)] == ["589 nm"]
    assert [p.line for p in set_points(demo, ufloat(589.1, 0.1))] == [
        p.line for p in set_points(demo, [ufloat(589.1, 0.1)])
    ]


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ({"new": "589"}, "wavelength of new of another kind; found '589'; .* without quotation marks"),
        ([None], r"wavelength of a line of another kind; found nothing; .* number above 0 \(nm\)"),
        ([NAN], "wavelength of a line out of bounds; found nan"),
        ([-589.1], "wavelength of a line out of bounds; found -589"),
    ],
)
def test_lines_that_are_none(demo, lines, match):
    with pytest.raises(AotfLabError, match=match):
        set_points(demo, lines)


@pytest.mark.parametrize("power", [NAN, -0.1, 0.0, "0.3", [0.3]])
def test_a_power_that_is_none_is_not_called_safe(demo, power):
    with pytest.raises(
        AotfLabError, match=r"rf_power_w (out of bounds|of another kind); found .* number above 0 \(W\)"
    ):
        set_points(demo, rf_power_w=power)


def test_what_is_no_number_is_not_safe():
    with pytest.raises(UnsafeDriveError, match="RF power could exceed the crystal's rating"):
        require_safe(NAN, 0.8, "line D")


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"rate_khz": "1"}, "rate_khz of another kind; found '1'"),
        ({"rate_khz": NAN}, "rate_khz out of bounds; found nan"),
        ({"rate_khz": 1.0, "centre_v": ufloat(5.0, 0.1)}, "centre_v of another kind; .* give its value alone"),
        ({"rate_khz": 1.0, "amplitude_vpp": [2.0]}, "amplitude_vpp of another kind; found a list"),
    ],
)
def test_a_sweep_by_what_are_no_numbers(demo, options, match):
    with pytest.raises(AotfLabError, match=match):
        sine_sweep(demo, ["D", "E"], demo.generator, **options)


def test_a_generator_that_is_none(demo):
    for ask in (generator_settings, lambda s, n, o: sine_sweep(s, n, o, rate_khz=1.0)):
        with pytest.raises(AotfLabError, match=r"output of another kind; found .* GeneratorFacts; .* generator_output"):
            ask(demo, "D", demo.facts.limits.generator)
    limits = demo.facts.limits
    with pytest.raises(AotfLabError, match=r"generator of another kind; found .* OscillatorFacts; .*limits.generator"):
        generator_output(limits.oscillator, limits.generator)
    with pytest.raises(AotfLabError, match="bias_v out of bounds; found nan"):
        generator_output(limits.generator, limits.oscillator, bias_v=NAN)
    with pytest.raises(AotfLabError, match="park_mhz of another kind; found '57'"):
        generator_settings(demo, "D", demo.generator, park_mhz="57")


def test_weights_and_steps_of_one_drive(demo):
    with pytest.raises(AotfLabError, match="weights of another kind; found 'D'; allowed: lines and their weights"):
        one_drive(demo, weights="D")
    with pytest.raises(AotfLabError, match="one of weights of another kind; found '1'; allowed: a number"):
        one_drive(demo, weights={"D": "1"})
    with pytest.raises(AotfLabError, match=r"step_v of another kind; found '0\.1'"):
        one_drive(demo, step_v="0.1")


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"incident_mw": 3.0}, "incident_mw of another kind; found 3; allowed: lines and their incident power"),
        ({"incident_mw": {"D": ufloat(1.0, 0.1)}}, "one of incident_mw of another kind"),
        ({"drift_mhz": "0.1"}, "drift_mhz of another kind; found '0.1'"),
        ({"band_mhz": 60.0}, "band_mhz of another kind; found 60; allowed: plain numbers in a list"),
        (
            {"band_mhz": (NAN, 60.0)},
            r"band_mhz; found \(nan, 60\.0\); allowed: two frequencies \(MHz\), the lower first",
        ),
        ({"band_mhz": (80.0, 60.0)}, r"band_mhz; found \(80\.0, 60\.0\); allowed: two frequencies"),
        ({"band_mhz": (60.0,)}, r"band_mhz; found \(60\.0,\); allowed: two frequencies"),
        ({"supply_v": "12"}, "supply_v of another kind; found '12'"),
        ({"rf_power_w": [0.3]}, "rf_power_w of another kind; found a list"),
    ],
)
def test_a_park_by_what_are_no_numbers(demo, options, match):
    with pytest.raises(AotfLabError, match=match):
        park_frequency(demo, demo.passbands, **options)


@pytest.mark.parametrize(
    ("steps", "match"),
    [
        (["D", "E"], "one of steps of another kind; found 'D'; allowed: steps, or pairs of name and dwell"),
        ("D", r'steps of another kind; found \'D\'; .* write {"D": 50\.0, "park": 20\.0}'),
        ([("D",), ("E",)], r"one of steps; found \('D',\); allowed: steps, or pairs"),
        ({"D": "50", "E": 50.0}, "dwell of step D of another kind; found '50'; .* without quotation marks"),
        ({"D": None, "E": 50.0}, "dwell of step D of another kind; found nothing"),
        ({"D": -5.0, "E": 50.0}, r"dwell of step D out of bounds; found -5;"),
    ],
)
def test_steps_that_are_none(demo, steps, match):
    with pytest.raises(AotfLabError, match=match):
        sequence(demo, steps, delay_us=1.0, rise_us=1.0, port_bandwidth_khz=180.0)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"delay_us": None}, "delay_us of another kind; found nothing; allowed: a finite number"),
        ({"port_bandwidth_khz": [180.0]}, "port_bandwidth_khz of another kind; found a list"),
        ({"good_share": "0.9"}, r"good_share of another kind; found '0\.9'"),
        ({"kick_us": -1.0}, r"kick_us out of bounds; found -1; allowed: a finite number above 0 \(us\)"),
    ],
)
def test_a_sequence_by_what_are_no_numbers(demo, options, match):
    times = {"delay_us": 1.0, "rise_us": 1.0, "port_bandwidth_khz": 180.0}
    with pytest.raises(AotfLabError, match=match):
        sequence(demo, {"D": 50.0, "E": 50.0}, **{**times, **options})


def test_a_weight_of_a_step():
    with pytest.raises(AotfLabError, match="weight of step D of another kind; found '2'"):
        Step("D", 50.0, "2")


def test_what_is_wanted_and_planned(demo):
    with pytest.raises(AotfLabError, match=r"wanted of another kind; found 'D'; .* make one with setting_of"):
        next_readings(demo, "D")
    for ask in (setting_of, saturation_of, wavelength_of):
        with pytest.raises(AotfLabError, match="line of another kind; found a list; allowed: the name of one line"):
            ask(demo, ["D"])
    prospect = Prospect({"D": ProspectLine(589.0, 0.01)})
    with pytest.raises(
        AotfLabError, match=r"instruments of another kind; found .* Session; .* session.facts.instruments"
    ):
        plan_session(demo, prospect)
    with pytest.raises(AotfLabError, match="prospect of another kind; found a table of names; allowed: a Prospect"):
        plan_session(UNSTATED, {"D": 589.0})
    with pytest.raises(AotfLabError, match="light_lost_percent of another kind; found '1'"):
        plan_session(UNSTATED, prospect, light_lost_percent="1")
    with pytest.raises(AotfLabError, match=r"range_v of another kind; found 14; allowed: plain numbers in a list"):
        Prospect(prospect.lines, range_v=14.0)
    with pytest.raises(AotfLabError, match="range_v of the oscillator; found 14; allowed: two rising numbers"):
        Prospect(prospect.lines, range_v=(14.0,))
    with pytest.raises(AotfLabError, match="lines of another kind; found a list; allowed: names and ProspectLine"):
        Prospect([589.0])
