"""Many sessions side by side: order, reasons, outliers, and the backends of joblib that do the work."""

from __future__ import annotations

import csv
import io
import shutil
import threading
from concurrent.futures import BrokenExecutor
from dataclasses import replace

import joblib
import numpy as np
import pytest
from joblib._parallel_backends import ThreadingBackend
from scipy import stats

from aotf_lab.errors import AotfLabError
from aotf_lab.session.many import compare as module
from aotf_lab.session.many.apart import LEAST_SESSIONS, apart, apart_limit
from aotf_lab.session.many.compare import compare, session_rows
from aotf_lab.session.many.comparison import Comparison
from aotf_lab.session.many.progress import session_progress
from aotf_lab.session.many.row import SessionRow, session_row
from aotf_lab.session.rerun.results import results
from tests.conftest import DEMO, flat

SMALL = ("pushing", "match")
"""Parts of the demo that take no time."""


def row(number, value, u=0.01, title="scans.centre_mhz [D]", **more):
    return SessionRow(f"bench{number}", f"Bench {number}", (title,), np.array([value]), np.array([u]), **more)


def nothing(*_):
    raise AssertionError("not to be asked")


# scores


def test_modified_z_scores_of_the_handbook():
    """Iglewicz and Hoaglin, as NIST/SEMATECH e-Handbook 1.3.5.17 states it: M = 0.6745 (x - median) / MAD."""
    values = np.array([3.1, 2.9, 3.3, 2.8, 3.0, 9.0, 3.2])
    own = 0.6745 * (values - np.median(values)) / stats.median_abs_deviation(values)
    score = apart(values[:, None], np.zeros((7, 1)))[:, 0]
    # 1/1.4826 is 0.67449
    np.testing.assert_allclose(score, own, rtol=1e-4)
    assert np.argmax(np.abs(score)) == 5


def test_a_number_within_its_own_uncertainty_does_not_stand_apart():
    values = np.array([1.0, 1.001, 0.999, 1.0005, 0.9995, 2.0])[:, None]
    assert abs(apart(values, np.full((6, 1), 1e-4))[5, 0]) > 500
    assert abs(apart(values, np.array([1e-4] * 5 + [2.0])[:, None])[5, 0]) == pytest.approx(0.5, rel=1e-3)


def test_a_step_of_rounding_does_not_stand_apart():
    values = np.array([3.55, 3.55, 3.55, 3.551, 3.55, 8.0])[:, None]
    score = apart(values, np.full((6, 1), np.nan))[:, 0]
    assert abs(score[3]) < 1
    assert score[5] > 1000


def test_what_has_no_spread_or_too_few_sessions_is_not_judged():
    assert np.isnan(apart(np.zeros((6, 1)), np.full((6, 1), np.nan))).all()
    few = np.arange(LEAST_SESSIONS - 1, dtype=float)[:, None]
    assert np.isnan(apart(few, np.zeros_like(few))).all()
    gaps = np.array([1.0, 2.0, np.nan, 3.0, 4.0, 5.0])[:, None]
    assert np.isnan(apart(gaps, np.zeros_like(gaps)))[:, 0].tolist() == [False, False, True, False, False, False]


def test_the_limit_holds_for_sessions_that_differ_by_chance():
    rng = np.random.default_rng(4)
    tables = [np.nanmax(np.abs(apart(rng.normal(size=(20, 50)), np.zeros((20, 50))))) for _ in range(1000)]
    assert np.mean(np.array(tables) > apart_limit(20, 1000)) <= 0.005
    # and it is no limit that nothing reaches
    assert apart_limit(20, 1000) < 20
    assert apart_limit(200, 200) < 5


# the table


def test_the_session_that_stands_apart_comes_first():
    rows = [row(k, 69.08 + 0.01 * (k % 3)) for k in range(9)] + [row(9, 66.0, failed=("scan: drift",))]
    found = Comparison(tuple(rows))
    assert found.sessions[0].row.folder == "bench9"
    assert [s.row.folder for s in found.outliers] == ["bench9"]
    assert found.sessions[0].score == pytest.approx(3.09 / 0.014826)
    assert "10 of 10 sessions gave numbers; 1 stand apart" in found.verdict
    first, second, *_ = str(found).splitlines()[1:]
    first += second
    assert "Bench 9: " in first  # as [session] names it
    assert "scans.centre_mhz [D] = 66.000(10), median 69.09" in first
    assert found["scans.centre_mhz [D]"].index[0] == "bench9"


def test_sessions_of_one_name_are_told_apart_by_their_folders():
    named = [replace(row(k, 69.08), name="Skerry" if k < 2 else f"Bench {k}") for k in range(3)]
    broken = SessionRow("lost", reason="gone")
    text = str(Comparison((*named, broken)))
    assert [w in text for w in ("Skerry (bench0): ", "Skerry (bench1): ", "Bench 2: ", "lost: NO NUMBERS: gone")] == [
        True
    ] * 4
    assert "bench2" not in text
    assert "Skerry (bench0)" in Comparison((*named, broken))._repr_html_()
    again = SessionRow("bench2", reason="the same folder as bench2: taken once")
    assert "Bench 2: " in str(Comparison((*named, again)))


