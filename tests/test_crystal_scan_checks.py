"""Each check of a scan fails for the fault that it names, and says by how much and what to do."""

import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from aotf_lab import fit_scan
from aotf_lab.crystal.scan.checks import _wander_check
from aotf_lab.crystal.scan.model import passband
from tests.benchmarks.scan_bench import Scenario, Truth
from tests.test_crystal_scan import TRUTH, off, scan_of


def failed(scan):
    return {c.name: c.detail for c in scan.fit.failed}


def details(scan):
    return {c.name: c.detail for c in scan.fit.checks}


def test_one_way_only_widens_the_centre():
    scan = fit_scan(scan_of()[0])
    assert list(failed(scan)) == ["lag"]
    assert "measured one way only: lag not separable, centre widened by" in failed(scan)["lag"]
    assert "scan back as well" in failed(scan)["lag"]
    assert scan.centre_mhz.s > 0.008
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert next(c for c in scan.fit.failed).at_stake_mhz == pytest.approx(scan.centre_mhz.s, rel=1e-6)


def test_one_way_with_the_time_constant_stated():
    scan = fit_scan(scan_of()[0], time_constant_s=0.9)
    assert list(failed(scan)) == ["lag"]
    assert "measured one way only, the power meter trailing by 46" in failed(scan)["lag"]
    assert "% of the FWHM from the lag, limit 2 %; scan back as well, or more slowly" in failed(scan)["lag"]
    diode = fit_scan(scan_of(Scenario("", points=(31,), head_s=0.0)), time_constant_s=0.0)
    assert diode.fit.trusted
    assert diode.lag_mhz.n == 0.0
    assert diode.centre_mhz.s < 0.001


def test_a_time_constant_without_logged_times_does_not_help():
    scan = fit_scan(scan_of()[0].drop(columns="time_s"), time_constant_s=0.9)
    assert "with a time_s column" in failed(scan)["lag"]


def test_a_stated_time_constant_that_is_wrong_is_named():
    scan = fit_scan(scan_of(), time_constant_s=2.0)
    assert "the readings contradict it" in failed(scan)["prior on lag_steps"]


def test_exchanged_directions_trail_the_wrong_way():
    tables = [t.drop(columns="time_s").assign(direction=w) for t, w in zip(scan_of(), ("down", "up"), strict=True)]
    assert "on the wrong side of the other" in failed(fit_scan(tables))["lag"]


def test_a_direction_that_time_contradicts():
    tables = [t.assign(direction=w) for t, w in zip(scan_of(), ("down", "up"), strict=True)]
    scan = fit_scan(tables)
    assert "60 readings go against the direction that they state" in failed(scan)["direction"]
    assert scan.lag_mhz.n > 0


def test_a_peak_that_moves_between_up_and_down():
    up, down = scan_of(Scenario("", head_s=0.0))
    moved = down.assign(frequency_mhz=down["frequency_mhz"] + 0.03)
    scan = fit_scan([up, moved])
    assert {"lag", "up and down"} & set(failed(scan))
    assert "scan again" in " ".join(failed(scan).values())


def counted_loosely(rng, apart_mhz=0.0, n=31):
    """Return a scan both ways without lag, in steps of 50 kHz that a counter with 4 kHz of scatter reads."""
    legs = []
    for way, sign in (("up", 1.0), ("down", -1.0)):
        f = 65.1 + 0.05 * np.arange(n)[:: int(sign)]
        light = 0.4 * passband(f, 65.85 + sign * apart_mhz / 2, 0.36, 0.0, 0.3)
        shown = light * (1 + 0.009 * rng.normal(size=n)) + 6e-4 * rng.normal(size=n)
        counted, u = f + 0.004 * rng.normal(size=n), np.hypot(0.01 * light, 6e-4)
        leg = {"frequency_mhz": counted, "u_frequency_mhz": 0.004, "optical_power_mw": shown, "u_optical_power_mw": u}
        legs.append(pd.DataFrame({**leg, "direction": way}))
    return pd.concat(legs, ignore_index=True)


def test_the_scatter_of_a_counter_is_no_difference_between_the_ways():
    # mean of 40 differences over their u: 0 +- 0.16; a bias below 0.6 u costs less than a false alarm in 200
    rng = np.random.default_rng(4)
    found = [details(fit_scan(counted_loosely(rng)))["up and down"] for _ in range(40)]
    pairs = [re.search(r"lag: (\S+) \+- (\S+) kHz", text) for text in found]
    pulls = [float(p[1]) / float(p[2]) for p in pairs]
    assert abs(np.mean(pulls)) < 0.6
    assert np.std(pulls) < 1.2


def test_a_difference_between_the_ways_is_still_seen_through_the_scatter_of_a_counter():
    scan = fit_scan(counted_loosely(np.random.default_rng(4), apart_mhz=-0.06))
    assert "they differ in frequency" in failed(scan)["up and down"]


