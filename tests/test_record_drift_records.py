"""Histories out of kept calibrations of the demo bench, moved by known amounts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.record import RecordFolder, save_record
from aotf_lab.record.drift import drift_of
from aotf_lab.record.drift.records import _size, crystal_history, known_coefficient, oscillator_history, passbands_of
from aotf_lab.session.keep import records_of

DATES = ("2031-03-02", "2031-05-20", "2031-08-01", "2031-11-11", "2032-02-02", "2032-04-20")
TEMPERATURES = (22.4, 24.1, 26.0, 20.3, 18.2, 21.7)
SCATTER_MHZ = (0.003, -0.004, 0.001, 0.005, -0.006, 0.002)


@pytest.fixture(scope="module")
def kept(demo):
    oscillator, crystal = records_of(demo, measured=DATES[0])
    return replace(oscillator, coefficients={}), replace(crystal, coefficients={})


def oscillator_at(record, k, extra=lambda v: 0.0 * v):
    """Return ``record`` as kept on day k: -46 kHz/K, and a scatter from day to day."""
    shift = -0.046 * (TEMPERATURES[k] - TEMPERATURES[0]) + SCATTER_MHZ[k] + extra(record.drive_v)
    numbers = replace(record.numbers, values=record.numbers.values + shift)
    return replace(record, numbers=numbers, measured=DATES[k], conditions={"temperature_c": TEMPERATURES[k]})


def crystal_at(record, k, moved=None):
    """Return ``record`` as kept on day k: 46 ppm/K; ``moved`` maps a line to a shift of its own (MHz)."""
    values = record.numbers.values.copy()
    for name, place in ((n, k) for k, n in enumerate(record.numbers.names)):
        if place < len(record.wavelengths_nm) or name.startswith("peak "):
            values[place] *= 1 + 4.6e-5 * (TEMPERATURES[k] - TEMPERATURES[0])
    for line, shift in (moved or {}).items():
        values[record.numbers.place(f"peak {line}")] += shift
    numbers = replace(record.numbers, values=values)
    return replace(record, numbers=numbers, measured=DATES[k], conditions={"crystal_c": TEMPERATURES[k]})


@pytest.fixture(scope="module")
def months(kept):
    return [oscillator_at(kept[0], k) for k in range(6)] + [crystal_at(kept[1], k) for k in range(6)]


def test_both_coefficients_come_back_and_stay_apart(months):
    drift = drift_of(months)
    low, high = drift.oscillator.interval("per_k")
    assert low < -0.046 < high
    assert high - low < 0.02
    assert drift.crystal.per_k.n == pytest.approx(4.6e-5, rel=0.02)
    assert not drift.oscillator.failed
    assert "Drift of the oscillator\n" in str(drift)
    assert "Drift of the crystal\n" in str(drift)
    assert "<caption>Drift of the crystal</caption>" in drift._repr_html_()


def test_oscillator_shift_is_that_of_its_numbers_and_the_counter_cancels(kept):
    one, two = oscillator_at(kept[0], 0), oscillator_at(kept[0], 1)
    history, check = oscillator_history([two, one])
    expected = -0.046 * (TEMPERATURES[0] - TEMPERATURES[1]) + SCATTER_MHZ[0] - SCATTER_MHZ[1]
    assert history.shift == pytest.approx([expected, 0.0], abs=1e-6)
    assert check.passed
    worse = [
        replace(r, numbers=replace(r.numbers, causes={k: 100 * c for k, c in r.numbers.causes.items()}))
        for r in (one, two)
    ]
    assert worse[0].frequency(6.0).s > 10 * one.frequency(6.0).s
    assert oscillator_history(worse)[0].covariance == pytest.approx(history.covariance, rel=1e-6)


def test_a_changed_shape_is_named(kept):
    bent = oscillator_at(kept[0], 3, extra=lambda v: 0.02 * (v - 7.0))
    drift = drift_of([oscillator_at(kept[0], k) for k in (0, 1, 2)] + [bent])
    assert [c.name for c in drift.oscillator.failed] == ["parallel"]
    assert "the curve changed its shape" in str(drift)


def test_a_laser_that_moved_is_named_and_can_be_left_out(kept):
    records = [crystal_at(kept[1], k) for k in range(5)] + [crystal_at(kept[1], 5, {"E": 0.08})]
    drift = drift_of(records)
    failed = {c.name: c.detail for c in drift.crystal.failed}
    assert "the laser of E may have moved" in failed["lines move alike"]
    assert "lines move alike" not in {c.name for c in drift_of(records, lines=["B", "D", "G"]).crystal.failed}


def exact(record):
    """Return ``record`` as if none of its numbers had an uncertainty."""
    rest = np.zeros_like(record.numbers.rest)
    return replace(record, numbers=replace(record.numbers, causes={}, rest=rest))


def test_records_without_any_uncertainty_contradict_each_other_as_soon_as_they_differ(kept):
    days = [exact(oscillator_at(kept[0], k)) for k in (0, 1)]
    assert oscillator_history(days)[1].passed  # one shift, but for rounding
    bent = exact(oscillator_at(kept[0], 0, extra=lambda v: 1e-7 * (v - 7.0)))
    assert not oscillator_history([bent, days[1]])[1].passed
    days = [exact(crystal_at(kept[1], k)) for k in (0, 1)]
    assert crystal_history(days)[1].passed
    assert not crystal_history([exact(crystal_at(kept[1], 0, {"E": 1e-7})), days[1]])[1].passed


def test_a_number_that_is_none_is_the_worst_of_all(kept):
    lost = crystal_at(kept[1], 1)
    lost.numbers.values[lost.numbers.place("peak B")] = np.nan
    with pytest.raises(ReadingsError, match="finite numbers, a variance not below zero"):
        crystal_history([crystal_at(kept[1], 0), lost, crystal_at(kept[1], 2)])
    assert _size(ufloat(np.nan, 0.1)) == _size(ufloat(1.0, np.nan)) == np.inf
    assert _size(ufloat(0.3, 0.1)) == pytest.approx(3.0)


def test_badly_known_lasers_are_no_marks(kept, months):
    history, check = crystal_history(months[6:])
    assert history.shift[0] == pytest.approx(4.6e-5 * (TEMPERATURES[0] - TEMPERATURES[5]), rel=1e-3)
    assert check.passed
    names = [n for n in kept[1].lines if kept[1].known("wavelength", n)]
    wide = {n: kept[1].number("wavelength", n).s for n in names}
    assert {n for n, u in wide.items() if u > 0.2} <= {"A", "C", "F"}
    alone, said = crystal_history(months[6:], ["D"])
    assert alone.shift == pytest.approx(history.shift, abs=1e-9)
    assert "only D is in every record: not asked" in said.detail


def test_due_uses_the_widths_of_the_newest_crystal(kept, months):
    drift = drift_of(months)
    assert drift.lines == passbands_of(months[-1])
    widths = {n: float(kept[1].fwhm_mhz(n).n) for n in drift.lines}
    assert {n: p.fwhm_mhz for n, p in drift.lines.items()} == pytest.approx(widths)
    assert drift.due(10.0, corrected=True).line in widths


def test_folder_of_files_gives_the_same(months, tmp_path):
    for record in months:
        save_record(record, tmp_path)
    again, first = drift_of(RecordFolder(tmp_path)), drift_of(months)
    assert str(drift_of(str(tmp_path))) == str(again)
    assert again.oscillator.interval("per_k") == pytest.approx(first.oscillator.interval("per_k"), rel=1e-6)
    assert str(again.due(10.0, corrected=True)) == str(first.due(10.0, corrected=True))


def test_two_records_of_the_oscillator_alone(kept):
    known = {"mhz_per_k": (-0.046, 0.001)}
    records = [replace(oscillator_at(kept[0], k), coefficients=known) for k in (0, 4)]
    drift = drift_of(records)
    assert drift.oscillator.known_per_k == (-0.046, 0.001)  # the same numbers twice are one measurement
    assert drift.oscillator.terms == ("offset", "per_k")
    assert drift.missing == {"crystal": "no records, it takes two"}
    assert "ageing of the oscillator not told" in str(drift)


def test_known_coefficients_are_weighed_and_held_against_each_other(kept):
    records = [replace(kept[0], coefficients={"mhz_per_k": c}) for c in ((-0.046, 0.001), (-0.049, 0.002))]
    value, u = known_coefficient(records, "mhz_per_k")
    assert value == pytest.approx((-0.046 / 1e-6 - 0.049 / 4e-6) / (1 / 1e-6 + 1 / 4e-6))
    assert u == pytest.approx((1 / 1e-6 + 1 / 4e-6) ** -0.5)
    assert known_coefficient([kept[0]], "mhz_per_k") is None
    far = [*records, replace(kept[0], coefficients={"mhz_per_k": (-0.020, 0.001)})]
    with pytest.raises(AotfLabError, match=r"contradict each other in mhz_per_k; found -0\.02 \+- 0\.001"):
        known_coefficient(far, "mhz_per_k")


def test_refuses_records_that_are_no_history(kept, months):
    with pytest.raises(ReadingsError, match="no drift from these records; found 1 of the oscillator, 1 of the crystal"):
        drift_of(kept)
    other = replace(months[1], name="Fulmar")
    with pytest.raises(ReadingsError, match="records of more than one oscillator; found Fulmar, "):
        drift_of([months[0], other])
    assert drift_of([*months, other], name=months[0].name).oscillator is not None
    with pytest.raises(ReadingsError, match="no drift of the oscillator from so few records; found 1"):
        oscillator_history(months[:1])
    with pytest.raises(ReadingsError, match="no drift of the crystal from so few records; found 1"):
        crystal_history(months[6:7])
    short = [replace(r, drive_v=r.drive_v + step) for r, step in ((months[0], 0.0), (months[1], 20.0))]
    with pytest.raises(ReadingsError, match="the oscillator's records share no drive"):
        oscillator_history(short)
    with pytest.raises(ReadingsError, match="the crystal's records share no line"):
        crystal_history([replace(r, lines={}) for r in months[6:8]])


def test_updates_count_from_their_day(kept):
    from aotf_lab.record import Update

    renewed = replace(oscillator_at(kept[0], 1), measured=DATES[0], updates=(Update(DATES[1], "moved"),))
    history, _ = oscillator_history([oscillator_at(kept[0], 0), renewed])
    assert [str(d) for d in history.dates] == list(DATES[:2])
    assert np.ptp(history.days) == (history.dates[1] - history.dates[0]).days
