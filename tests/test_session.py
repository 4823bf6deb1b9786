"""A session computes what it can and says why it cannot compute the rest."""

from __future__ import annotations

import hashlib
import shutil

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.session import open_session
from tests.conftest import DEMO


def copy_of_demo(tmp_path, *, edit=None, without=()):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns(*without))
    if edit:
        path = folder / "session.toml"
        text = path.read_text(encoding="utf-8")
        changed = edit(text)
        assert changed != text
        path.write_text(changed, encoding="utf-8")
    return open_session(folder)


def test_a_trouble_without_a_line_names_none(tmp_path):
    (tmp_path / "edge.csv").write_text("Time (us),Detector (mV)\n0,1.0\n1,2.0\n", encoding="utf-8")
    (tmp_path / "session.toml").write_text('[[file]]\npath = "edge.csv"\npurpose = "edge"\n', encoding="utf-8")
    assert "edge" in open_session(tmp_path).troubles


def test_demo_has_every_part_and_no_trouble(demo):
    assert not demo.troubles
    assert set(demo.scans) == set("ABCDEFG")
    assert set(demo.efficiency.own) == set("BEG")


def test_a_session_and_its_readings_show_themselves_in_short(demo):
    assert str(demo).splitlines()[0] == "Session Skerry"
    assert "14 scan" in str(demo)
    assert "<td>" in demo._repr_html_()
    assert demo.readings("oscillator")._repr_html_().count("<table") == 2  # the readings, and their receipt


def test_a_line_to_be_found_without_a_label_is_shown(tmp_path):
    (tmp_path / "session.toml").write_text(
        '[session]\nname = "bare"\n[[line]]\nname = "Q"\nuse = "find"\n'
        '[[file]]\npath = "v.csv"\npurpose = "oscillator"\n'
    )
    (tmp_path / "v.csv").write_text("drive (V),frequency (MHz)\n1,45\n2,50\n")
    assert "Q to be found" in str(open_session(tmp_path))
    assert "Q to be found" in open_session(tmp_path)._repr_html_()


def test_results_are_kept(demo):
    assert demo.vco is demo.vco
    assert demo.tuning is demo.curves.tuning


def test_lines_to_find_are_found_near_their_labels(demo):
    for line in demo.facts.lines:
        if line.use == "find":
            found = demo.wavelengths_nm[line.name]
            assert found.s < 0.3
            assert abs(found.n - line.wavelength_nm) < 2 * line.u_wavelength_nm


def test_raw_files_are_not_changed(tmp_path):
    session = copy_of_demo(tmp_path)
    before = {p: hashlib.sha256(p.read_bytes()).digest() for p in session.facts.folder.iterdir()}
    session.set_points()
    assert {p: hashlib.sha256(p.read_bytes()).digest() for p in session.facts.folder.iterdir()} == before


def test_without_an_oscillator_file_the_crystal_is_still_known(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace('purpose = "oscillator"', 'purpose = "keep"'))
    assert session.curves.vco is None
    assert session.curves.tuning is not None
    assert "no file with purpose 'oscillator'" in str(session.troubles["vco"])
    assert not any(p.reachable for p in session.set_points())
    with pytest.raises(SessionError, match=r"no file with purpose 'oscillator'; found .*allowed"):
        _ = session.vco


def test_one_bad_scan_does_not_stop_the_others(tmp_path):
    session = copy_of_demo(tmp_path)
    path = session.facts.folder / "scan_C_up.csv"
    path.write_text("Time (s),Counter (MHz),Diffracted (uW),Dark (uW)\n0.5,75.4,six,2.4\n", encoding="utf-8")
    assert "C" not in session.scans
    assert session.tuning.fit.trusted
    assert "scan_C_up.csv:2" in str(session.troubles["scan of line C"])
    # what is left is the diode's label, 4 nm wide: the set-point says that it may miss the light altogether
    assert session.set_points()["C"].light_lost_percent > 90


def test_readings_of_a_purpose_nobody_measured(demo):
    with pytest.raises(SessionError, match=r"no file with purpose 'lines'; found 'beam_size, edge, efficiency"):
        demo.readings("lines")


