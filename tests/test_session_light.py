"""What the demo session says of its light, against the truth of the invented bench; and what is missing, said."""

from __future__ import annotations

import re

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.report import report_html
from aotf_lab.report.content_light import light_rows, light_sentences
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.figures_light import light_figures
from aotf_lab.report.light_parts import light_of
from aotf_lab.session import open_session
from aotf_lab.simulate import SKERRY, Faults, simulate_session, true_peak_frequency
from aotf_lab.simulate.optics import SKERRY_OPTICS
from aotf_lab.simulate.spectrum import demo_lamp
from tests.test_session import copy_of_demo


def true_mhz(line):
    return float(true_peak_frequency(line.wavelength_air_nm, SKERRY.crystal))


def test_hunt_finds_seven_lines_and_two_ghosts(demo):
    assert {p.name for p in demo.hunt.lines} == {line.name for line in SKERRY.lines}
    for peak in demo.hunt.lines:
        truth = true_mhz(SKERRY.line(peak.name))
        assert abs(peak.frequency_mhz.n - truth) < 3 * peak.frequency_mhz.s
    halves = [true_mhz(SKERRY.line(name)) / 2 for name in "BA"]
    assert [g.frequency_mhz.n for g in demo.hunt.ghosts] == pytest.approx(halves, abs=0.05)


def loose(name, u_nm):
    """Return an edit of session.toml that states the label of a line to ``u_nm`` only."""
    return lambda text: re.sub(rf'(name = "{name}"\n.+\n.+\nu_wavelength_nm = )\S+', rf"\g<1>{u_nm}", text)


def without_scans(text, name):
    return re.sub(rf'\[\[file\]\]\npath = "scan_{name}_(up|down).csv"\n(.+\n)+', "", text)


def test_a_scan_names_the_peak_of_a_line_whose_label_is_loose(tmp_path):
    hunt = copy_of_demo(tmp_path, edit=lambda text: loose("A", 30.0)(loose("C", 30.0)(text))).hunt
    assert {p.name for p in hunt.lines} == {line.name for line in SKERRY.lines}
    for peak in hunt.lines:
        assert abs(peak.frequency_mhz.n - true_mhz(SKERRY.line(peak.name))) < 3 * peak.frequency_mhz.s


def test_what_would_tell_an_open_peak_is_not_what_is_there_already(tmp_path):
    def edit(text):
        for name in "AC":
            text = without_scans(loose(name, 30.0)(text), name)
        return text

    session = copy_of_demo(tmp_path, edit=edit)
    (check,) = [c for c in session.hunt.fit.failed if c.name == "ambiguous"]
    found = [float(mhz) for mhz in re.findall(r"\d+ \(([\d.]+) MHz\)", check.detail)]
    assert found == pytest.approx([true_mhz(SKERRY.line(name)) for name in "CA"], abs=0.05)
    assert check.detail.endswith("; scans of these peaks, each as a line of its own, would tell; or finer steps")


def test_scans_alone_name_the_peaks_where_no_tuning_curve_can_be_had(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda text: text.replace('use = "anchor"', 'use = "find"'))
    assert session.part("tuning") is None
    for peak in session.hunt.lines:
        assert abs(peak.frequency_mhz.n - true_mhz(SKERRY.line(peak.name))) < 3 * peak.frequency_mhz.s
    assert len(session.hunt.lines) == 7


def test_exchanged_scans_name_no_peak(tmp_path):
    session = open_session(simulate_session(tmp_path / "s", 7, faults=Faults(exchanged_labels=("A", "D"))))
    assert set(session.exchanged.peaks) == {"A", "D"}
    for peak in session.hunt.lines:
        if peak.name:
            assert abs(peak.frequency_mhz.n - true_mhz(SKERRY.line(peak.name))) < 0.1
    assert {p.name for p in session.hunt.lines} >= {"B", "C", "E", "F", "G"}


def test_identity_needs_no_tuning_curve(demo):
    assert not demo.identity.ambiguous
    assert {peak: line.name for peak, line in demo.identity.lines.items()} == {n: n for n in "ABCDEFG"}


def test_exchanged_scans_are_named_by_the_identity(tmp_path):
    session = open_session(simulate_session(tmp_path / "s", 7, faults=Faults(exchanged_labels=("A", "D"))))
    failed = {check.name: check.detail for check in session.identity.failed}
    assert {"A", "D"} == set(re.findall(r"peak (\w) =", failed["exchanged labels"]))


def test_spectrum_of_the_lamp_holds_the_truth(demo):
    assert demo.spectrum.trusted
    for nm in (500.0, 560.0, 620.0):
        found = demo.spectrum.at(nm)
        truth = float(demo_lamp().density_mw_per_nm(nm))
        assert abs(found.n - truth) < 3 * found.s
        assert found.s < 0.002