def test_light_that_changes_between_up_and_down():
    up, down = scan_of()
    scan = fit_scan([up, down.assign(optical_power_mw=1.3 * down["optical_power_mw"])])
    assert {"up and down", "wander"} & set(failed(scan))


def test_a_scan_that_ends_on_the_slope():
    tables = [t[t["frequency_mhz"] < 64.27] for t in scan_of()]
    scan = fit_scan(tables)
    assert "FWHM below the centre and 0.2" in failed(scan)["range"]
    assert "scan two widths to either side" in failed(scan)["range"]


def test_steps_too_coarse_for_the_shape():
    tables = scan_of(Scenario("", points=(11, 11)))
    scan = fit_scan(tables)
    assert "readings over the FWHM in steps of 95.8 kHz, limit 4; scan in finer steps" in failed(scan)["step"]


def test_a_clipped_top():
    tables = [t.assign(optical_power_mw=t["optical_power_mw"].clip(upper=0.8)) for t in scan_of()]
    detail = failed(fit_scan(tables))["clipped"]
    assert "readings stop at 0.8 mW" in detail
    assert "take a higher range of the power meter" in detail


def test_few_digits_are_not_clipping():
    tables = [t.assign(optical_power_mw=t["optical_power_mw"].round(2), u_optical_power_mw=0.006) for t in scan_of()]
    assert "clipped" not in failed(fit_scan(tables))


@pytest.mark.parametrize(("wander", "gain"), [(0.0, 0.0), (0.001, 40.0), (0.5, 1.0), (0.5, 40.0)])
def test_a_wander_uses_up_its_limit_where_it_fails_and_only_there(wander, gain):
    """A large wander that the readings hardly tell passes; it is not to be shown as 400 % of a limit."""
    noise = SimpleNamespace(wander=wander, gain=gain)
    check = _wander_check(SimpleNamespace(noise=noise, table=SimpleNamespace(light=np.ones(3))))
    assert check.passed == (wander < 0.1 or gain < 10.0)
    assert (check.of_limit <= 1.0) == check.passed


def test_a_wandering_laser():
    scan = fit_scan(scan_of(Scenario("", wander=0.08, memory_s=2.0), 5))
    assert "log incident_power_mw beside it" in failed(scan)["wander"]
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert "wander" not in failed(fit_scan(scan_of(Scenario("", wander=0.012), 5)))


def test_a_sidelobe_with_light_of_another_line():
    ghost = Truth(64.62, 0.31, 0.0, 0.6, "tanh D", 0.06)
    tables = [t.assign(optical_power_mw=t["optical_power_mw"] + ghost.light(t["frequency_mhz"])) for t in scan_of()]
    scan = fit_scan(tables, drive_ratio=0.6)
    assert not scan.fit.trusted
    assert {"one peak", "right sidelobe", "scatter", "single readings"} & set(failed(scan))


def test_a_wrong_reading_is_named_by_its_place_and_kept():
    up, down = (t.assign(file=f"scan_{n}.csv", line=np.arange(2, 33)) for t, n in zip(scan_of(), "ud", strict=True))
    up.loc[12, "optical_power_mw"] *= 1.2
    scan = fit_scan([up, down])
    assert "scan_u.csv:14" in failed(scan)["single readings"]
    assert "scatter" in failed(scan)
    assert len(scan.fit.residuals) == 62
    assert scan.fit.birge > 1.5


def test_a_strong_lean_says_what_its_form_could_do():
    scan = fit_scan(scan_of(truth=Truth(64.2, 0.31, 0.1, 0.6, "tanh D")))
    assert "a lean of another form would move its centre by up to about 5" in details(scan)["lean"]
    strong = Truth(64.2, 0.31, 0.42, 0.6, "tanh D")
    assert "lean" in failed(fit_scan(scan_of(truth=strong)))


def test_false_alarms_are_rare():
    alarms = [name for seed in range(60) for name in failed(fit_scan(scan_of(seed=seed)))]
    assert len(alarms) <= 2, alarms


def test_the_fit_starts_right_wherever_the_peak_is():
    for seed in range(40):
        rng = np.random.default_rng(seed)
        truth = Truth(
            rng.uniform(45, 95), rng.uniform(0.15, 0.6), rng.uniform(-0.1, 0.1), rng.uniform(0.1, 1.5), "tanh D"
        )
        grid = np.linspace(truth.centre_mhz - rng.uniform(0.4, 3.0), truth.centre_mhz + rng.uniform(0.4, 3.0), 121)
        y = truth.light(grid) + rng.uniform(0, 0.5) + 0.01 * rng.normal(size=121)
        table = pd.DataFrame({"frequency_mhz": grid, "optical_power_mw": 1e-3 * y})
        scan = fit_scan(table, time_constant_s=0.0)
        assert off(scan.centre_mhz, truth.centre_mhz) < 4.5, (seed, TRUTH)
        assert off(scan.fwhm_mhz, truth.fwhm_mhz) < 4.5
