"""Serial data through the light: the exact worst eye against closed forms, all patterns, and simulated bits."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure
from scipy import integrate, optimize, signal, special, stats
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.timing.eye import (
    POLYNOMIALS,
    Channel,
    bit_error_rate,
    data_rate,
    extreme_light,
    openings,
    pseudo_random_bits,
    q_needed,
    simulated_eye,
)
from aotf_lab.timing.eye.worst import isi_sum

PURE = 1e12


def light_of(channel, bits, first, time, bit_us):
    """The light of a pattern by running its edges up one by one: ``bits[first]`` starts at time 0."""
    keyed = np.full(np.shape(time), float(bits[0]))
    for k in range(1, len(bits)):
        way, since = int(bits[k]) - int(bits[k - 1]), time - (k - first) * bit_us
        s = (channel.rise_us if way > 0 else channel.fall_us) / (2 * stats.norm.ppf(0.9))
        keyed = keyed + way * stats.norm.cdf(since / s)
    r = 1 / channel.contrast
    return r + (1 - r) * np.clip(keyed, 0, 1)


@pytest.mark.parametrize("order", POLYNOMIALS)
def test_a_full_length_sequence_has_every_pattern_once(order):
    # Golomb's postulates of a maximum-length sequence (S. W. Golomb, Shift Register Sequences, 1967; from memory)
    bits = pseudo_random_bits(order)
    assert len(bits) == 2**order - 1
    assert bits.sum() == 2 ** (order - 1)
    windows = np.lib.stride_tricks.sliding_window_view(np.resize(bits, len(bits) + order - 1), order)
    codes = windows @ (1 << np.arange(order))
    assert sorted(codes) == list(range(1, 2**order))
    sign = 1.0 - 2.0 * bits
    spectrum = np.fft.fft(sign)
    correlation = np.fft.ifft(spectrum * spectrum.conj()).real
    assert correlation[1:] == pytest.approx(-1.0, abs=1e-6)


@pytest.mark.parametrize(("order", "taps"), [(7, [1]), (9, [4]), (11, [2]), (15, [1])])
def test_the_register_agrees_with_a_library(order, taps):
    # scipy.signal.max_len_seq run with the same recursion: bit[i] = bit[i - n] xor bit[i - k], its taps being n - k
    ours = pseudo_random_bits(order)
    theirs = signal.max_len_seq(order, state=np.ones(order), taps=[order - POLYNOMIALS[order]])[0]
    assert taps == [order - POLYNOMIALS[order]]
    assert (ours == theirs).all()


def test_an_order_without_polynomial_is_refused():
    with pytest.raises(AotfLabError, match=r"found 8; allowed: one of 7, 9, 11, 15"):
        pseudo_random_bits(8)


def test_the_worst_of_all_patterns_by_trying_each():
    channel = Channel(1.6, 2.4, contrast=200.0)
    for bit_us, around in ((1.1, 5), (1.7, 4)):
        time = np.linspace(0.0, bit_us, 7)
        first = around
        lights = {0: [], 1: []}
        for bits in itertools.product((0, 1), repeat=2 * around + 1):
            lights[bits[first]].append(light_of(channel, bits, first, time, bit_us))
        assert extreme_light(channel, time, bit_us, 1) == pytest.approx(np.min(lights[1], axis=0), abs=2e-6)
        assert extreme_light(channel, time, bit_us, 0) == pytest.approx(np.max(lights[0], axis=0), abs=2e-6)


def test_equal_edges_give_the_sum_of_isi():
    # peak distortion analysis: worst opening = own pulse less the sum of |ISI| (Lucky, Salz & Weldon; from memory)
    channel = Channel(1.6, 1.6, contrast=PURE)
    for bit_us, at in ((1.0, 0.5), (1.5, 0.6), (2.5, 1.5)):
        own, others = isi_sum(channel, at, bit_us)
        worst = [extreme_light(channel, np.array([at]), bit_us, b)[0] for b in (1, 0)]
        assert worst[0] - worst[1] == pytest.approx(own - others, abs=1e-9)


def test_the_isi_of_a_pulse_is_that_of_a_beam_lit_by_a_strip_of_sound():
    # the pulse of a bit by integrating the Gaussian beam over the strip of sound that the bit left, v = 0.6434 mm/us
    v, diameter, bit_us = 0.6434, 1.6, 1.5
    rise = 0.6408 * diameter / v
    own, _ = isi_sum(Channel(rise, rise, PURE), 0.75, bit_us)
    beam = lambda x: np.exp(-8 * x**2 / diameter**2)  # noqa: E731
    total = integrate.quad(beam, -10, 10)[0]
    assert own == pytest.approx(integrate.quad(beam, -0.75 * v, 0.75 * v)[0] / total, abs=2e-5)


@pytest.mark.parametrize(("rise", "fall"), [(1.6, 1.6), (1.6, 2.6)])
def test_the_simulated_eye_is_as_open_as_the_exact_one(rise, fall):
    channel = Channel(rise, fall, contrast=500.0)
    for bit_us in (1.4, 2.0):
        exact = openings(channel, bit_us)
        eye = simulated_eye(channel, bit_us, order=11, points=401)
        at = extreme_light(channel, np.array([exact.sample_us]), bit_us, 1)[0]
        assert at == pytest.approx(exact.least_on, abs=1e-12)
        # an 11-bit register holds every pattern of 11 bits but all 0: it contains the worst within the memory
        assert eye.opening(exact.sample_us) == pytest.approx(exact.vertical, abs=2e-4)
        assert eye.opening(exact.sample_us) >= exact.vertical - 2e-4


def test_the_highest_rate_in_closed_form():
    # equal edges, no leak, no jitter: opening = 2 erf(T / (2 sqrt2 s)) - 1 in the middle of the bit
    for opening in (0.3, 0.5, 0.8):
        found = data_rate(1.6, contrast=PURE, eye_opening=opening, eye_width=0.05)
        s = 1.6 / 2.5631031310892
        expected = special.erfinv((1 + opening) / 2) * 2 * np.sqrt(2) * s
        assert found.bit_us == pytest.approx(expected, rel=1e-5)
        assert found.limited_by == "vertical"
        assert found.openings.sample_us == pytest.approx(found.bit_us / 2, rel=1e-9)


def test_leaks_close_the_eye():
    clean, leaky = (data_rate(1.6, contrast=c, eye_width=0.05) for c in (PURE, 10.0))
    assert leaky.bit_rate_kbit_s < clean.bit_rate_kbit_s
    # 10 % leaks: the swing is 0.9, so its own opening must be 0.5 / 0.9
    same = data_rate(1.6, contrast=PURE, eye_opening=0.5 / 0.9, eye_width=0.05)
    assert leaky.bit_us == pytest.approx(same.bit_us, rel=1e-5)


def test_the_width_can_be_the_limit():
    # the least of a 1 is a lone 1, its edges off by three rms jitters: where it crosses half light, by root finding
    channel = Channel(1.6, 1.6, contrast=PURE)
    bit_us, s = 2.0, 1.6 / (2 * stats.norm.ppf(0.9))
    for jitter in (0.0, 0.02):
        lone = lambda t, j: stats.norm.cdf((t - j) / s) - stats.norm.cdf((t + j - bit_us) / s) - 0.5  # noqa: E731
        left = optimize.brentq(lone, -1.0, bit_us / 2, args=(3 * jitter,))
        found = openings(replace(channel, jitter_us=jitter), bit_us)
        assert found.horizontal == pytest.approx((bit_us - 2 * left) / bit_us, abs=1e-4)
    wide = data_rate(1.6, contrast=PURE, eye_opening=0.05, eye_width=0.8)
    assert wide.limited_by == "horizontal"
    assert wide.openings.horizontal == pytest.approx(0.8, abs=1e-4)


def test_uncertainty_goes_with_the_rise():
    # without jitter the rate scales as 1 / rise, so their relative uncertainties are equal and fully correlated
    rise = ufloat(1.6, 0.04)
    found = data_rate(rise, contrast=1000.0)
    assert found.bit_rate_kbit_s.s / found.bit_rate_kbit_s.n == pytest.approx(0.025, rel=1e-3)
    assert (found.bit_rate_kbit_s * rise).s < 1e-2 * found.bit_rate_kbit_s.s


def test_bit_errors_against_noise_drawn_at_random():
    channel = Channel(1.6, 1.6, contrast=100.0, noise_on=0.12, noise_off=0.08)
    bit_us = 2.2
    exact = openings(channel, bit_us)
    clean = simulated_eye(channel, bit_us)
    expected = clean.mean_bit_error(exact.sample_us, exact.threshold)
    at = clean.at(exact.sample_us)
    rng, wrong, runs = np.random.default_rng(7), 0, 2000
    for _ in range(runs):
        seen = at + np.where(clean.bits == 1, 0.12, 0.08) * rng.normal(size=at.size)
        wrong += int(np.sum((seen > exact.threshold) != (clean.bits == 1)))
    drawn = wrong / (runs * at.size)
    assert drawn == pytest.approx(expected, rel=4 / np.sqrt(wrong))


def test_q_and_bit_errors_as_in_the_standard_text():
    # Q = 6 gives 1e-9, Q = 7 1.3e-12 (Agrawal, Fiber-Optic Communication Systems; from memory)
    assert bit_error_rate(6.0) == pytest.approx(1e-9, rel=0.02)
    assert bit_error_rate(7.0) == pytest.approx(1.3e-12, rel=0.02)
    assert q_needed(bit_error_rate(4.2)) == pytest.approx(4.2, abs=1e-6)
    limited = data_rate(1.6, contrast=1000.0, eye_opening=0.2, eye_width=0.05, noise_share=0.04, bit_error_limit=1e-9)
    assert limited.limited_by == "bit errors"
    assert limited.bit_error_rate == pytest.approx(1e-9, rel=1e-3)
    assert limited.openings.vertical == pytest.approx(q_needed(1e-9) * 0.08, abs=1e-6)
    assert limited.mean_bit_error_rate < limited.bit_error_rate
    assert "limited by the bit error rate" in str(limited)


def test_jittered_bits_stay_inside_the_eye_that_is_promised():
    # the worst eye allows each edge three rms jitters; few edges of the drawn ones go further, and rarely two together
    channel = Channel(1.6, 1.6, contrast=1000.0, jitter_us=0.03)
    found = openings(channel, 2.0)
    at = [simulated_eye(channel, 2.0, jitter=True, seed=s).opening(found.sample_us) for s in range(5)]
    assert min(at) > found.vertical
    assert openings(replace(channel, jitter_us=0.0), 2.0).vertical - found.vertical > 0.05


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"contrast": 0.5}, r"contrast of light on to light off; found 0.5; allowed: above 1"),
        ({"contrast": 1.5}, r"never opens so far.*at a contrast of 1.5; allowed: below 0.3333"),
        ({"contrast": 100.0, "eye_opening": 1.2}, r"eye opening; found 1.2; allowed: above 0, below 1"),
        ({"contrast": 100.0, "noise_share": -0.1}, r"noise when on; found -0.1; allowed: 0 or more"),
        ({"contrast": 100.0, "noise_share": 0.1, "bit_error_limit": 0.7}, r"bit error rate; found 0.7"),
    ],
)
def test_what_has_no_meaning_is_refused(more, words):
    with pytest.raises(AotfLabError, match=words):
        data_rate(1.6, **more)


def test_no_rise_time_no_rate():
    with pytest.raises(AotfLabError, match=r"rise time \(us\); found 0; allowed: above 0 us"):
        data_rate(0.0, contrast=100.0)


def test_it_is_said_and_drawn():
    found = data_rate(ufloat(1.6, 0.03), 2.4, contrast=800.0, noise_share=0.02, jitter_us=0.01)
    text = str(found)
    assert "kbit/s at the most" in text
    assert "FAILED edges alike: rise over fall, or fall over rise, is 1.5, limit 1.2" in text
    assert "<caption>Serial data" in found._repr_html_()
    assert found.openings_at(10.0).vertical > 0.99
    with pytest.raises(AotfLabError, match=r"bit rate \(kbit/s\); found 0;"):
        found.openings_at(0.0)
    axes = Figure().subplots()
    assert found.plot(axes) is axes
    assert axes.get_ylabel().startswith("Light over")
    assert len(axes.get_lines()) == 3