def test_exchanged_labels_are_named_in_the_set_points(tmp_path):
    def exchange(text):
        return text.replace("556.27", "swap").replace("588.96", "556.27").replace("swap", "588.96")

    session = copy_of_demo(tmp_path, edit=exchange)
    assert "the labels of D and E were exchanged: with peak D = E, peak E = D" in str(session.troubles["tuning"])
    doubtful = [p.line for p in session.set_points() if "DOUBTFUL" in p.remark]
    assert {"D", "E"} <= set(doubtful)


def test_mistyped_anchor_is_named_in_the_set_points(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("wavelength_nm = 588.96", "wavelength_nm = 598.96"))
    assert "DOUBTFUL" in session.set_points()["E"].remark
    assert "DOUBTFUL" not in session.set_points()["B"].remark


def test_a_mistyped_row_of_a_table_of_lines_is_named_where_no_line_was_scanned(tmp_path):
    def tabled(text):
        kept = [block for block in text.split("[[file]]") if 'path = "scan_' not in block]
        return "[[file]]".join(kept).replace('_mistyped.csv"\npurpose = "keep"', '_mistyped.csv"\npurpose = "lines"')

    points = copy_of_demo(tmp_path, edit=tabled).set_points()
    assert points["E"].origin == "tuning curve"
    assert points["E"].remark == "DOUBTFUL: its wavelength or its frequency seems wrong at lines_mistyped.csv:5"
    assert not any(p.doubtful for p in points if p.line != "E")


def test_scans_of_two_lines_to_find_exchanged(tmp_path):
    def exchange(text):
        return text.replace("scan_A_", "scan_X_").replace("scan_C_", "scan_A_").replace("scan_X_", "scan_C_")

    session = copy_of_demo(tmp_path, edit=exchange)
    assert [c.name for c in session.checks if not c.passed] == ["exchanged labels"]
    details = {c.name: c.detail for c in session.checks}
    assert "peak C = A, peak A = C" in details["exchanged labels"]
    assert details["label of line A"].startswith("explained by 'exchanged labels', which fails: found minus label")
    assert "its label seems to be exchanged" in session.set_points()["A"].remark


def test_a_diode_exchanged_with_an_anchor_is_named_and_no_other_pair(tmp_path):
    def exchange(text):
        return text.replace("scan_A_", "scan_X_").replace("scan_D_", "scan_A_").replace("scan_X_", "scan_D_")

    session = copy_of_demo(tmp_path, edit=exchange)
    assert "the labels of D and A were exchanged" in str(session.troubles["tuning"])
    assert [c.name for c in session.checks if not c.passed] == ["exchanged labels"]
    doubtful = {p.line for p in session.set_points() if "seems to be exchanged" in p.remark}
    assert doubtful == {"A", "D"}


def test_driven_above_the_rating_is_said(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("rated_rf_power_w = 0.80", "rated_rf_power_w = 0.30"))
    check = next(c for c in session.checks if c.name == "rated power")
    assert not check.passed
    assert "driven above its rating" in check.detail
    for point in session.set_points():
        assert point.rf_power_w.n < 0.3


def test_an_unknown_pad_withholds_every_power(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("\npad_db = 30.0", ""))
    for point in session.set_points():
        assert point.rf_power_w is None
        assert "pad_db" in point.remark


def test_one_bad_efficiency_file_leaves_the_other_lines(tmp_path):
    session = copy_of_demo(tmp_path)
    (session.facts.folder / "efficiency_B.csv").write_text("", encoding="utf-8")
    assert set(session.efficiency.own) == {"E", "G"}
    assert session.set_points()["D"].rf_power_w is not None
    assert "530" in session.set_points()["B"].remark  # no measured line is near enough to B any more
    assert [part for part in session.troubles if "B" in part]


def test_no_anchor_was_scanned(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace('use = "anchor"', 'use = "find"'))
    with pytest.raises(SessionError, match=r"no anchor line was scanned; found A \(find\), B \(find\)"):
        _ = session.tuning


def test_the_same_cause_is_told_once(tmp_path):
    session = copy_of_demo(tmp_path)
    (session.facts.folder / "scan_D_up.csv").write_text("", encoding="utf-8")
    assert [part for part in session.troubles if "D" in part] == ["scan of line D"]


def test_remarks_say_what_goes_beyond_the_readings(demo):
    points = demo.set_points()
    assert "beyond the anchor lines" in points["A"].remark
    assert "its own drive stopped at" in points["B"].remark
    assert points["E"].remark == ""
