"""Sequences: dead times and leaks against other ways to compute them, and the staircase played on the true bench."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from matplotlib.figure import Figure
from scipy import integrate, signal, stats
from uncertainties import ufloat

from aotf_lab.crystal.passbands.passbands import passbands
from aotf_lab.errors import AotfLabError
from aotf_lab.planning.sequence import OFF, PARK, Step, least_order, sequence
from aotf_lab.planning.sequence.beam import through_beam
from aotf_lab.planning.sequence.port import kick_v, move_of, time_constant_us
from aotf_lab.planning.sequence.staircase import Staircase
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency
from aotf_lab.simulate.oscillator import oscillator_frequency
from aotf_lab.simulate.truth import SKERRY

DELAY, RISE, PORT = 9.3, 1.6, 180.0
TIMES = {"delay_us": DELAY, "rise_us": RISE, "port_bandwidth_khz": PORT}
SIGMA = RISE / (2 * stats.norm.ppf(0.9))
TAU = 1e3 / (2 * np.pi * PORT)
AIR_NM = {line.name: line.wavelength_air_nm for line in SKERRY.lines}
STEP = 0.002


@pytest.fixture(scope="module")
def bands(demo):
    return passbands(demo.scans, demo.efficiency, demo.tuning, wavelengths_nm=demo.wavelengths_nm)


@pytest.fixture(scope="module")
def seven(demo, bands):
    return sequence(demo, dict.fromkeys("ABCDEFG", 40.0), passbands=bands, park=44.566, **TIMES)


def played(found, cycles=2):
    """The true bench's light of every line while the staircase is played, at the beam and as sent: dense and by itself.

    The bench's voltmeter reads 0.12 % high, and the set-points are in its volts; its box stood at 22.4 C.
    """
    s = found.staircase
    n = round(cycles * s.cycle_us / STEP)
    time = np.arange(n) * STEP
    which = np.searchsorted(s.time_us, time % s.cycle_us + 1e-9, side="right") - 1
    a = np.exp(-STEP / TAU)
    first = s.drive_v[-1]
    port = signal.lfilter([0.0, 1 - a], [1.0, -a], s.drive_v[which] - first) + first
    f = oscillator_frequency(port / 1.0012, temperature_c=22.4)
    power = true_rf_power(found.scene.drive.supply_v, f) * s.rf_on[which]
    beam = np.arange(-6 * SIGMA, 6 * SIGMA, STEP)
    kernel = np.exp(-0.5 * (beam / SIGMA) ** 2)
    kernel /= kernel.sum()
    light, raw = {}, {}
    for line, nm in AIR_NM.items():
        peak = float(true_peak_frequency(nm))
        full = float(true_efficiency(peak, true_rf_power(found.scene.drive.supply_v, peak), nm))
        raw[line] = true_efficiency(f, power, nm) / full
        light[line] = signal.oaconvolve(raw[line], kernel, mode="same")
    return time + DELAY, light, raw


def test_the_pole_against_a_solver():
    move = move_of(11.86, 2.98, TAU)
    solved = integrate.solve_ivp(
        lambda t, v: (2.98 - v) / TAU, (0, 8), [11.86], rtol=1e-10, atol=1e-12, dense_output=True
    )
    t = np.linspace(0, 8, 50)
    assert move.volts(t) == pytest.approx(solved.sol(t)[0], abs=1e-8)
    assert time_constant_us(PORT) == pytest.approx(TAU, rel=1e-12)
    assert abs(move.volts(np.array([move.settled_us(0.01)]))[0] - 2.98) == pytest.approx(0.01, abs=1e-9)


def test_a_kick_arrives_when_it_should_by_a_solver():
    aim = kick_v(5.0, 9.0, 0.7, TAU)
    solved = integrate.solve_ivp(lambda t, v: (aim - v) / TAU, (0, 0.7), [5.0], rtol=1e-10, atol=1e-12)
    assert solved.y[0, -1] == pytest.approx(9.0, abs=1e-7)


@pytest.mark.parametrize("cyclic", [True, False])
def test_the_exact_order_against_trying_them_all(cyclic):
    rng = np.random.default_rng(3)
    for n in (2, 3, 5, 7):
        cost = rng.random((n, n))
        found, total = least_order(cost, cyclic=cyclic)
        tried = []
        for order in itertools.permutations(range(n)):
            moves = list(itertools.pairwise(order)) + ([(order[-1], order[0])] if cyclic else [])
            tried.append(sum(cost[i, j] for i, j in moves))
        assert total == pytest.approx(min(tried), abs=1e-12)
        assert sorted(found) == list(range(n))
        moves = list(itertools.pairwise(found)) + ([(found[-1], found[0])] if cyclic else [])
        assert sum(cost[i, j] for i, j in moves) == pytest.approx(total, abs=1e-12)


def test_an_order_that_cannot_be_is_refused():
    with pytest.raises(AotfLabError, match=r"too many steps for an exact search; found 13; allowed: at most 12"):
        least_order(np.zeros((13, 13)))
    with pytest.raises(AotfLabError, match=r"no order is possible; found each one holds a move that is forbidden"):
        least_order(np.full((3, 3), np.inf))


def test_dead_time_by_a_solver_and_a_dense_convolution(demo, bands):
    found = sequence(demo, {"D": 40.0, "E": 40.0}, passbands=bands, **TIMES)
    hop = found["E"].hop
    start, end = hop.start.volts, hop.end.volts
    t = np.arange(-8.0, 16.0, 0.004)
    solved = integrate.solve_ivp(
        lambda t, v: (end - v) / TAU, (0, 17), [start], rtol=1e-9, atol=1e-12, dense_output=True
    )
    volts = np.where(t < 0, start, solved.sol(np.maximum(t, 0))[0])
    f = np.array([x.n for x in demo.vco.frequency_at_true(volts)])
    light = bands.nominal("E", f, demo.level.nominal_w(np.full(len(f), found.scene.drive.supply_v), f))
    kernel = stats.norm.pdf(np.arange(-5.0, 5.001, 0.004), scale=SIGMA) * 0.004
    seen = np.convolve(light, kernel, mode="same")[1300:-1300]
    at = t[1300:-1300]
    good = at[np.flatnonzero(seen < 0.95 * light[-1])[-1]]
    assert hop.dead_us == pytest.approx(DELAY + good, abs=0.012)


def test_rf_switched_on_gives_the_edge_of_the_beam_alone(demo, bands):
    found = sequence(demo, [("D", 40.0), (OFF, 20.0)], passbands=bands, **TIMES)
    # the port waits at D's volts: what is left is the error function, 95 % of it at 1.645 standard deviations
    assert found["D"].dead_us == pytest.approx(DELAY + stats.norm.ppf(0.95) * SIGMA, abs=1e-3)
    assert found["D"].hop.leave_us == pytest.approx(DELAY + stats.norm.ppf(0.05) * SIGMA, abs=1e-2)
    assert found[OFF].mean_rf_w == 0.0
    assert found["D"].mean_rf_w.n == pytest.approx(found["D"].place.rf_power_w.n * found["D"].hold_us / found.cycle_us)


def test_from_park_to_off_no_line_is_at_either_end(demo, bands):
    """Uncertain times follow the two lines of a hop alone; where both ends are dark there is none."""
    times = {name: ufloat(value, 0.01 * value) for name, value in TIMES.items()}
    found = sequence(demo, [("D", 40.0), (PARK, 20.0), (OFF, 20.0)], passbands=bands, park=57.0, order="given", **times)
    assert found.order == ("D", PARK, OFF)
    assert found[OFF].dead_us.n == DELAY
    assert found[OFF].dead_us.s == pytest.approx(0.01 * DELAY)
    assert found.scene.lines == bands.lines


def test_one_line_that_is_lit_needs_no_list(demo, bands):
    """Letters of a name are no names: "DE" lights neither D nor E."""
    assert sequence(demo, {"D": 40.0, "E": 40.0}, passbands=bands, lit="D", **TIMES).scene.lines == ("D", "E")
    with pytest.raises(AotfLabError, match="no passband of this line; found 'DE'"):
        sequence(demo, {"D": 40.0, "E": 40.0}, passbands=bands, lit="DE", **TIMES)


@pytest.mark.parametrize(
    ("steps", "park", "match"),
    [
        ([(589.1, 40.0), (600.0, 40.0)], None, r"line of a step of another kind; found 589\.1; allowed: the name of a"),
        ([(589.1, 40.0)], None, r"line of a step of another kind; found 589\.1"),
        ({"D": 40.0, PARK: 40.0}, "57", r"park of another kind; found '57'; .* without quotation marks"),
        ({"D": 40.0, PARK: 40.0}, ufloat(57.0, 0.1), r"park of another kind; .* give its value alone"),
    ],
)
def test_names_and_parks_that_are_none(demo, bands, steps, park, match):
    with pytest.raises(AotfLabError, match=match):
        sequence(demo, steps, passbands=bands, park=park, **TIMES)


@pytest.mark.parametrize("deviation", [0.0005, 0.02, 0.6])
def test_light_through_the_beam_is_the_mean_over_a_gaussian(deviation):
    """Each step of the staircase by the normal distribution function itself (scipy.stats), at every time."""
    rng = np.random.default_rng(3)
    sent = np.union1d(np.sort(rng.uniform(0.0, 0.1, 500)), np.linspace(0.0, 1.5, 40))
    light = rng.uniform(size=(2, len(sent) - 1))
    before, after = np.array([0.3, 0.0]), np.array([0.0, 1.0])
    seen = np.linspace(-6 * deviation, 1.5 + 6 * deviation, 301)
    until = stats.norm.cdf((sent[:, None] - seen) / deviation)
    wanted = np.outer(before, until[0]) + light @ np.diff(until, axis=0) + np.outer(after, 1 - until[-1])
    np.testing.assert_allclose(through_beam(sent, light, before, after, seen, deviation), wanted, atol=1e-8)


def test_every_line_is_good_when_promised_on_the_true_bench(seven):
    time, light, _ = played(seven)
    for turn in seven.turns:
        assert turn.dwell_us == pytest.approx(40.0, abs=1e-6)
        for shift in (0.0, seven.cycle_us):
            inside = (time > turn.good_from_us + shift + 0.02) & (time < turn.good_to_us + shift - 0.02)
            if turn.command_us + shift > 1.0:
                # 1.5 %: the set-points' own loss and the true passbands' lean
                assert light[turn.name][inside].min() > 0.95 - 0.015
        before = np.abs(time - (turn.good_from_us + seven.cycle_us - 0.25)) < 0.01
        assert light[turn.name][before].max() < 0.95


def test_light_leaked_on_the_way_as_the_true_bench_shows_it(seven):
    time, _, raw = played(seven)
    sent = time - DELAY
    flashes = {}
    for turn in seven.turns:
        begin = turn.command_us + seven.cycle_us
        way = (sent >= begin) & (sent < begin + turn.hop.transit.time_us[-1])
        for crossing in turn.hop.crossings:
            flashes.setdefault(crossing.line, []).append((crossing.leaked_us, raw[crossing.line][way].sum() * STEP))
    # from A down to G every line is passed one by one; the way back passes the five between
    assert sorted(flashes) == list("BCDEF")
    for pairs in flashes.values():
        for stated, true in pairs:
            # the dense grid has few points within the fastest crossings; the passbands are fitted
            assert stated == pytest.approx(true, rel=0.06)


def test_the_best_order_leaks_least_of_all(demo, bands):
    lines = dict.fromkeys("BDFG", 40.0)
    leak = lambda found: sum(t.hop.transit.leaked_us for t in found.turns)  # noqa: E731
    best = sequence(demo, lines, passbands=bands, **TIMES)
    tried = []
    for rest in itertools.permutations("DFG"):
        steps = [(n, 40.0) for n in ("B", *rest)]
        tried.append(leak(sequence(demo, steps, passbands=bands, order="given", **TIMES)))
    assert leak(best) == pytest.approx(min(tried), rel=1e-4)
    assert leak(best) < max(tried)


def test_equal_light_on_the_true_bench(demo, bands):
    steps = [Step("B", 40.0), Step("D", 40.0, weight=2.0), Step("G", 40.0)]
    found = sequence(demo, steps, passbands=bands, equal_light=True, **TIMES)
    assert sum(t.dwell_us for t in found.turns) == pytest.approx(120.0)
    energy = {t.name: t.energy.n for t in found.turns}
    assert energy["B"] == pytest.approx(energy["G"], rel=1e-9)
    assert energy["D"] == pytest.approx(2 * energy["G"], rel=1e-9)
    time, light, _ = played(found)
    one = (time > 30.0) & (time < 30.0 + found.cycle_us)
    for turn in found.turns:
        crossed = found.leaked.get(turn.name, 0.0) * turn.dwell_us
        lit = light[turn.name][one].sum() * STEP - crossed
        # all the light of one cycle over the line's full light: sidelobes of neighbours and set-points within 1 %
        assert turn.energy.n / turn.light.n == pytest.approx(lit, rel=0.01)


def test_a_kick_saves_time_and_leaks_less(demo, bands):
    lines = dict.fromkeys("BDG", 40.0)
    slow, fast = (sequence(demo, lines, passbands=bands, kick_us=k, range_v=(-15, 25), **TIMES) for k in (None, 0.8))
    assert fast.cycle_us < slow.cycle_us - 3.0
    assert sum(fast.leaked.values()) < sum(slow.leaked.values())
    assert max(fast.staircase.drive_v) > 11.9
    failed = [c.name for c in fast.checks if not c.passed]
    assert "fast steps arrive" in failed
    sure = sequence(demo, lines, passbands=bands, kick_us=0.8, range_v=(-15, 25),
                    **{**TIMES, "port_bandwidth_khz": ufloat(PORT, 0.02)})  # fmt: skip
    assert all(c.passed for c in sure.checks)
    with pytest.raises(AotfLabError, match=r"cannot be set in a fast step; found -.* V; allowed: 0 to inf V; a longer"):
        sequence(demo, lines, passbands=bands, kick_us=0.3, **TIMES)


def test_a_line_crossed_slowly_is_named(demo, bands):
    # seen from A, E is the last line before F: crossed late, so slowly
    tight = sequence(demo, {"A": 40.0, "F": 40.0}, passbands=bands, crossing_limit_us=0.02, **TIMES)
    check = next(c for c in tight.checks if c.name == "crossed quickly")
    slowest = max((c for t in tight.turns for c in t.hop.crossings), key=lambda c: c.within_us)
    assert not check.passed
    assert f"line {slowest.line} is crossed in" in check.detail
    # time within half of the peak, from the pole alone: tau ln of the ratio of distances, at the half-power volts
    hop = next(t.hop for t in tight.turns if slowest in t.hop.crossings)
    half = (
        bands.line(slowest.line)
        .fwhm_at(demo.level.rf_power(tight.scene.drive.supply_v, bands.peak_mhz(slowest.line).n).n)
        .n
        / 2
    )
    edges = [demo.vco.drive_true(bands.peak_mhz(slowest.line).n + s * half).n for s in (-1, 1)]
    near, far = sorted(abs(v - hop.end.volts) for v in edges)
    assert slowest.within_us == pytest.approx(TAU * np.log(far / near), rel=0.06)


def test_dead_times_carry_the_uncertainty_of_the_edge(demo, bands):
    delay, rise = ufloat(DELAY, 0.1), ufloat(RISE, 0.05)
    found = sequence(demo, [("D", 40.0), (OFF, 20.0)], passbands=bands, delay_us=delay, rise_us=rise,
                     port_bandwidth_khz=PORT)  # fmt: skip
    expected = np.hypot(0.1, 0.05 * stats.norm.ppf(0.95) / (2 * stats.norm.ppf(0.9)))
    assert found["D"].dead_us.s == pytest.approx(expected, rel=0.01)
    assert (found["D"].dead_us - delay).s == pytest.approx(np.sqrt(expected**2 - 0.01), rel=0.05)
    assert found["D"].place.drive_v.s > demo.set_points()["D"].drive_v.s


def test_steps_too_short_to_rest_are_named(demo, bands):
    found = sequence(demo, {"A": 0.5, "G": 0.5}, passbands=bands, **TIMES)
    assert any(
        "each hop from rest" in str(c) and "next hop starts early" in str(c) for c in found.checks if not c.passed
    )


def test_it_is_said_and_drawn(demo, seven):
    text = str(seven)
    assert text.startswith("Sequence of 7 steps in ")
    assert "rated 0.8 W" in text
    assert "<caption>Sequence of 7" in seven._repr_html_()
    assert list(seven.table["step"]) == list(seven.order)
    assert seven.duty == pytest.approx(280.0 / seven.cycle_us)
    assert isinstance(seven.staircase, Staircase)
    mean = sum(t.place.rf_power_w.n * t.hold_us for t in seven.turns) / seven.cycle_us
    assert seven.mean_rf_w.n == pytest.approx(mean)
    with pytest.raises(KeyError, match="'Z'"):
        seven["Z"]
    axes = Figure().subplots()
    assert seven.plot(axes) is axes
    assert [t.get_text() for t in axes.get_yticklabels()][2:] == [f"light of {n}" for n in seven.order]
