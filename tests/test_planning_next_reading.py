"""The next reading on the demo bench, and honesty about causes that no reading lessens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

from aotf_lab.drawing.figures import new_figure
from aotf_lab.errors import AotfLabError
from aotf_lab.planning import Curves
from aotf_lab.planning.next_reading import (
    Candidate,
    Look,
    Wanted,
    next_readings,
    power_of_safe_supply,
    saturation_of,
    setting_of,
    wavelength_of,
)
from tests.conftest import flat


@pytest.fixture(scope="module")
def settings(demo):
    return next_readings(demo)


def test_before_is_what_the_set_points_state(demo, settings):
    for point in demo.set_points():
        name = f"setting of line {point.line}"
        assert settings.best.u_before[name] == pytest.approx(point.u_setting_mhz, rel=1e-9)


def test_after_follows_from_the_covariance_of_the_numbers_themselves(demo):
    # independent: the conditional variance of two correlated numbers from their 2 x 2 covariance
    wanted = setting_of(demo, "E")
    for choice in next_readings(demo, wanted).of_kind("oscillator reading")[:5]:
        (look,) = choice.candidate.looks
        (a, c), (_, b) = covariance_matrix([wanted.value, look.shown])
        assert choice.u_after[wanted.name] == pytest.approx((a - c**2 / (b + look.u_random**2)) ** 0.5, rel=1e-9)


def test_a_setting_asks_for_the_oscillator_near_its_voltage(demo):
    best = next_readings(demo, setting_of(demo, "E")).best.candidate
    assert best.kind == "oscillator reading"
    assert best.place[0] == pytest.approx(demo.set_points()["E"].drive_v.n, abs=0.8)


def test_saturation_power_is_held_by_the_scope_and_the_advice_says_so(demo):
    found = next_readings(demo, saturation_of(demo, "E"))
    assert found.floors[-1].no_use
    assert found.floors[-1].cause == "scope gain"
    (sentence,) = found.advice()
    assert "No further reading helps" in sentence
    assert "power meter" in sentence
    calibrated = found.calibrations[0]
    assert calibrated.u_after[calibrated.helps] < 0.3 * calibrated.u_before[calibrated.helps]


def test_the_safe_supply_is_held_by_the_scale_of_power(demo):
    found = next_readings(demo, power_of_safe_supply(demo))
    assert found.floors[-1].no_use
    assert "calibrate the scale of RF power" in found.advice()[-1]


def test_scanning_anchors_again_cannot_better_their_stated_wavelengths(demo):
    found = next_readings(demo, wavelength_of(demo, "A"))
    (scan,) = [f for f in found.floors if f.kind == "scan"]
    assert scan.no_use
    assert "stated wavelengths" in scan.cause
    assert found.best.candidate.kind == "new known line"
    assert any("anchor B" in sentence for sentence in found.advice())


def test_a_clock_that_all_readings_share_stays(demo):
    # the true frequency at a voltage, unlike a setting, holds the counter's time base: 15 ppm of 64 MHz
    value = demo.vco.frequency(5.4)
    found = next_readings(demo, Wanted("frequency at 5.4 V", value, "MHz", 0.3))
    share = 15e-6 * value.n
    assert found.floors[-1].u_left >= share * (1 - 1e-6)
    assert any("time base" in c.candidate.words for c in found.calibrations)


def test_never_more_than_three_sentences_and_nothing_gets_worse(demo, settings):
    for wanted in (None, setting_of(demo, "A"), saturation_of(demo, "B"), wavelength_of(demo, "C")):
        found = settings if wanted is None else next_readings(demo, wanted)
        assert 1 <= len(found.advice()) <= 3
        for choice in (*found.readings, *found.calibrations):
            assert all(choice.u_after[n] <= u * (1 + 1e-9) for n, u in choice.u_before.items())
        assert len(found.table) == len(found.readings) + len(found.calibrations)


def test_repeats_share_what_they_share():
    look = Look(ufloat(0, 1), 0.3, 0.4, done=1)
    # information of n repeats about f + kept error: 1 / (u^2/n + kept^2); what one more adds is the difference
    assert 1 / look.variance() == pytest.approx(1 / (0.09 / 2 + 0.16) - 1 / (0.09 + 0.16))
    assert 1 / look.variance(1e12) == pytest.approx(1 / 0.16 - 1 / 0.25)
    assert Look(ufloat(0, 1), 0.3).variance(4) == pytest.approx(0.09 / 4)


def test_own_candidates_take_the_place_of_the_usual(demo):
    z = ufloat(0.0, 2.0, tag="zeal")
    wanted = Wanted("z", z + 5.0, "V", 1.0)
    only = Candidate("look", "look at z", (Look(1.0 * z, 2.0),), 3)
    found = next_readings(demo, wanted, candidates=[only])
    assert len(found.readings) == 1
    assert found.best.u_after["z"] == pytest.approx(2.0 / 2**0.5)
    assert found.best.gain_per_reading == pytest.approx((1 - 0.5**0.5) / 3)


def test_nothing_to_learn_is_refused(demo):
    with pytest.raises(AotfLabError, match=r"nothing to learn.*exact, without uncertainty"):
        next_readings(demo, Wanted("exact", ufloat(1.0, 0.1) * 0, "V", 1.0))
    with pytest.raises(AotfLabError, match=r"no oscillator curve.*lost the file"):
        setting_of(Curves(missing={"vco": "lost the file"}), "E")
    with pytest.raises(AotfLabError, match="no efficiency curve"):
        saturation_of(replace(demo.curves, efficiency=None), "E")
    with pytest.raises(AotfLabError, match="no safe supply"):
        power_of_safe_supply(Curves())


def test_text_and_html_show_the_advice(settings):
    assert settings.advice()[0] in flat(settings)
    assert "<table>" in settings._repr_html_()
    assert np.isfinite(settings.table["light_lost_after_percent"]).all()


def test_setting_from_one_side_brings_what_it_promises(demo):
    # the curve of one side, by the oscillator's own answer for that side
    wanted = setting_of(demo, "E")
    found = next_readings(demo, wanted)
    (choice,) = [c for c in found.calibrations if "one side" in c.candidate.words]
    peak = demo.scans["E"].centre_mhz
    sided = [(demo.vco.frequency(demo.vco.drive(peak, s).n, s) - peak).s for s in ("up", "down")]
    assert choice.u_after[wanted.name] == pytest.approx(np.mean(np.square(sided)) ** 0.5, rel=0.03)


def test_the_picture_shows_a_bar_for_each_kind(demo):
    found = next_readings(demo, wavelength_of(demo, "A"))
    ax = found.plot(new_figure()[1][0])
    assert len(ax.patches) == len(found.rows())
    assert max(bar.get_width() for bar in ax.patches) <= 1.0
