"""The park frequency: found again by brute force from the simulator's truth, robust, within reach, and said plainly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import maximum_filter1d
from uncertainties import ufloat

from aotf_lab.crystal.passbands.passbands import passbands
from aotf_lab.errors import AotfLabError, OutOfRangeError, UnsafeDriveError
from aotf_lab.planning.park import harmonic_levels, park_frequency
from aotf_lab.planning.park.places import quiet_places
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import true_efficiency, true_peak_frequency
from aotf_lab.simulate.oscillator import oscillator_frequency
from aotf_lab.simulate.truth import SKERRY
from tests.park_passbands import LawPassband, LawPassbands

STEP_MHZ = 0.002
BAND = np.arange(44.0, 93.6, STEP_MHZ)
ALIKE = dict.fromkeys("ABCDEFG", 1.0)


@pytest.fixture(scope="module")
def bands(demo):
    return passbands(demo.scans, demo.efficiency, demo.tuning, wavelengths_nm=demo.wavelengths_nm)


@pytest.fixture(scope="module")
def park(demo, bands):
    limits = demo.facts.limits
    return park_frequency(
        demo, bands, harmonics=demo.instruments.harmonics, oscillator=limits.oscillator, generator=limits.generator
    )


@pytest.fixture(scope="module")
def worst(demo, bands):
    return park_frequency(demo, bands, harmonics=demo.instruments.harmonics, combine="worst")


def true_leak(frequency_mhz, supply_v):
    """Return the true leak (lines, n) over each line's full light: the simulator's own formulas, nulls and all."""
    rows = []
    power = true_rf_power(supply_v, frequency_mhz)
    for line in SKERRY.lines:
        peak, nm = float(true_peak_frequency(line.wavelength_air_nm)), line.wavelength_air_nm
        light = true_efficiency(frequency_mhz, power, nm)
        for order, dbc in SKERRY.amplifier.harmonics_dbc:
            light = light + true_efficiency(order * frequency_mhz, power * 10 ** (dbc / 10), nm)
        rows.append(light / true_efficiency(peak, true_rf_power(supply_v, peak), nm))
    return np.array(rows)


def true_total_db(frequency_mhz, supply_v, combine):
    leak = true_leak(frequency_mhz, supply_v)
    if combine == "worst":
        return 10 * np.log10(leak.max(axis=0))
    full = []
    for line in SKERRY.lines:
        peak = float(true_peak_frequency(line.wavelength_air_nm))
        power = true_rf_power(supply_v, peak)
        full.append(line.incident_power_mw * float(true_efficiency(peak, power, line.wavelength_air_nm)))
    return 10 * np.log10(np.array(full) @ leak / np.mean(full))


@pytest.mark.parametrize("combine", ["sum", "worst"])
def test_no_frequency_is_much_darker_by_brute_force(park, worst, combine):
    found = park if combine == "sum" else worst
    leak = true_total_db(BAND, found.supply_v, combine)
    size = 2 * int(np.ceil(found.window_mhz / STEP_MHZ)) + 1
    near = maximum_filter1d(leak, size)[size // 2 : -(size // 2)]
    at = BAND[size // 2 : -(size // 2)]
    here = float(near[np.argmin(np.abs(at - found.best.at_mhz))])
    assert here - near.min() < 0.5
    assert abs(here - found.leak_db) < 1.0
    assert here < found.bound_db


def test_the_story_of_the_bench(demo, bands, worst):
    # the plan of the demo bench: some "off" frequencies leak -12 dB, the best near 45 MHz at about -36 dB
    loud = park_frequency(
        demo, bands, harmonics=demo.instruments.harmonics, combine="worst", supply_v=demo.safe_supply.supply_v
    )
    assert [(t.line, t.order) for t in loud.traps] == [("A", 2)]
    assert loud.traps[0].at_mhz == pytest.approx(46.60, abs=0.02)
    assert loud.traps[0].leak_db == pytest.approx(-12, abs=2)
    assert loud.best.at_mhz == pytest.approx(45, abs=1)
    assert loud.leak_db == pytest.approx(-36, abs=2)
    assert worst.leak_db < loud.leak_db


def test_the_trap_is_truly_as_loud(park):
    trap = park.traps[0]
    near = trap.at_mhz + np.arange(-0.02, 0.02, 0.0005)
    true = 10 * np.log10(true_leak(near, park.supply_v)[0].max())
    assert trap.leak_db == pytest.approx(true, abs=0.4)


def test_the_drive_voltage_makes_the_frequency(park):
    # as the voltmeter of the readings shows it: it reads 0.12 % high
    made = float(oscillator_frequency(park.drive_v.n / 1.0012, temperature_c=22.4))
    assert made == pytest.approx(park.best.at_mhz, abs=0.03)
    assert park.frequency_mhz.n == pytest.approx(park.best.at_mhz, abs=1e-6)
    assert park.frequency_mhz.s < 0.02


def test_a_narrow_null_is_not_chosen(demo):
    # between two lines the sum has deep nulls that 0.1 MHz of drift would leave: the window must lie in the open
    peak = ufloat(70.0, 1e-6)
    one = LawPassbands({"X": LawPassband(peak, ufloat(3.0, 1e-6), ufloat(0.4, 1e-6), 0.9)})
    still = park_frequency(demo.curves, one, supply_v=8.0, harmonics=(), drift_mhz=0.0)
    moving = park_frequency(demo.curves, one, supply_v=8.0, harmonics=(), drift_mhz=1.0)
    assert moving.window_mhz > still.window_mhz + 0.99
    assert moving.leak_db >= still.leak_db
    for found in (still, moving):
        f = found.best.at_mhz + np.linspace(-found.window_mhz, found.window_mhz, 101)
        power = demo.level.nominal_w(np.full(len(f), 8.0), f)
        full = one.nominal("X", 70.0, float(demo.level.rf_power(8.0, 70.0).n))
        inside = 10 * np.log10(one.nominal("X", f, power).max() / full)
        assert found.leak_db == pytest.approx(inside, abs=0.02)


def test_generator_oscillator_and_amplifier_limit_what_can_be_set(demo, bands, park):
    assert [round(z.low_mhz) for z in park.zones] == [43, 78]
    assert "where the amplifier was measured" in park.zones[0].why
    # 10 V open circuit behind 50 ohm into 1 kohm: 9.52 V (voltage divider)
    assert "what the generator gives (0 to 9.52 V at the input)" in park.zones[1].why
    assert all(p.at_mhz < park.reach.high_mhz for p in (park.best, *park.runners_up))
    narrow = park_frequency(
        demo, bands, harmonics=(), oscillator=OscillatorFacts(input_min_v=3.0, input_max_v=6.0), supply_v=8.0
    )
    assert narrow.reach.low_mhz == pytest.approx(demo.vco.frequency(3.0).n)
    assert narrow.reach.high_mhz == pytest.approx(demo.vco.frequency(6.0).n)
    assert 3.0 <= narrow.drive_v.n <= 6.0
    with pytest.raises(AotfLabError, match=r"no frequency is within reach of every part; found 9.* \(below the band"):
        park_frequency(demo, bands, supply_v=8.0, band_mhz=(90.0, 95.0), generator=GeneratorFacts(5.0, 0.0))


def test_harmonics_decide_and_where_not_measured_are_assumed_wide(demo, bands):
    pure = park_frequency(demo, bands, supply_v=8.0, harmonics=(), incident_mw=ALIKE)
    guessed = park_frequency(demo, bands, supply_v=8.0, incident_mw=ALIKE)
    assert pure.traps == ()
    assert {t.line for t in guessed.traps} == {"A"}
    assert [c.name for c in guessed.checks if not c.passed] == ["harmonics measured"]
    assert pure.bound_db - pure.leak_db < 3.5 < guessed.bound_db - guessed.leak_db
    assert "harmonic 2 at -20.0 +- 6.0 dBc (assumed, no trace saved)" in str(guessed)


def test_a_level_in_decibel_is_drawn_as_such():
    # ln of a power known to +-6 dB (k = 1); its 95 % point lies 1.645 x 6 dB higher
    second = harmonic_levels(None)[1]
    assert second.doubt.s == pytest.approx(6 * np.log(10) / 10)
    assert 10 * np.log10(second.upper_share) == pytest.approx(-20 + 1.645 * 6, abs=0.01)


def test_the_scale_of_power_cancels(demo):
    # P_sat known by the same scope: a shared error of 20 % must not widen the bound
    scale = ufloat(1.0, 0.2)
    own = LawPassbands({"X": LawPassband(ufloat(70.0, 1e-6), ufloat(0.3, 1e-6), 0.4 * scale, 0.9)})
    apart = LawPassbands({"X": LawPassband(ufloat(70.0, 1e-6), ufloat(0.3, 1e-6), ufloat(0.4, 0.08), 0.9)})
    power = 0.1 * scale

    def spare(passbands):
        curves = replace(demo.curves, level=None, rated_rf_power_w=1.0)
        found = park_frequency(curves, passbands, harmonics=(), rf_power_w=power)
        return found.bound_db - found.leak_db

    assert spare(own) < spare(apart)


def test_a_flat_power_stands_in_for_the_amplifier(demo, bands):
    curves = replace(demo.curves, level=None, safe=None)
    found = park_frequency(curves, bands, harmonics=(), rf_power_w=0.3)
    assert found.supply_v is None
    assert "give or take 1 dB (assumed)" in found.drive_words
    with pytest.raises(UnsafeDriveError, match=r"parking: RF power could exceed the crystal's rating; found 0.7"):
        park_frequency(curves, bands, rf_power_w=0.7)
    with pytest.raises(UnsafeDriveError, match=r"no RF power can be called safe; found no rated RF power"):
        park_frequency(replace(curves, rated_rf_power_w=None), bands, rf_power_w=0.1)
    with pytest.raises(AotfLabError, match=r"RF power without a meaning; found 0.1 W and a supply"):
        park_frequency(curves, bands, rf_power_w=0.1, supply_v=8.0)
    with pytest.raises(AotfLabError, match=r"parking needs the amplifier's RF power against supply and frequency"):
        park_frequency(curves, bands)


def test_never_above_the_safe_supply(demo, bands):
    with pytest.raises(UnsafeDriveError, match=r"a supply above the safe one; found 10.00 V; allowed: at most 9\.5"):
        park_frequency(demo, bands, supply_v=10.0)
    with pytest.raises(OutOfRangeError, match=r"supply voltage lies outside the measured range; found 2 V"):
        park_frequency(demo, bands, supply_v=2.0)
    unrated = replace(demo.curves, safe=None, rated_rf_power_w=None)
    with pytest.raises(UnsafeDriveError, match=r"parking stays below .* found no rated RF power"):
        park_frequency(unrated, bands)


def test_arguments_without_a_meaning(demo, bands):
    with pytest.raises(AotfLabError, match=r"no such way to combine lines; found 'mean'; allowed: sum, worst"):
        park_frequency(demo, bands, combine="mean")
    with pytest.raises(AotfLabError, match=r"a drift without a meaning; found -1; allowed: 0 MHz or more"):
        park_frequency(demo, bands, drift_mhz=-1.0)
    with pytest.raises(AotfLabError, match=r"no incident power of a line; found B, C, D, E, F, G"):
        park_frequency(demo, bands, incident_mw={"A": 1.0})
    with pytest.raises(AotfLabError, match=r"no line that could leak; found 0"):
        park_frequency(demo, LawPassbands({}))
    with pytest.raises(AotfLabError, match=r"known RF power all over the window .* found 44 to 93.* MHz, window \+-40"):
        park_frequency(demo, bands, drift_mhz=40.0, supply_v=8.0)


def test_incident_power_from_the_scans(demo, bands, park):
    assert park.weighted == "lines weighted by their incident power, as their scans show it"
    bright = park_frequency(demo, bands, supply_v=8.0, harmonics=(), incident_mw={**ALIKE, "G": 50.0})
    even = park_frequency(demo, bands, supply_v=8.0, harmonics=(), incident_mw=ALIKE)
    assert bright.best.at_mhz > even.best.at_mhz + 10  # away from the bright line
    nothing = park_frequency(replace(demo.curves, scans={}), bands, supply_v=8.0, harmonics=())
    assert nothing.weighted.startswith("lines weighted alike")
    assert nothing.leak_db == pytest.approx(even.leak_db)


def test_a_line_without_a_passband_is_named(demo, bands, park):
    assert all(c.passed for c in park.checks)
    some = LawPassbands({"E": LawPassband(ufloat(64.2, 1e-6), ufloat(0.3, 1e-6), ufloat(0.4, 1e-6), 0.9)})
    found = park_frequency(demo, some, supply_v=8.0, harmonics=())
    (failed,) = [c for c in found.checks if not c.passed]
    assert failed.name == "all lines counted"
    assert failed.detail.startswith("A, B, C, D, F, G without a passband")


def test_quiet_places_are_apart_and_rise_between_each_other():
    # two valleys of a known curve, the second 4 dB less deep, and a shoulder that is none
    f = np.linspace(0.0, 10.0, 1001)
    leak = 1.0 - 0.99 * np.exp(-((f - 2.0) ** 2)) - 0.96 * np.exp(-((f - 7.0) ** 2) / 0.5)
    places = quiet_places(f, leak, 5, 0.5)
    assert f[places[:2]].tolist() == pytest.approx([2.0, 7.0], abs=0.02)
    assert quiet_places(f, np.full(1001, np.nan), 5, 0.5) == []


def test_the_map_adds_up(park, worst):
    for found in (park, worst):
        m = found.map
        known = np.isfinite(m.total)
        assert np.allclose(m.by_order[:, known].sum(axis=0), m.total[known])
        open_ = np.isfinite(m.sure)
        assert np.all(m.sure[open_] >= m.likely[open_] * (1 - 1e-9))
        assert np.all(m.likely[open_] >= m.total[open_])
    m = worst.map
    known = np.isfinite(m.total)
    assert np.allclose(m.by_line[:, known].max(axis=0), m.total[known])
    table = park.table
    assert list(table.columns[:4]) == ["frequency_mhz", "leak_db", "likely_db", "sure_db"]
    assert len(table) == len(park.map.frequency_mhz)


def test_text_and_plot(park):
    text = str(park)
    assert text.startswith(f"Park at {park.best.at_mhz:.3f} MHz: 7 lines leak -34 dB")
    assert "parking leaks, RF off does not" in text
    assert "keeps RF power in the crystal and so its temperature" in text
    assert f"keep away   {park.traps[0].at_mhz:.3f} MHz" in text
    assert "by its 2nd harmonic" in park._repr_html_()
    ax = park.plot()
    labels = ax.get_legend_handles_labels()[1]
    assert f"park at {park.best.at_mhz:.3f} MHz, -34 dB" in labels
    assert labels.count("cannot be set") == 1
    words = [t.get_text() for t in ax.texts]
    assert {"line A", "line G", "line A by 2 f"} <= set(words)
    assert ax.get_ylabel() == "Leak over full light (dB)"
