"""A part was changed: what stays, what is void, what restores it, and errors."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

import aotf_lab
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.checks import z_limit
from aotf_lab.physics.phase_matching import parallel_tangent_acoustic_angle, phase_matched_frequency
from aotf_lab.record.parts import Restoring, change_of_parts, parts, restoring, results
from aotf_lab.record.parts.cover import shortest_set
from aotf_lab.record.parts.known import GONE
from aotf_lab.session.keep import records_of
from tests.conftest import flat
from tests.house import ROOT

ANCHORS_NM = np.array([473.19, 556.42, 589.12, 671.29])
BAND_NM = np.linspace(450.0, 700.0, 26)


@pytest.fixture(scope="module")
def kept(demo):
    return records_of(demo, measured="2026-03-16")


def verdicts(part, **more):
    return {o.result.key: o.verdict for o in change_of_parts(part, **more).outcomes}


def test_an_amplifier_takes_power_with_it_and_leaves_the_crystal():
    found = verdicts("amplifier")
    gone = {key for key, how in found.items() if how == "void"}
    assert gone == {"level", "supply_power", "waveform"}
    assert {key for key, how in found.items() if how == "again"} >= {"safe_supply", "one_drive", "park"}
    assert {found[k] for k in ("tuning", "passband", "efficiency", "wavelengths", "match")} == {"stays"}


def test_on_the_day_of_the_other_amplifier_what_stays_did_stay_and_what_is_void_is_another(demo):
    later = aotf_lab.open_session(ROOT / "data" / "demo" / "skerry_day410")
    found = verdicts("amplifier")
    assert found["efficiency"] == "stays"
    then, now = (s.curves.efficiency.line("E").saturation_power_w for s in (demo, later))
    assert abs(now.n - then.n) < z_limit() * np.hypot(now.s, then.s)
    assert found["tuning"] == "stays"
    warmer = 1.0 + 4.6e-5 * (24.0 - 22.6)  # the bench's truth, at the crystal's two temperatures
    peaks = [s.curves.scans["D"].centre_mhz for s in (demo, later)]
    assert abs(peaks[1].n - warmer * peaks[0].n) < z_limit() * np.hypot(peaks[0].s, peaks[1].s)
    assert found["level"] == "void"
    powers = [s.part("level").rf_power(6.5, 64.0) for s in (demo, later)]
    assert abs(powers[1].n - powers[0].n) > 5 * np.hypot(powers[0].s, powers[1].s)


def test_after_a_turn_of_the_mount_two_lines_restore_the_curve():
    # Exact phase matching: half a degree, cuts at and about the parallel tangents (Chang 1974; Yano & Watanabe 1976).
    assert "within 2 kHz near the tangent cut" in parts()["mount"].effects["tuning"][1]
    for incidence in (9.5, 10.6, 12.0):
        sound = float(parallel_tangent_acoustic_angle(589.0, incidence))
        for turn in (-0.5, 0.5):
            before, after = (
                lambda nm, at=at, sound=sound: phase_matched_frequency(nm, at, sound, 643.4)
                for at in (incidence, incidence + turn)
            )
            ends = ANCHORS_NM[[0, -1]]
            scale = np.poly1d(np.polyfit(1 / ends, after(ends) / before(ends), 1))
            assert np.abs(after(BAND_NM) - scale(1 / BAND_NM) * before(BAND_NM)).max() < 0.002


@pytest.mark.parametrize("part", list(parts()))
def test_all_that_is_gone_is_restored_and_nothing_is_read_in_vain(part):
    change = change_of_parts(part)
    gone = {o.result.key: GONE[o.verdict] for o in change.outcomes if GONE.get(o.verdict, 0) > 0}
    assert gone
    for outcome in change.outcomes:
        assert outcome.reason
        assert (outcome.restored_by in change.readings) == (outcome.result.key in gone)
    for one in change.readings:
        others = [r for r in change.readings if r is not one]
        assert any(all(r.restores.get(k, 0) < how for r in others) for k, how in gone.items())


@pytest.mark.parametrize("part", list(parts()))
def test_the_set_is_the_shortest_of_all_sets(part):
    change = change_of_parts(part)
    gone = {o.result.key: GONE[o.verdict] for o in change.outcomes if GONE.get(o.verdict, 0) > 0}
    useful = [r for r in restoring().values() if any(r.restores.get(k, 0) >= how for k, how in gone.items())]
    shorter = (
        chosen
        for size in range(len(change.readings) + 1)
        for chosen in itertools.combinations(useful, size)
        if sum(r.minutes for r in chosen) < change.minutes
        and all(any(r.restores.get(k, 0) >= how for r in chosen) for k, how in gone.items())
    )
    assert next(shorter, None) is None


def test_two_sets_are_found_where_the_greedy_choice_takes_three():
    # The tight example of the greedy bound for set cover: 14 elements in two rows, columns of 2, 4 and 8 elements
    # (textbooks of approximation algorithms, e.g. Vazirani, ch. 2; from memory).
    rows = [{f"{row}{k}": 1 for k in range(7)} for row in "ab"]
    columns = [{f"{row}{k}": 1 for row in "ab" for k in ks} for ks in ([0], [1, 2], [3, 4, 5, 6])]
    sets = {str(k): Restoring(str(k), "", 1, 1.0, s) for k, s in enumerate([*columns, *rows])}
    assert {r.key for r in shortest_set(rows[0] | rows[1], sets)} == {"3", "4"}


def test_readings_come_in_the_order_of_the_list_and_power_comes_first():
    change = change_of_parts("oscillator")
    order = list(restoring())
    places = [order.index(r.key) for r in change.readings]
    assert places == sorted(places)
    assert "into the load" in change.readings[0].do
    assert "before the crystal is connected" in change.part.first


def test_a_list_names_only_what_the_others_know():
    for part in parts().values():
        assert set(part.effects) <= {k for k, r in results().items() if not r.inputs}
        assert {how for how, _ in part.effects.values()} <= set(GONE)
    for reading in restoring().values():
        assert set(reading.restores) <= {k for k, r in results().items() if not r.inputs}
    for result in results().values():
        assert set(result.inputs) <= set(results())


def test_kept_calibrations_are_named_with_files_and_lines(kept):
    oscillator, crystal = kept
    text = flat(change_of_parts("mount", oscillator=oscillator, crystal=crystal))
    assert "[crystal of 2026-03-16: lines A, B, C, D, E, F, G]" in text
    assert "[oscillator of 2026-03-16: vco_warm.csv]" in text
    assert "scan_B_up.csv" in text
    bare = change_of_parts("mount")
    assert not any(o.concerns for o in bare.outcomes)


def test_the_laser_of_one_line_concerns_that_line(kept):
    change = change_of_parts("laser", line="E", crystal=kept[1])
    concerns = {o.result.key: o.concerns for o in change.outcomes}
    assert concerns["wavelengths"] == "crystal of 2026-03-16: line E"
    assert str(change).startswith("Changed: laser of one line (E)")


def test_a_supply_moves_the_frequency_by_its_coefficient(kept):
    oscillator, crystal = kept
    moved = 100 * oscillator.coefficients["mhz_per_supply_v"][0]
    text = flat(change_of_parts("supply", oscillator=oscillator, crystal=crystal))
    assert f"0.1 V of supply is {moved:.3g} kHz, 0.19 of a passband" in text
    assert moved == pytest.approx(55.0, abs=3.0)  # the bench's truth, 0.55 MHz per V
    assert "kHz" not in str(change_of_parts("supply", oscillator=oscillator).with_verdict("stays"))


def test_words_and_html():
    change = change_of_parts("voltmeter")
    assert f"{change.count} readings in {change.minutes:g} min restore all that can be restored" in str(change)
    assert change._repr_html_().count("<tr>") == len(results())


def test_an_unknown_part():
    with pytest.raises(AotfLabError, match="no such part of a bench; found 'coffee machine'; allowed: oscillator,"):
        change_of_parts("coffee machine")


def test_a_line_that_the_crystal_does_not_have(kept):
    with pytest.raises(AotfLabError, match="no such line in the calibration of the crystal; found 'Z'"):
        change_of_parts("laser", line="Z", crystal=kept[1])
