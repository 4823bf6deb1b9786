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


def test_demo_has_every_part_and_no_trouble(demo):
    assert not demo.troubles
    assert set(demo.scans) == set("ABCDEFG")
    assert set(demo.efficiency.own) == set("BEG")


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
    with pytest.raises(SessionError, match=r"no file with purpose 'lines'; found 'efficiency"):
        demo.readings("lines")
