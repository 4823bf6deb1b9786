"""Which line is each peak: what ``identify`` says, where it says "ambiguous", and what it refuses."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from uncertainties import ufloat

from aotf_lab.crystal import fit_cut, fit_tuning
from aotf_lab.crystal.identity.candidates import candidates, own_lines
from aotf_lab.crystal.identity.identify import identify
from aotf_lab.crystal.identity.peaks import as_peaks
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.estimation import new_cause
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.readings import Readings
from tests.crystal_tuning_lines import true_mhz

TRUE_NM = air_to_vacuum(np.array([449.6, 473.06, 517.9, 556.27, 588.96, 637.4, 671.1]))
STATED_NM = air_to_vacuum(np.array([450.0, 473.06, 515.0, 556.27, 588.96, 638.0, 671.1]))
U_NM = (3.0, 0.08, 4.0, 0.1, 0.1, 3.0, 0.1)
LINES = [CatalogueLine(n, w, u, "bench", "stated") for n, w, u in zip("ABCDEFG", STATED_NM, U_NM, strict=True)]
U_MHZ = 0.006


def peaks(rows=range(7), seed=1, prefix="peak "):
    noise = U_MHZ * np.random.default_rng(seed).standard_normal(7)
    return {f"{prefix}{'ABCDEFG'[k]}": ufloat(true_mhz(TRUE_NM)[k] + noise[k], U_MHZ) for k in rows}


def names(identity):
    return {peak: None if line is None else line.name for peak, line in identity.lines.items()}


def check(identity, name):
    return next(c for c in identity.checks if c.name == name)


@pytest.fixture(scope="module")
def seven():
    return identify(peaks(), LINES)


def test_seven_peaks_are_known(seven):
    assert names(seven) == {f"peak {n}": n for n in "ABCDEFG"}
    assert not seven.ambiguous
    assert seven.trusted
    assert seven.remaining == 1
    assert min(seven.probability.values()) >= seven.best.probability > 0.999


def test_order_of_the_peaks_does_not_matter(seven):
    shuffled = dict(reversed(list(peaks().items())))
    assert names(identify(shuffled, LINES[::-1])) == names(seven)


def test_badly_labelled_diodes_come_back_as_measured_wavelengths(seven):
    bad = {each.peak: each for each in seven.found if each.badly_labelled}
    assert set(bad) == {"peak A", "peak C", "peak F"}
    for row, peak in ((0, "peak A"), (2, "peak C"), (5, "peak F")):
        found = bad[peak].wavelength_nm
        assert found.s < 0.2
        assert abs(found.n - TRUE_NM[row]) < 3 * found.s


def test_two_peaks_are_ambiguous_and_the_rivals_are_named():
    found = identify(peaks((3, 4)), LINES)
    assert found.ambiguous
    assert found.remaining > 2
    detail = check(found, "one assignment").detail
    assert detail.startswith("ambiguous: peak D = ")
    assert "another peak, or a scale from fit_cut, would decide" in detail


def test_one_peak_without_a_scale_is_given_no_line_and_no_odds():
    alone = identify(peaks([4]), LINES)
    assert alone.lone
    assert alone.ambiguous
    assert str(alone).startswith("Identity of 1 peak among 7 lines: AMBIGUOUS\nFAILED one assignment: one peak alone")
    assert "probability" not in str(alone)
    assert "measure a second line, or state the scale, by fit_cut" in str(alone)
    known = {"wavelength_nm": [TRUE_NM[3]], "u_wavelength_nm": 0.1, "frequency_mhz": true_mhz(TRUE_NM)[3]}
    scaled = identify(peaks([4]), LINES, scale=fit_cut(pd.DataFrame({**known, "u_frequency_mhz": 0.01})))
    assert not scaled.lone
    assert names(scaled) == {"peak E": "E"}


def test_a_cut_says_what_the_scale_is():
    guess = pd.DataFrame({"wavelength_nm": [600.0], "u_wavelength_nm": 1.0, "u_frequency_mhz": 0.2})
    guess["frequency_mhz"] = true_mhz(np.array([600.0]))
    free = identify(peaks((3, 4)), LINES)
    known = identify(peaks((3, 4)), LINES, scale=fit_cut(guess))
    assert names(known) == {"peak D": "D", "peak E": "E"}
    assert known.best.probability > free.best.probability
    assert known.remaining < free.remaining


def test_a_ghost_is_no_line_and_is_named():
    every = peaks() | {"low": ufloat(peaks()["peak A"].n / 2 + 0.003, U_MHZ)}
    found = identify(every, LINES)
    assert names(found)["low"] is None
    assert not found.ambiguous
    spare = check(found, "spare peaks")
    assert spare.passed
    assert spare.detail == "low is where harmonic 2 of the oscillator drives peak A"


def test_a_line_that_the_catalogue_lacks_is_said_with_its_wavelength():
    found = identify(peaks(), [line for line in LINES if line.name != "E"])
    assert names(found)["peak E"] is None
    assert abs(found.wavelengths["peak E"].n - TRUE_NM[4]) < 3 * found.wavelengths["peak E"].s
    assert "none of these lines: peak E (light of 589." in check(found, "spare peaks").detail


@pytest.mark.parametrize(("i", "k"), [(1, 4), (3, 4), (0, 6), (2, 3)])
def test_exchanged_labels_are_named(i, k):
    named = peaks(prefix="")
    a, b = "ABCDEFG"[i], "ABCDEFG"[k]
    named[a], named[b] = named[b], named[a]
    found = identify(named, LINES)
    assert set(found.exchange.peaks) == {a, b}
    assert found.exchange.cured
    assert f"the labels of {b} and {a} were exchanged" in check(found, "exchanged labels").detail
    assert check(found, "line labels").passed


def test_labels_in_a_ring_are_named():
    labels = {"peak A": "A", "peak B": "D", "peak C": "C", "peak D": "G", "peak E": "E", "peak F": "F", "peak G": "B"}
    found = identify(peaks(), LINES, labels=labels)
    assert found.exchange.peaks == ("peak B", "peak D", "peak G")
    assert {p: line.name for p, line in found.exchange.best.items()} == names(found)


def test_right_labels_are_left_alone():
    found = identify(peaks(prefix=""), LINES)
    assert not found.exchange.found
    assert found.trusted


def test_a_mistyped_anchor_is_named_as_the_tuning_curve_names_it():
    rows = {"B": (473.06, 0.08), "D": (556.27, 0.1), "E": (598.96, 0.1), "G": (671.1, 0.1)}  # 588.96 is right
    lines = [CatalogueLine(n, float(air_to_vacuum(w)), u, "lines.csv", "stated") for n, (w, u) in rows.items()]
    named = {n: p for n, p in peaks(prefix="").items() if n in rows}
    found = identify(named, lines)
    assert names(found) == {"B": "B", "D": "D", "E": None, "G": "G"}
    table = pd.DataFrame({"label": list(rows), "wavelength_nm": [x.wavelength_nm for x in lines]})
    table["u_wavelength_nm"] = [x.u_wavelength_nm for x in lines]
    table["frequency_mhz"], table["u_frequency_mhz"] = [named[n].n for n in rows], U_MHZ
    curve = next(c for c in fit_tuning(table, known_lines=lines).fit.checks if c.name == "line labels")
    assert check(found, "line labels").detail == curve.detail.replace(" (row 3)", "")
    assert "588.96 nm in air (one slip from 598.96)" in curve.detail
    assert not found.exchange.found


def test_an_error_that_all_peaks_share_moves_the_scale_and_no_wavelength():
    base = 1 + new_cause("counter time base", 1e-3)
    shared = identify({n: p * base for n, p in peaks().items()}, LINES)
    alone = identify(peaks(), LINES)
    assert shared.wavelengths["peak C"].s == pytest.approx(alone.wavelengths["peak C"].s, rel=1e-6)
    assert shared.best.chi2 == pytest.approx(alone.best.chi2, rel=1e-6)
    assert shared.velocity_birefringence.s == pytest.approx(
        np.hypot(alone.velocity_birefringence.s, 1e-3 * alone.velocity_birefringence.n), rel=1e-3
    )


def test_lines_that_cannot_be_told_apart_count_as_one():
    near = [CatalogueLine(n, w, 1e-4, "", "") for n, w in (("x", 632.990), ("y", 632.992), ("z", 640.28))]
    badly = CatalogueLine("diode", 633.0, 3.0, "", "")
    found = candidates([*near, badly], "TeO2", 0.1)
    assert [line.name for line in found.lines] == ["x (or 1 within 0.002 nm)", "diode", "z"]
    assert found.lines[0].u_wavelength_nm == pytest.approx(0.001, rel=0.01)
    assert "4 lines are 3 for this filter" in found.notes[0]


def test_own_lines_come_from_a_table_of_the_bench():
    table = pd.DataFrame({"label": ["A", "B"], "wavelength_nm": [450.1, 473.2], "u_wavelength_nm": [3.0, 0.08]})
    assert [(x.name, x.wavelength_nm, x.u_wavelength_nm) for x in own_lines(Readings(table))] == [
        ("A", 450.1, 3.0),
        ("B", 473.2, 0.08),
    ]


def test_text_table_and_plot(seven):
    assert str(seven).startswith("Identity of 7 peaks among 7 lines: known\npeak A at 93.20")
    assert "<strong>Identity of 7 peaks" in seven._repr_html_()
    assert pd.DataFrame(seven.rows())["line"].tolist() == list("ABCDEFG")
    ax = Figure().subplots()
    assert seven.plot(ax) is ax
    best = next(line for line in ax.get_lines() if line.get_label() == "best")
    assert best.get_xdata() == pytest.approx(STATED_NM)


def test_what_is_no_peak_is_refused():
    with pytest.raises(ReadingsError, match=r"no peak to identify; found 0"):
        identify({}, LINES)
    with pytest.raises(
        ReadingsError, match=r"peak p is no frequency with its uncertainty; found 64.2; allowed: a ufloat"
    ):
        identify({"p": 64.2}, LINES)
    with pytest.raises(ReadingsError, match=r"two peaks of one frequency: a and b; found 64.2 MHz twice"):
        identify({"a": ufloat(64.2, 0.01), "b": ufloat(64.2, 0.01)}, LINES)


def test_what_is_no_line_is_refused():
    with pytest.raises(ReadingsError, match=r"line q has no wavelength with its uncertainty; found 500 .- 0 nm"):
        identify(peaks(), [CatalogueLine("q", 500.0, 0.0, "", "")])
    with pytest.raises(
        ReadingsError, match=r"no line of the catalogue lies where the crystal's dispersion is published"
    ):
        identify(peaks(), [CatalogueLine("q", 1550.0, 0.1, "", "")])


def test_labels_that_name_nothing_are_refused():
    with pytest.raises(ReadingsError, match=r"label of peak peak A; found peak A -> Z; allowed: peaks peak A"):
        identify(peaks(), LINES, labels={"peak A": "Z"})
    with pytest.raises(ReadingsError, match=r"one line given to two peaks; found B; allowed: each line for one peak"):
        identify(peaks(), LINES, labels={"peak A": "B", "peak B": "B"})


def test_scale_and_chance_that_cannot_be_are_refused():
    with pytest.raises(AotfLabError, match=r"scale of the tuning curve; found 240.0; allowed: a ufloat above zero"):
        identify(peaks(), LINES, scale=240.0)
    with pytest.raises(
        AotfLabError, match=r"chance that a peak is none of the lines; found 1.5; allowed: between 0 and 1"
    ):
        identify(peaks(), LINES, chance_of_none=1.5)


def test_peaks_without_names_are_named_after_their_frequency():
    assert as_peaks([ufloat(64.2, 0.01), ufloat(69.1, 0.01)]).names == ("69.10 MHz", "64.20 MHz")


def test_misfits_and_the_pulls_on_the_shape_make_up_chi2(seven):
    misfits, pulls = seven.misfits(seven.best), seven.fit.values[1:] / np.array([0.10, 0.05])
    assert np.sum(misfits**2) + np.sum(pulls**2) == pytest.approx(seven.best.chi2, abs=0.1)
    assert np.isnan(identify(peaks(), LINES[:-1]).misfits(identify(peaks(), LINES[:-1]).best)[-1])
