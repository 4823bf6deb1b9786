"""The opening check on the demo bench's calibrations: its three verdicts, and what becomes of the calibrations."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError, RecordError
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.physics.phase_matching import phase_matched_frequency
from aotf_lab.planning import Curves
from aotf_lab.reading.readings import as_readings
from aotf_lab.reading.source import SourceFile
from aotf_lab.record import crystal_record, kept_set_points
from aotf_lab.record.file import read_record
from aotf_lab.record.folder import save_record
from aotf_lab.record.opening import opening_check
from aotf_lab.record.opening.prior import CRYSTAL_DRIFT
from aotf_lab.session.keep import records_of
from tests.conftest import flat

DAY = "2026-07-14"
THREE = (2.5, 6.0, 11.4)


@pytest.fixture(scope="module")
def kept(demo):
    return records_of(demo, measured="2026-03-16")


def readings(record, drives_v=THREE, moved=lambda v: 0.0, **columns):
    """Return readings that the kept curve makes after it ``moved`` (V -> MHz), without scatter."""
    values = [record.frequency(v).n + moved(v) for v in drives_v]
    return pd.DataFrame({"drive_v": drives_v, "frequency_mhz": values, **columns})


def checked(kept, moved=lambda v: 0.0, drives_v=THREE, **others):
    return opening_check(*kept, measured=DAY, oscillator_readings=readings(kept[0], drives_v, moved), **others)


def peak(kept, line="D", moved_mhz=0.0, u_mhz=0.002):
    return {line: ufloat(kept[1].peak(line).n + moved_mhz, u_mhz)}


def test_what_has_not_moved_is_used(kept):
    found = checked(kept, line_peak=peak(kept))
    assert [link.verdict for link in found.links] == ["use", "use"]
    assert found.usable
    assert found.oscillator.updates[-1].words.startswith("opening check, 3 readings: the kept numbers hold, ")
    assert found.oscillator.updates[-1].date == found.oscillator.as_of == DAY
    assert found.oscillator.numbers.values == pytest.approx(kept[0].numbers.values, abs=1e-6)


def test_a_plain_shift_is_corrected_everywhere(kept):
    found = checked(kept, lambda v: 0.115)
    link = found.oscillator_link
    assert link.verdict == "corrected"
    assert link.shift_mhz == pytest.approx(0.115, abs=1e-6)
    assert link.tilt_mhz is None
    assert found.oscillator.numbers.values - kept[0].numbers.values == pytest.approx(0.115, abs=3e-3)
    assert "moved by +115.0 +- " in str(found)
    assert "and corrected" in str(found)
    assert found.crystal is kept[1]
    assert ("crystal", "nothing read: as it was kept") in found.rows()


def test_a_shift_that_costs_no_light_is_used_and_still_taken_in(kept):
    """12 kHz of 0.29 MHz: below the 0.062 FWHM that cost 1 % (physics.coupled_waves)."""
    found = opening_check(*kept, measured=DAY, line_peak=peak(kept, "D", 0.012))
    link = found.crystal_link
    assert link.judgement.moved
    assert link.verdict == "use"
    assert link.light_lost == pytest.approx(light_lost(0.012 / kept[1].fwhm_mhz("D").n))
    assert found.crystal.peak("D").n - kept[1].peak("D").n == pytest.approx(0.012, abs=1e-4)


def test_three_readings_tell_a_tilt(kept):
    middle, half = np.mean(kept[0].range_v), np.ptp(kept[0].range_v) / 2
    found = checked(kept, lambda v: 0.15 + 0.08 * (v - middle) / half)
    assert found.oscillator_link.verdict == "corrected"
    assert found.oscillator_link.shift_mhz == pytest.approx(0.15, abs=1e-3)
    assert found.oscillator_link.tilt_mhz == pytest.approx(0.08, abs=1e-3)
    ends = found.oscillator.numbers.values[[0, -1]] - kept[0].numbers.values[[0, -1]]
    assert ends == pytest.approx([0.07, 0.23], abs=0.015)
    assert "kHz more at the upper end" in flat(found)


def test_another_shape_is_measured_again(kept):
    found = checked(kept, lambda v: 0.1 * (v - 6.5) ** 2 / 20, (1.0, 4.0, 6.5, 9.0, 12.5))
    assert found.oscillator_link.verdict == "measure again"
    assert "the curve has changed its shape: measure it anew" in flat(found)
    assert found.oscillator is kept[0]
    assert not found.usable


def test_one_wrong_reading_is_named(kept):
    found = checked(kept, lambda v: 0.08 if v == 6.0 else 0.0)
    assert "without 6 V (reading 2) the others agree: repeat that one" in flat(found)


def test_two_readings_that_disagree_ask_for_a_third(kept):
    found = checked(kept, lambda v: 0.1 if v > 6 else 0.0, (2.5, 11.4))
    assert found.oscillator_link.verdict == "measure again"
    assert "a third reading tells a tilt from a change of shape" in flat(found)


def test_readings_at_one_voltage_that_disagree_are_not_steady(kept):
    told = readings(kept[0], (6.0, 6.0, 6.0, 6.0))
    told["frequency_mhz"] += [0.0, 0.08, 0.16, 0.24]
    found = opening_check(*kept, measured=DAY, oscillator_readings=told)
    assert "all were read at one place: wait until it is steady, and read again" in flat(found)
    told["frequency_mhz"] = told["frequency_mhz"].iloc[0]
    assert opening_check(*kept, measured=DAY, oscillator_readings=told).usable


def test_a_crystal_of_which_one_line_is_known_is_checked_by_it(demo, kept):
    curves = Curves(scans={"D": demo.scans["D"]})
    alone = crystal_record(curves, {"D": None}, name="one line", measured="2026-03-16")
    found = opening_check(kept[0], alone, measured=DAY, line_peak=peak(kept, "D", 0.06))
    assert found.crystal_link.verdict == "corrected"
    assert found.crystal.peak("D").n - alone.peak("D").n == pytest.approx(0.06, abs=1e-3)


def test_a_shift_too_large_for_a_drift_is_measured_again(kept):
    assert "a shift beyond 900 kHz is no drift" in flat(checked(kept, lambda v: 1.4))
    assert "a shift beyond 900 kHz is no drift" in flat(checked(kept, lambda v: 8.0 * v))  # whatever its form
    far = opening_check(*kept, measured=DAY, line_peak=peak(kept, "D", 0.5))
    assert far.crystal_link.verdict == "measure again"
    assert far.crystal is kept[1]


def test_one_reading_cannot_vouch_for_the_whole_range_after_a_large_shift(kept):
    found = checked(kept, lambda v: 0.4, (6.0,))
    assert found.oscillator_link.verdict == "measure again"
    assert "what is left unknown exceeds" in flat(found)
    assert checked(kept, lambda v: 0.4).oscillator_link.verdict == "corrected"


def test_one_reading_leaves_more_doubt_than_three_and_most_far_from_it(kept):
    def u(drives_v):
        curve = checked(kept, lambda v: 0.06, drives_v).oscillator.frequency(np.array([6.0, 13.5]))
        return [f.s for f in curve]

    one, three = u((6.0,)), u(THREE)
    assert one[0] > three[0]
    assert one[1] > three[1]
    assert one[1] > 1.2 * one[0]


@pytest.mark.parametrize("turn", [(0.05, 0.0), (-0.2, 0.0), (0.0, 0.05), (0.1, -0.1)])
def test_a_turned_crystal_moves_all_lines_alike(turn):
    """By exact phase matching (physics.phase_matching, checked there against published values)."""
    nm, x = np.array([449.7, 473.2, 556.4, 589.1, 671.3]), np.linspace(1.0, -1.0, 5)
    share = phase_matched_frequency(nm, 10.6 + turn[0], 5.3 + turn[1], 643.4) / phase_matched_frequency(
        nm, 10.6, 5.3, 643.4
    )
    tilt, shift = np.polyfit(x, share - 1, 1)
    assert abs(tilt) < CRYSTAL_DRIFT.tilt_share * abs(shift)


def test_the_crystal_moves_as_one_and_keeps_its_widths(kept):
    moved = 60e-3
    found = opening_check(*kept, measured=DAY, line_peak=peak(kept, "D", moved))
    assert found.crystal_link.verdict == "corrected"
    share = moved / kept[1].peak("D").n
    for line in "ABCDEFG":
        assert found.crystal.peak(line).n / kept[1].peak(line).n - 1 == pytest.approx(share, rel=0.02)
    nm = np.linspace(*kept[1].range_nm, 5)
    ratio = np.array([a.n / b.n for a, b in zip(found.crystal.frequency(nm), kept[1].frequency(nm), strict=True)])
    assert ratio - 1 == pytest.approx(share, rel=0.05)
    assert found.crystal.fwhm_mhz("D").n == pytest.approx(kept[1].fwhm_mhz("D").n, abs=1e-4)
    assert found.crystal.peak("D").s < found.crystal.peak("A").s


def test_set_points_follow_both_links(kept):
    found = checked(kept, lambda v: 0.06, line_peak=peak(kept, "D", 0.06))
    before, after = kept_set_points(*kept), kept_set_points(found.oscillator, found.crystal)
    assert after["D"].drive_v.n == pytest.approx(before["D"].drive_v.n, abs=1e-3)
    assert after["D"].light_lost_percent < 2.0


def test_the_renewed_calibration_is_kept_and_renewed_again(kept, tmp_path):
    first = checked(kept, lambda v: 0.115, line_peak=peak(kept, "D", -0.01), crystal_c=19.5)
    for record in (first.oscillator, first.crystal):
        again = read_record(save_record(record, tmp_path))
        assert again.numbers.covariance() == pytest.approx(record.numbers.covariance(), rel=1e-9, abs=1e-15)
        assert again.as_of == DAY
    assert first.crystal.conditions["crystal_c"] == 19.5
    second = opening_check(
        first.oscillator, first.crystal, measured="2026-08-01",
        oscillator_readings=readings(kept[0], THREE, lambda v: 0.115),
    )  # fmt: skip
    assert second.oscillator_link.verdict == "use"
    assert [u.date for u in second.oscillator.updates] == [DAY, "2026-08-01"]


def test_temperature_says_what_it_expects(kept):
    then = kept[0].conditions["temperature_c"]
    told = readings(kept[0], THREE, lambda v: 0.115, temperature_c=then - 2.5)
    found = opening_check(*kept, measured=DAY, oscillator_readings=told)
    value, u = found.oscillator_link.expected_mhz
    assert abs(value - 0.115) < 3 * u
    assert "by temperature" in str(found)
    assert found.oscillator.conditions["temperature_c"] == pytest.approx(then - 2.5)
    warm = replace(kept[1], coefficients={"relative_per_k": (4.6e-5, 2e-6)}, conditions={"crystal_c": 22.6})
    link = opening_check(kept[0], warm, measured=DAY, line_peak=peak(kept), crystal_c=19.5).crystal_link
    assert link.expected_mhz == pytest.approx((-9.85e-3, 4.3e-4), rel=0.02)


def test_a_stated_scatter_counts_when_it_is_larger(kept):
    plain = checked(kept, drives_v=(6.0,)).oscillator_link.u_shift_mhz
    told = readings(kept[0], (6.0,), u_frequency_mhz=0.05, u_drive_v=0.001)
    assert opening_check(*kept, measured=DAY, oscillator_readings=told).oscillator_link.u_shift_mhz > 4 * plain
    told = readings(kept[0], (6.0,), u_frequency_mhz=1e-4, u_drive_v=1e-5)
    assert opening_check(*kept, measured=DAY, oscillator_readings=told).oscillator_link.u_shift_mhz == plain


def test_another_counter_is_another_time_base(demo, kept):
    told = replace(demo.readings("oscillator"), table=readings(kept[0], (6.0,)), sources=())
    same = opening_check(*kept, measured=DAY, oscillator_readings=told).oscillator_link.u_shift_mhz
    other = opening_check(*kept, measured=DAY, oscillator_readings=told, instruments={"counter": "counter 2"})
    base = 15e-6 * kept[0].frequency(6.0).n
    assert other.oscillator_link.u_shift_mhz == pytest.approx((same**2 + 2 * base**2) ** 0.5, rel=1e-3)


def test_html_and_text_say_the_same(kept):
    found = checked(kept, lambda v: 0.115, line_peak=peak(kept))
    html = found._repr_html_()
    assert "Opening check of 2026-07-14" in html
    assert all(value.replace("<", "&lt;") in html for _, value in found.rows())


def test_what_is_no_check_is_refused(kept):
    oscillator, crystal = kept
    with pytest.raises(ReadingsError, match="an opening check without a reading"):
        opening_check(oscillator, crystal, measured=DAY)
    with pytest.raises(ReadingsError, match="without a reading"):
        opening_check(oscillator, crystal, measured=DAY, oscillator_readings=readings(oscillator, ()))
    for told, wrong, match in (
        ({"drive_v": [20.0], "frequency_mhz": [99.0]}, OutOfRangeError, "outside the measured range; found 20 V"),
        (
            {"drive_v": [5.0, 20.0], "frequency_mhz": [62.7, 99.0]},
            OutOfRangeError,
            "^row 2: drive voltage lies outside",
        ),
        ({"drive_v": [5.0, 6.0], "frequency_mhz": [62.0, np.nan]}, ReadingsError, "row 2: frequency_mhz .* found nan"),
        (
            {"drive_v": [6.0], "frequency_mhz": [66384.0]},
            ReadingsError,
            r"row 1: a frequency that this oscillator does not make at 6 V; found 66384 MHz; allowed: about 66\.38 MHz",
        ),
    ):
        with pytest.raises(wrong, match=match):
            opening_check(oscillator, crystal, measured=DAY, oscillator_readings=pd.DataFrame(told))
    with pytest.raises(ReadingsError, match=r"peak of line D; found 69\.1; allowed: a frequency in MHz with"):
        opening_check(oscillator, crystal, measured=DAY, line_peak={"D": 69.1})
    with pytest.raises(AotfLabError, match="no peak of this line in the calibration; found 'Z'"):
        opening_check(oscillator, crystal, measured=DAY, line_peak={"Z": ufloat(69.1, 0.002)})
    with pytest.raises(RecordError, match="an opening check before its calibration; found '2026-01-01'"):
        opening_check(oscillator, crystal, measured="2026-01-01", line_peak=peak(kept))
    with pytest.raises(RecordError, match="measured: a date that is none; found 'in July'"):
        opening_check(oscillator, crystal, measured="in July", line_peak=peak(kept))


def test_a_temperature_that_is_not_told_today_does_not_stay_that_of_the_calibration(kept):
    """Else a history would take the renewed curve for one measured at the old temperature."""
    assert "temperature_c" in kept[0].conditions
    found = checked(kept, lambda v: 0.115)
    assert "temperature_c" not in found.oscillator.conditions
    assert found.oscillator.conditions["supply_v"] == kept[0].conditions["supply_v"]
    told = opening_check(*kept, measured=DAY, oscillator_readings=readings(kept[0], temperature_c=19.9))
    assert told.oscillator.conditions["temperature_c"] == pytest.approx(19.9)


def test_the_same_readings_never_count_twice(kept, tmp_path):
    """A second update by them would take sqrt(2) off their u, which they do not have."""
    files = (SourceFile("check.csv", "c0ffee", 3),)
    told = replace(as_readings(readings(kept[0], moved=lambda v: 0.115)), sources=files)
    found = opening_check(*kept, measured=DAY, oscillator_readings=told, line_peak=peak(kept), peak_files=files)
    again = read_record(save_record(found.oscillator, tmp_path))
    assert again.updates[-1].made_of == files
    with pytest.raises(RecordError, match=r"oscillator Skerry as of 2026-07-14: readings that .* found check\.csv"):
        opening_check(again, kept[1], measured=DAY, oscillator_readings=told)
    with pytest.raises(RecordError, match=r"crystal Skerry as of 2026-07-14: readings that .* found check\.csv"):
        opening_check(kept[0], found.crystal, measured=DAY, line_peak=peak(kept), peak_files=files)


def test_a_renewed_calibration_is_named_by_the_day_of_its_renewal(kept):
    first = checked(kept, lambda v: 0.115)
    assert str(first).startswith("Opening check of 2026-07-14, against 2026-03-16 and 2026-03-16")
    later = opening_check(first.oscillator, first.crystal, measured="2026-08-01", line_peak=peak(kept))
    assert str(later).startswith("Opening check of 2026-08-01, against 2026-07-14 and 2026-03-16")


def test_the_plot_shows_each_reading_by_its_distance(kept):
    found = checked(kept, lambda v: 0.115, line_peak=peak(kept))
    ax = found.plot()
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        r.place for link in found.links for r in link.readings
    ]
    drawn = ax.containers[0].lines[0].get_xdata()
    assert drawn == pytest.approx([115.0, 115.0, 115.0, 0.0], abs=1e-6)
    edge = found.links[0].matters_mhz
    narrowest = min(kept[1].fwhm_mhz(line).n for line in kept[1].lines)
    assert light_lost(edge / narrowest) == pytest.approx(0.01, rel=1e-3)
    plt.close(ax.figure)
