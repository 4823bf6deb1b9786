"""Questions that have no answer, are in another unit, or give a path for an open session, are refused or marked."""

from __future__ import annotations

import json

import numpy as np
import pytest

from aotf_lab import SessionResults, check_session, keep, open_session, opening_of, results
from aotf_lab.crystal.identity.identify import identify
from aotf_lab.crystal.loops import expected_loops
from aotf_lab.crystal.purity.contrast import contrast
from aotf_lab.crystal.purity.crosstalk import crosstalk
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import AotfLabError
from aotf_lab.planning.one_drive import one_drive
from aotf_lab.report import write_page
from aotf_lab.session.many.comparison import Comparison
from aotf_lab.session.many.row import SessionRow
from aotf_lab.session.rerun.failed import failed_in_words


@pytest.mark.parametrize(("factor", "failed"), [(1.0, set()), (1000.0, {"scale"}), (1e-3, {"scale", "lines agree"})])
def test_peaks_in_another_unit_have_a_scale_that_no_cut_has(demo, factor, failed):
    lines = [CatalogueLine(n, v.n, v.s, "session.toml", "stated") for n, v in demo.stated_nm.items()]
    found = identify({n: scan.centre_mhz * factor for n, scan in demo.scans.items()}, lines)
    assert {c.name for c in found.failed} == failed


@pytest.mark.parametrize("others", [[], ["D"]])
def test_a_contrast_needs_another_line(demo, others):
    with pytest.raises(AotfLabError, match="contrast against nothing, or against the line itself; found"):
        contrast(demo.passbands, "D", others)


def test_crosstalk_set_in_khz_is_refused(demo):
    with pytest.raises(AotfLabError, match="line D far from every line; found 69080 MHz; allowed: 27"):
        crosstalk(demo.passbands, set_mhz={"D": 69080.0, "E": 64230.0})


def test_a_supply_in_coarse_steps_is_no_choice(demo):
    with pytest.raises(AotfLabError, match=r"a step without a meaning; found 5; allowed: above 0 to 0\.5 V"):
        one_drive(demo, step_v=5)


def test_loops_of_a_frequency_in_khz_are_refused(demo):
    with pytest.raises(AotfLabError, match="leaves the crystal nowhere; found 64200 MHz, 2000 mm; allowed: near"):
        expected_loops(demo.cut, 64200.0, 589.1, 2000.0)


def test_failed_checks_of_a_session_are_counted(demo, tmp_path):
    failed = write_page(demo, tmp_path / "report.html", results=tmp_path / "results.json")
    assert failed == results(demo).failed
    words = failed_in_words(failed)
    assert f"{words}; read them before" in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert f"{words}:" in str(results(demo))
    assert json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))["failed_in_words"] == words
    row = SessionRow("bench", "", ("a_v",), np.array([1.0]), np.array([0.1]), failed=failed)
    assert f"{words}" in str(Comparison((row,)))
    # by hand: 12 of the generator ask after reach or accuracy, 4 of two spoilt traces ask 4 things, 1 is of B's light
    assert words == "17 checks failed, for 7 reasons"


@pytest.mark.parametrize("ask", [check_session, results, lambda s: keep(s, "kept"), lambda s: opening_of("kept", s)])
@pytest.mark.parametrize("wrong", ["/bench", None])
def test_a_path_for_an_open_session(ask, wrong):
    match = r"session of another kind; found ('/bench'|nothing); allowed: an open session; open its folder first"
    with pytest.raises(AotfLabError, match=match):
        ask(wrong)


def test_a_session_for_a_path(demo, tmp_path):
    with pytest.raises(AotfLabError, match=r"folder of another kind; found .* Session; allowed: the folder of session"):
        open_session(demo)
    with pytest.raises(AotfLabError, match=r"records of another kind; found .* Session; allowed: the folder of kept"):
        opening_of(demo, demo)
    with pytest.raises(AotfLabError, match=r"path of another kind; found .* Session; allowed: the path of a file that"):
        SessionResults.from_json(demo)
    with pytest.raises(AotfLabError, match="parts of another kind; found 3; allowed: names of parts"):
        results(demo, 3)