def test_too_few_sessions_are_not_judged():
    found = Comparison(tuple(row(k, 69.0 + k) for k in range(4)))
    assert found.outliers == ()
    assert "5 are the fewest" in found.verdict
    assert "Bench 0: " in str(found)


def test_sessions_with_other_numbers_stand_in_one_table():
    found = Comparison((row(0, 1.0), row(1, 2.0, title="vco.backlash_v")))
    table = found.table
    assert table["scans.centre_mhz [D]"].isna().tolist() == [False, True]
    assert table["u vco.backlash_v"].tolist()[1] == 0.01


def test_csv_holds_numbers_and_reasons(tmp_path):
    found = Comparison(
        (SessionRow("bad", reason="no session.toml; found nothing"), *(row(k, 69.0 + k) for k in range(6)))
    )
    lines = list(csv.DictReader(io.StringIO(found.to_csv(tmp_path / "all.csv").read_text(encoding="utf-8"))))
    assert len(lines) == 7
    assert lines[-1]["folder"] == "bad"
    assert lines[-1]["reason"] == "no session.toml; found nothing"
    assert sorted(float(line["scans.centre_mhz [D]"]) for line in lines[:-1]) == [69.0 + k for k in range(6)]


def test_html_escapes_and_names_failed_sessions():
    found = Comparison((row("<b>", 1.0), SessionRow("<i>", reason="a & b")))
    page = found._repr_html_()
    assert "Bench &lt;b&gt;" in page
    assert "no numbers: a &amp; b" in page
    assert "<b>" not in page


def test_a_number_that_no_session_has():
    with pytest.raises(AotfLabError, match=r"no such number; found 'x'; allowed: one of 1 titles"):
        _ = Comparison((row(0, 1.0),))["x"]


# one session


def test_a_row_holds_what_the_session_states_as_its_own(demo):
    own = session_row(DEMO, SMALL)
    all_of_it = results(demo, SMALL)
    assert own.reason == ""
    assert own.values is not None
    kept = dict(zip(own.titles, own.values, strict=True))
    assert kept["pushing.mhz_per_v"] == all_of_it["pushing.mhz_per_v"].value
    assert not any(".fit." in title or "#" in title for title in own.titles)
    assert any(".fit." in r.key for r in all_of_it.rows)


def test_a_folder_without_session_a_part_that_is_none_and_no_numbers_are_reasons(tmp_path):
    assert "no session.toml that can be read" in session_row(tmp_path).reason
    assert "no such part in this session" in session_row(DEMO, ["none"]).reason
    (tmp_path / "session.toml").write_text('[session]\nname = "empty"\n', encoding="utf-8")
    assert session_row(tmp_path).reason.startswith("no number: ")


def test_a_defect_of_the_library_stays_with_its_session(monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("float division")

    monkeypatch.setattr("aotf_lab.session.many.row.results", broken)
    assert session_row(DEMO).reason.startswith("unexpected ZeroDivisionError: float division; please report")


# many sessions


def test_processes_give_what_one_session_alone_gives(tmp_path):
    for name in ("one", "two"):
        shutil.copytree(DEMO, tmp_path / name)
    folders = (tmp_path / name for name in ("one", "none", "two"))
    found = compare(folders, jobs=2, parts=SMALL)
    alone = session_row(DEMO, SMALL)
    assert [r.folder.rpartition("/")[2] for r in found.rows] == ["one", "none", "two"]
    assert "no session.toml" in found.rows[1].reason
    for k in (0, 2):
        assert found.rows[k].titles == alone.titles
        np.testing.assert_array_equal(found.rows[k].values, alone.values)
    assert found.rows[0].titles is found.rows[2].titles


@pytest.fixture(scope="module")
def copies(tmp_path_factory):
    """Three folders of the demo: one folder named three times would be taken once."""
    home = tmp_path_factory.mktemp("copies")
    return [shutil.copytree(DEMO, home / name) for name in ("one", "two", "three")]


def test_a_folder_that_is_named_again_is_taken_once(tmp_path, monkeypatch):
    bench = tmp_path / "bench"
    shutil.copytree(DEMO, bench)
    (tmp_path / "link").symlink_to(bench)
    monkeypatch.chdir(tmp_path)
    found = compare([bench, "bench/", "./bench", tmp_path / "link", bench / "session.toml"], jobs=1, parts=SMALL)
    assert [r.reason for r in found.rows] == ["", *[f"the same folder as {bench}: taken once"] * 4]
    assert len(found.sessions) == 1
    assert f"link: NO NUMBERS: the same folder as {bench}: taken once" in flat(found)


def test_what_is_no_folder_is_a_row_with_its_reason(demo):
    found = compare([demo, 3], jobs=1, parts=SMALL)
    assert found.rows[0].reason.startswith("folder of another kind; found an object of the kind Session; allowed: the")
    assert found.rows[1].reason.startswith("folder of another kind; found 3; allowed: the path of a session's folder")


def test_the_backend_is_the_one_that_joblib_is_told_to_use(copies):
    seen = []

    class Counted(ThreadingBackend):
        def submit(self, func, callback=None):
            seen.append(threading.get_ident())
            return super().submit(func, callback)

    joblib.register_parallel_backend("counted", Counted)
    with joblib.parallel_config(backend="counted", n_jobs=2):
        found = compare(copies, parts=SMALL)
    assert len(seen) == 3
    assert not found.without


def test_a_backend_that_returns_all_at_once_serves_too(copies):
    class Whole(ThreadingBackend):
        supports_return_generator = False

    with joblib.parallel_config(backend=Whole(), n_jobs=2):
        found = compare(copies[:2], parts=SMALL)
    assert [r.reason for r in found.rows] == ["", ""]


def test_a_cluster_of_dask(copies):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.Client(processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None),
        joblib.parallel_config(backend="dask"),
    ):
        found = compare(copies[:2], parts=SMALL)
    assert [r.reason for r in found.rows] == ["", ""]


