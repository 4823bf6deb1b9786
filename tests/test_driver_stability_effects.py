"""Pushing, pulling, hum, the budget at a set-point, and the simulated files."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import signal

from aotf_lab.driver import fit_vco
from aotf_lab.driver.stability import (
    fit_hum,
    fit_pulling,
    fit_pushing,
    fit_warm_up,
    stability,
    stability_budget,
)
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from aotf_lab.estimation import variance_shares
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.reading.counter import read_counter
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, oscillator_sweep
from aotf_lab.simulate.warm_up import pushing_text, warmup_log_text
from tests.test_driver_stability_warm_up import log as warm_log

SUPPLY = np.array([15.0, 14.5, 15, 15.5, 15, 14.5, 15, 15.5, 15, 14.75, 15, 15.25, 15])
LOADS = ["matched", "crystal", "matched", "open", "matched", "crystal", "matched", "open", "matched"] * 2


def pushed(drift=0.0, bend=0.0, supply=SUPPLY):
    rng = np.random.default_rng(3)
    x, t = supply - 15.0, 30.0 * np.arange(len(supply))
    f = 66.0 + 0.55 * x + bend * x**2 + drift * t + 0.002 * rng.standard_normal(len(x))
    return pd.DataFrame({"time_s": t, "supply_v": supply, "frequency_mhz": f, "u_frequency_mhz": 0.002})


def pulled(**columns):
    rng = np.random.default_rng(4)
    shift = {"matched": 0.0, "crystal": 0.012, "open": 0.030}
    t = 30.0 * np.arange(len(LOADS))
    f = 66.0 + np.array([shift[w] for w in LOADS]) + 4e-5 * t + 0.001 * rng.standard_normal(len(t))
    table = pd.DataFrame({"load": LOADS, "time_s": t, "frequency_mhz": f, "u_frequency_mhz": 0.001})
    return table.assign(**columns)


def fast(rate_hz, amplitude=0.003, line=50.03, n=4000):
    t = np.arange(n) / rate_hz
    f = 66.0 + amplitude * np.sin(2 * np.pi * line * t + 1) + 0.002 * np.random.default_rng(5).standard_normal(n)
    return pd.DataFrame({"time_s": t, "frequency_mhz": f})


def test_pushing_is_free_of_drift():
    still, drifting = fit_pushing(pushed()), fit_pushing(pushed(drift=3e-4))
    assert still.mhz_per_v.n == pytest.approx(0.55, abs=3 * still.mhz_per_v.s)
    assert drifting.mhz_per_v.n == pytest.approx(still.mhz_per_v.n, abs=still.mhz_per_v.s)
    assert still.fit.trusted, still.fit.failed
    assert still.reference_v == 15.0
    assert still.shift_mhz(0.1).n == pytest.approx(0.1 * still.mhz_per_v.n)


def test_pushing_by_order_where_no_time_was_logged():
    p = fit_pushing(pushed().drop(columns="time_s"))
    assert p.mhz_per_v.n == pytest.approx(0.55, abs=3 * p.mhz_per_v.s)


def test_bent_pushing_is_noticed():
    assert "straight pushing" in [c.name for c in fit_pushing(pushed(bend=0.2)).fit.failed]


def test_reference_that_was_not_set_again_is_noticed():
    supply = np.array([14.5, 15.5, 14.6, 15.4, 14.7, 15.3, 15.0, 15.0, 15.0])
    assert "reference supply" in [c.name for c in fit_pushing(pushed(supply=supply)).fit.failed]


def test_pushing_that_is_refused():
    with pytest.raises(ReadingsError, match=r"nothing tells pushing \(MHz/V\) from a drift; found a change that runs"):
        fit_pushing(pushed(supply=np.linspace(14.5, 15.5, 13)))
    with pytest.raises(ReadingsError, match=r"supply voltages that tell no pushing; found 0; allowed: a voltage in"):
        fit_pushing(pushed(supply=np.full(13, 15.0)))
    with pytest.raises(ReadingsError, match=r"row 3: supply voltages that tell no pushing; found nan"):
        fit_pushing(pushed().assign(supply_v=np.where(np.arange(13) == 2, np.nan, SUPPLY)))
    with pytest.raises(ReadingsError, match=r"no column 'supply_v'"):
        fit_pushing(pushed().drop(columns="supply_v"))


def test_pulling_against_the_matched_load():
    p = fit_pulling(pulled())
    assert p.reference == "matched"
    assert p.largest == "open"
    for load, truth in (("crystal", 0.012), ("open", 0.030)):
        assert p.shift_mhz[load].n == pytest.approx(truth, abs=3 * p.shift_mhz[load].s)
    assert p.fit.trusted, p.fit.failed
    other = fit_pulling(pulled(), reference="Crystal")
    assert other.shift_mhz["matched"].n == pytest.approx(-p.shift_mhz["crystal"].n, rel=1e-6)
    difference = p.shift_mhz["open"] - p.shift_mhz["crystal"]
    assert other.shift_mhz["open"].s == pytest.approx(difference.s, rel=1e-6)


def test_pulling_takes_labels_and_notices_a_load_that_never_came_back():
    table = pulled().rename(columns={"load": "label"})
    assert fit_pulling(table).reference == "matched"
    assert "open" in str(fit_pulling(table))
    order = np.argsort([w != "matched" for w in LOADS], kind="stable")
    table = pulled().assign(load=np.array(LOADS)[order])
    assert "reference load" in [c.name for c in fit_pulling(table).fit.failed]


def test_pulling_that_is_refused():
    with pytest.raises(ReadingsError, match=r"row 2, column 'load': a row without its load; found ''"):
        fit_pulling(pulled(load=["matched", "", *LOADS[2:]]))
    with pytest.raises(ReadingsError, match=r"loads that tell no pulling; found matched; allowed: two loads or more"):
        fit_pulling(pulled(load="matched"))
    with pytest.raises(
        ReadingsError, match=r"loads that tell no pulling; found matched, crystal, open; allowed.*'short'"
    ):
        fit_pulling(pulled(), reference="short")
    with pytest.raises(ReadingsError, match=r"too few readings for the pulling; found 4; allowed: at least 6"):
        fit_pulling(pulled().head(4))


def test_hum_that_is_there():
    h = fit_hum(fast(500.0), mains_hz=50)
    assert h.seen == (50.0,)
    assert h.amplitude_mhz[50.0].n == pytest.approx(0.003, abs=4 * h.amplitude_mhz[50.0].s)
    assert h.amplitude_mhz[100.0].n < 0.0005
    assert [c.name for c in h.checks if not c.passed] == ["hum at 50 Hz"]


def test_hum_that_is_not_there_and_hum_that_cannot_be_seen():
    assert fit_hum(fast(500.0, amplitude=0.0), mains_hz=60).seen == ()
    slow = fit_hum(fast(10.0), mains_hz=50)
    assert not slow.visible
    assert "50 Hz and 100 Hz is not visible in 4000 even readings at 10 Hz, which does not mean absent" in slow.note
    half = fit_hum(fast(150.0), mains_hz=50)
    assert list(half.amplitude_mhz) == [50.0]
    assert "hum at 100 Hz is not visible" in str(half)
    with pytest.raises(AotfLabError, match=r"mains frequency \(Hz\); found 55; allowed: 50 or 60"):
        fit_hum(fast(500.0), mains_hz=55)


def test_pulling_is_drawn_with_its_interval():
    p = fit_pulling(pulled())
    ax = p.plot()
    assert [t.get_text() for t in ax.get_yticklabels()] == list(p.shift_mhz) == ["crystal", "open"]
    dots, _, (bars,) = ax.containers[0]
    assert list(dots.get_xdata()) == pytest.approx([1e3 * s.n for s in p.shift_mhz.values()])
    low, high = p.fit.interval(p.shift_mhz["open"])
    assert [x for x, _ in bars.get_segments()[1]] == pytest.approx([1e3 * low, 1e3 * high])
    assert p.plot(ax) is ax


def test_the_spectrum_of_the_hum_is_that_of_scipy():
    """scipy.signal.periodogram under a Hann window, scaling "spectrum": the square of an r.m.s. amplitude."""
    h = fit_hum(fast(500.0), mains_hz=50)
    ax = h.plot()
    hz, khz = ax.lines[0].get_data()
    told_hz, power = signal.periodogram(h.rest_mhz, 500.0, window="hann", detrend=False, scaling="spectrum")
    shown = (told_hz > 0) & (told_hz < 250)
    assert hz == pytest.approx(told_hz[shown])
    assert khz == pytest.approx(1e3 * np.sqrt(2 * power[shown]), rel=0.02, abs=0.002 * khz.max())
    assert hz[np.argmax(khz)] == pytest.approx(50, abs=0.2)
    assert list(ax.containers[0][0].get_ydata()) == pytest.approx([1e3 * a.n for a in h.amplitude_mhz.values()])
    assert fit_hum(fast(10.0), mains_hz=50).plot().lines[0].get_xdata().max() == pytest.approx(5.0, abs=0.01)


@pytest.fixture(scope="module")
def budget():
    rng = np.random.default_rng(6)
    table = warm_log()
    warm = fit_warm_up(table)
    vco = fit_vco(oscillator_sweep(rng, (*DEMO_UP_V, *DEMO_DOWN_V)[:32], dial=True))
    everything = stability_budget(
        0.3, warm_up=warm, stability=stability(table, warm_up=warm), pushing=fit_pushing(pushed()),
        pulling=fit_pulling(pulled()), hum=fit_hum(fast(500.0), mains_hz=50), vco=vco, drive_v=6.0,
        used_after_s=3600.0, elapsed_s=3600.0, temperature_swing_k=1.0, supply_swing_v=0.02,
    )  # fmt: skip
    return everything, warm, vco


def test_budget_has_every_cause_once(budget):
    everything, warm, vco = budget
    assert everything.missing == ()
    u = {t.name: t.u_mhz for t in everything}
    assert set(u) == {
        "warm-up left", "slow drift", "temperature of the box", "supply", "load", "hum", "backlash of the pot",
        "jitter", "wander",
    }  # fmt: skip
    assert u["supply"] == pytest.approx(0.55 * 0.02 / 3**0.5, rel=0.02)  # GUM 4.3.7
    assert u["load"] == pytest.approx(0.030 / 3**0.5, rel=0.1)
    assert u["hum"] == pytest.approx(0.003 / 2**0.5, rel=0.1)
    assert u["wander"] == pytest.approx(60 * warm.walk_mhz)
    assert u["backlash of the pot"] == pytest.approx(abs(vco.reversal_v.s * vco.sensitivity(6.0).n))
    assert list(everything.table["u_mhz"]) == sorted(u.values(), reverse=True)


def test_budget_terms_are_variables_to_add(budget):
    everything, _, vco = budget
    shares = variance_shares(everything.error_mhz)
    assert set(shares) == {t.name for t in everything}
    total = sum(t.u_mhz**2 for t in everything)
    assert everything.error_mhz.s**2 == pytest.approx(total)
    assert sum(everything.table["share_of_variance"]) == pytest.approx(1.0)
    # the curve holds the backlash already: beside it, it must not be added again
    frequency = vco.frequency(6.0)
    assert "backlash of the pot" not in variance_shares(everything.beside_curve_mhz)
    added = (frequency + everything.beside_curve_mhz).s ** 2 - frequency.s**2
    assert added == pytest.approx(everything.beside_curve_mhz.s**2, rel=1e-6)


def test_budget_in_light(budget):
    for term in budget[0]:
        assert term.share_of_fwhm == pytest.approx(term.u_mhz / 0.3)
        lost = 100 * float(light_lost(1.959964 * term.u_mhz / 0.3))
        assert term.light_lost_percent == pytest.approx(lost, rel=1e-5)
    assert "% of light" in str(budget[0])
    assert len(budget[0].plot().patches) == len(budget[0])


def test_budget_says_what_is_missing():
    b = stability_budget(0.3, hum=fit_hum(fast(10.0), mains_hz=50))
    assert len(b) == 0
    assert len(b.missing) == 9
    assert any("not visible" in m for m in b.missing)
    only = stability_budget(
        0.3, stability=stability(66.0 + 1e-3 * np.random.default_rng(7).standard_normal(500), 1.0), elapsed_s=16.0
    )
    assert {t.name for t in only} == {"jitter", "wander"}


def test_budget_that_is_refused(budget):
    with pytest.raises(AotfLabError, match=r"width of the passband \(MHz\); found 0; allowed: above zero"):
        stability_budget(0.0)
    with pytest.raises(AotfLabError, match=r"swing of the supply \(V\); found -0.1; allowed: zero or more"):
        stability_budget(0.3, supply_swing_v=-0.1)
    with pytest.raises(OutOfRangeError, match=r"time since power-on.*90000 s"):
        stability_budget(0.3, warm_up=budget[1], used_after_s=90000.0)


def test_simulated_warm_up_file_comes_back(log):
    readings = read_counter(log(warmup_log_text(7), "warmup_log.csv"))
    assert len(readings.table) == 720
    w = fit_warm_up(readings, started_s=20.0)
    for value, truth in ((w.time_constant_s, 780.0), (w.temperature_mhz_per_k, -0.046), (w.drift_mhz, 0.36)):
        low, high = w.fit.interval(value, 0.99)
        assert low < truth < high


def test_simulated_pushing_file_comes_back(log):
    p = fit_pushing(read_counter(log(pushing_text(7), "pushing.csv")))
    low, high = p.fit.interval(p.mhz_per_v, 0.99)
    assert low < 0.55 < high
    assert p.reference_v == pytest.approx(15.02, abs=0.02)
    assert p.plot().get_xlabel() == "Supply of the oscillator Vs (V)"


def test_same_seed_same_file():
    assert warmup_log_text(3) == warmup_log_text(3)
    assert pushing_text(3) != pushing_text(4)