def test_measured_leaks_stay_below_what_is_predicted(demo):
    assert set(demo.leakage) == {"D", "E"}
    assert demo.crosstalk.trusted
    assert demo.crosstalk.measured


def test_a_leak_that_could_not_be_read_is_named_in_the_crosstalk(tmp_path):
    session = copy_of_demo(tmp_path)
    path = session.facts.folder / "leakage_E.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("Incident", "Something"), encoding="utf-8")
    found = session.crosstalk
    (failed,) = [c for c in found.checks if not c.passed]
    assert failed.name == "leakage files"
    assert failed.detail.startswith("those of line E are not used, 1 with 0 allowed; what leaks of it is only p")
    assert str(session.troubles["leakage of line E"]) in failed.detail
    assert "leakage_E.csv" in str(found)
    assert found.cells["E", "D"].measured is not None
    assert found.cells["D", "E"].measured is None


def test_a_result_that_is_not_there_says_why(tmp_path):
    session = copy_of_demo(tmp_path)
    for name in ("polarisation_E.csv", "beam_size_E.csv", "scan_C_up.csv"):
        (session.facts.folder / name).write_text("", encoding="utf-8")
    for part, what in (("polarisation", "polarisation of line"), ("beam_size", "beam of line")):
        with pytest.raises(SessionError, match=rf"{what} 'E' could not be computed; found an error \({part}_E.csv: "):
            getattr(session, part)["E"]
        assert "E" not in getattr(session, part)
    with pytest.raises(SessionError, match=r"scan of line 'C' could not be .*scan_C_up.csv.*; allowed: 'A', 'B', 'D'"):
        _ = session.scans["C"]
    with pytest.raises(SessionError, match=r"leakage of line 'A' is not in this session; .*; allowed: 'D', 'E'; ask"):
        _ = session.leakage["A"]
    assert session.scans.get("C") is None


def test_one_drive_stays_below_the_safe_supply_and_park_within_the_generator(demo):
    assert demo.one_drive.supply_v < demo.safe_supply.supply_v
    low, high = demo.facts.limits.generator.range_v
    assert low < demo.park.drive_v.n < high
    assert demo.park.bound_db < -30


def test_beam_polarisation_and_velocity_are_those_of_the_bench(demo):
    diameter = demo.beam_size["E"].diameter_mm
    assert abs(diameter.n - SKERRY_OPTICS.beam_diameter_mm) < 3 * diameter.s
    axis = demo.polarisation["E"].axis_deg
    assert abs(axis.n - SKERRY_OPTICS.axis_deg) < 3 * axis.s
    velocity = demo.angles.velocity_m_s
    assert abs(velocity.n - SKERRY.crystal.velocity_m_s) < 3 * velocity.s


def test_stated_wavelengths_are_those_of_the_labels(demo):
    line = SKERRY.line("C")
    assert demo.stated_nm["C"].n == pytest.approx(float(air_to_vacuum(line.label_nm)))
    assert demo.stated_nm["C"].s == pytest.approx(line.u_label_nm, rel=1e-3)


def test_parts_that_nobody_measured_are_no_trouble(tmp_path):
    def keep_only(text):
        text = re.sub(r"rf_power_w = .*as the scope shows it\n", "", text)
        text = text.replace('lines = ["D", "E", "F", "G", "park"]\ndwell_us = [120, 60, 60, 120, 40]', 'lines = ["D"]')
        kinds = "hunt|spectrum|leakage|spots|polarisation|beam_size|edge|modulation_depth"
        return re.sub(rf'purpose = "({kinds})"', 'purpose = "keep"', text)

    session = copy_of_demo(tmp_path, edit=keep_only)
    assert not session.troubles
    light = light_of(session, driver_of(session, session.safe_supply, ""))
    assert light.hunt is None
    assert light.polarisation == {}
    assert light.park is not None
    with pytest.raises(SessionError, match="no file with purpose 'hunt'; found 'efficiency"):
        _ = session.hunt


def test_report_says_where_to_park_only_with_a_safe_supply(demo):
    safe = light_of(demo, driver_of(demo, demo.safe_supply, ""))
    told = " ".join(light_sentences(safe))
    assert f"{demo.one_drive.supply_v:.2f} V" in told
    assert f"park at {demo.park.best.at_mhz:.2f} MHz" in told
    unsafe = light_of(demo, driver_of(demo, None, "no rating is stated"))
    assert "park" not in " ".join(light_sentences(unsafe))
    assert len(light_figures(safe)) == len(light_figures(unsafe)) + 2


def test_numbers_of_the_light_stand_in_the_report(demo):
    html = report_html(demo)
    for row in light_rows(light_of(demo, driver_of(demo, demo.safe_supply, ""))):
        assert row.value.replace("'", "&#39;") in html
    assert f"{demo.beam_size['E'].diameter_mm:.2uS} mm" in html