def test_each_process_has_one_thread_of_linear_algebra():
    workers = module._parallel(2)
    assert workers._backend.inner_max_num_threads == 1
    with joblib.parallel_config(backend="loky", inner_max_num_threads=3):
        assert module._parallel(2)._backend.inner_max_num_threads == 3


def test_all_cores_unless_stated_otherwise():
    assert module._parallel(None).n_jobs == -1
    assert module._parallel(3).n_jobs == 3
    with joblib.parallel_config(n_jobs=2):
        assert module._parallel(None).n_jobs == 2


def test_folders_are_taken_when_they_are_needed(monkeypatch):
    monkeypatch.setattr(module, "session_row", lambda folder, parts: row(folder, 1.0))
    taken, ahead = [], []

    def folders():
        for k in range(200):
            taken.append(k)
            yield str(k)

    with joblib.parallel_config(backend="threading", n_jobs=1):
        for done, _ in enumerate(session_rows(folders(), jobs=1), 1):
            ahead.append(len(taken) - done)
    assert len(ahead) == 200
    assert max(ahead) <= 2


def test_a_worker_that_dies_costs_the_open_sessions_alone(monkeypatch):
    def dies(folder, parts):
        if folder == "1":
            raise BrokenExecutor("a process was killed")
        return replace(row(folder, 1.0), folder=folder)

    monkeypatch.setattr(module, "session_row", dies)
    with joblib.parallel_config(backend="threading", n_jobs=1):
        found = compare(["0", "1", "2", "3"], jobs=1)
    assert [r.folder for r in found.rows] == ["0", "1", "2", "3"]
    assert found.rows[0].reason == ""
    assert "a worker process died before it answered" in found.rows[1].reason


def test_no_folder_at_all():
    with pytest.raises(AotfLabError, match=r"nothing to compare; found 0; allowed: one folder or more"):
        compare([])


def test_a_folder_that_is_in_no_list_and_no_process_at_all(tmp_path):
    """A text is a list of letters, and each would be taken for a folder."""
    for one in (str(tmp_path), tmp_path):
        with pytest.raises(AotfLabError, match=r"folders of another kind; found '/.*; .* put it into a list"):
            compare(one)
    with pytest.raises(AotfLabError, match="jobs out of bounds; found 0; allowed: a whole number, 1 or more"):
        compare([tmp_path], jobs=0)
    with pytest.raises(AotfLabError, match="jobs of another kind; found '2'; allowed: a whole number, 1 or more"):
        compare([tmp_path], jobs="2")
    with pytest.raises(AotfLabError, match="parts of another kind; found 3; allowed: names of parts"):
        compare([tmp_path], parts=3)
    ((_, row),) = session_rows([DEMO.parent / "skerry_day120"], jobs=1, parts="scans")
    assert {title.partition(".")[0] for title in row.titles} == {"scans"}


# progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_on_a_terminal():
    out, now = Terminal(), iter([0.0, 4.0, 4.1, 8.0, 10.0])
    show = session_progress(8, out, lambda: next(now))
    show(2)
    show(3)
    show(4)
    assert out.getvalue() == "\r\033[K2 of 8 sessions, 4 s, 12 s left\r\033[K4 of 8 sessions, 8 s, 8 s left"
    show(-1)
    assert out.getvalue().endswith("\r\033[K")


def test_progress_without_a_known_end_and_off_a_terminal():
    out = Terminal()
    session_progress(None, out, iter([0.0, 3.0]).__next__)(7)
    assert out.getvalue() == "\r\033[K7 sessions, 3 s"
    quiet = io.StringIO()
    session_progress(8, quiet)(2)
    assert quiet.getvalue() == ""


def test_progress_is_not_asked_for(monkeypatch):
    monkeypatch.setattr(module, "session_progress", lambda total: nothing)
    with joblib.parallel_config(backend="threading", n_jobs=1):
        assert not compare([DEMO], parts=SMALL, progress=False).without
