"""Results as one table: what is in it, that a file of it comes back, and that a re-run gives the same numbers."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import dataclass, field, replace
from functools import cached_property

import pytest
from uncertainties import UFloat, ufloat

import aotf_lab
import tests.pins.__main__
from aotf_lab.errors import AotfLabError, RecordError, SessionError
from aotf_lab.estimation import Check
from aotf_lab.session import open_session
from aotf_lab.session.rerun.collect import checks_of, result_check, rows_of
from aotf_lab.session.rerun.differences import SAME_WITHIN_U
from aotf_lab.session.rerun.file import results_text
from aotf_lab.session.rerun.results import SessionResults, results
from aotf_lab.session.rerun.row import ResultRow, unit_of
from tests.conftest import DEMO
from tests.pins.__main__ import PINNED


@pytest.fixture(scope="module")
def found(demo):
    return results(demo)


def changed(found, title, **new):
    """``found`` with one number changed."""
    return replace(found, rows=tuple(replace(r, **new) if r.title == title else r for r in found.rows))


def test_demo_gives_the_pinned_numbers(found):
    """After a change that is meant to move numbers: ``python -m tests.pins``, and look at what it says."""
    told = found.differences(PINNED)
    assert told.same, f"{told}\nMeant to be so? Renew them: python -m tests.pins"


@pytest.mark.parametrize(("word", "code"), [("--help", 0), ("-h", 0), ("skerry.json", 2)])
def test_what_writes_the_pinned_numbers_writes_none_when_it_is_asked_for_help(word, code, tmp_path, monkeypatch):
    monkeypatch.setattr(tests.pins.__main__, "PINNED", tmp_path / "pinned.json")
    with pytest.raises(SystemExit) as end:
        tests.pins.__main__.main([word])
    assert end.value.code == code
    assert not (tmp_path / "pinned.json").exists()


def test_every_part_of_the_demo_is_in_the_table(demo, found):
    parts = {row.key.partition(".")[0] for row in found.rows}
    # leftover: readings are no results, and advice on what to measure next is words
    assert set(demo.parts) - parts <= {"all_readings", "advice"}
    assert "set_points" in parts


def test_numbers_are_those_of_the_session(demo, found):
    assert found["scans.centre_mhz [D]"].value == demo.scans["D"].centre_mhz.n
    assert found["scans.centre_mhz [D]"].u == demo.scans["D"].centre_mhz.s
    assert found["vco.frequency_mhz [at 5 V]"].value == demo.vco.frequency(5.0).n
    assert found["set_points.drive_v [E]"].u == demo.set_points()["E"].drive_v.s
    assert found["safe_supply.supply_v"].value == demo.safe_supply.supply_v
    assert found["safe_supply.supply_v"].u is None


def test_titles_are_unique_and_all_numbers_finite(found):
    assert len(found.by_title) == len(found.rows) > 500
    assert all(abs(row.value) < float("inf") and (row.u is None or row.u >= 0.0) for row in found.rows)


def test_failed_checks_of_every_depth_are_named(found):
    assert "waveforms [trace_clipped.csv]: clipping" in found.failed
    assert "efficiency.own [B]: reach" in found.failed


def test_passed_checks_stand_with_what_was_found(demo, found):
    asked = {check.title: check for check in found.checks}
    scatter = next(check for check in demo.scans["D"].fit.checks if check.name == "scatter")
    kept = asked["scans [D]: scatter"]
    assert (kept.passed, kept.detail, kept.of_limit) == (True, scatter.detail, scatter.of_limit)
    assert asked["identity: line labels"].passed
    assert asked["spectrum: zero"].passed
    assert {check.title for check in found.checks if not check.passed} == set(found.failed)


def test_a_share_of_a_limit_of_zero_is_no_number():
    assert result_check("scan", Check("even", True, "as it should be", of_limit=float("inf"))).of_limit is None


def test_every_file_of_the_session_stands_with_its_hash(demo, found):
    names = {source.name for source in found.sources}
    assert {f.path.name for f in demo.facts.files} | {"session.toml"} == names
    assert all(len(source.sha256) == 64 for source in found.sources)


def test_some_parts_alone(demo):
    few = results(demo, ["scans", "set_points"])
    assert {row.key.partition(".")[0] for row in few.rows} == {"scans", "set_points"}
    assert results(demo, "scans").rows == results(demo, ["scans"]).rows


def test_a_part_that_nobody_measured(demo):
    with pytest.raises(SessionError, match=r"no such part in this session; found 'scan'; allowed: vco, .*set_points"):
        results(demo, ["scan"])


def test_a_title_that_is_none(found):
    with pytest.raises(AotfLabError, match=r"no such number; found 'scans'; allowed: one of"):
        _ = found["scans"]


# a part that the library may get later


@dataclass(frozen=True)
class Inner:
    line: str
    rise_us: UFloat


@dataclass(frozen=True)
class Later:
    rise_us: UFloat
    setting_v: float
    share: float
    inner: tuple[Inner, ...]
    means: UFloat | None = field(default=None, repr=False)
    _own: float = 1.0

    @property
    def half_khz(self) -> UFloat:
        return 440.0 / self.rise_us

    @cached_property
    def unknown_mhz(self) -> UFloat:
        raise AotfLabError("not known", found=0, allowed="more readings", cure="measure")

    @property
    def words(self) -> str:
        raise AssertionError("only numbers are asked for")


def test_a_new_part_needs_no_list_of_its_numbers():
    later = Later(ufloat(1.6, 0.1), 5.0, 0.3, (Inner("E", ufloat(2.0, 0.2)), Inner("G", ufloat(3.0, 0.3))))
    rows = {row.title: row for row in rows_of("later", {"B": later})}
    assert set(rows) == {
        "later.rise_us [B]", "later.setting_v [B]", "later.half_khz [B]", "later.inner.rise_us [B/E]",
        "later.inner.rise_us [B/G]",
    }  # fmt: skip
    assert rows["later.half_khz [B]"].unit == "kHz"
    assert rows["later.inner.rise_us [B/G]"].u == 0.3
    assert list(checks_of("later", later)) == []


@pytest.mark.parametrize(
    ("name", "unit"),
    [("drive_v", "V"), ("rate_mhz_per_us", "MHz/µs"), ("slow_drift_mhz_per_h", "MHz/h"), ("sweeps_per_s", "1/s"),
     ("temperature_c", "°C"), ("light_lost_percent", "%"), ("velocity_m_s", "m/s"), ("skew", ""), ("chi2", "")],
)  # fmt: skip
def test_a_unit_is_read_from_the_name(name, unit):
    assert unit_of(name) == unit


# files


def test_a_file_restores_every_digit(found, tmp_path):
    again = SessionResults.from_json(found.to_json(tmp_path / "results.json"))
    assert again.rows == found.rows
    assert again.sources == found.sources
    assert dict(again.versions) == dict(found.versions)
    assert again.failed == found.failed
    assert again.checks == found.checks
    assert again.differences(found).same


def test_a_file_has_one_number_a_line(found, tmp_path):
    lines = found.to_json(tmp_path / "results.json").read_text(encoding="utf-8").splitlines()
    assert sum('"scans.centre_mhz"' in line for line in lines) == 7
    assert len(lines) > len(found.rows)


def test_files_written_before_are_read_and_written_the_same(found):
    """The pinned numbers are such a file: what is read from it is written again to the byte."""
    old = SessionResults.from_json(PINNED)
    assert len(old.rows) > 500
    assert old.checks == ()
    assert results_text(old) == PINNED.read_text(encoding="utf-8")


def test_checks_that_an_older_file_does_not_hold_are_no_differences(found, tmp_path):
    old = replace(found, checks=())
    path = old.to_json(tmp_path / "old.json")
    assert '"checks"' not in path.read_text(encoding="utf-8")
    assert found.differences(path).same
    assert old.differences(found).same
    fewer = replace(found, failed=found.failed[1:], checks=())
    assert found.differences(fewer).said == (f"check fails now: {found.failed[0]}",)


def test_checks_that_only_one_run_asked_are_told(found):
    first = min(check.title for check in found.checks[:2])
    fewer = replace(found, checks=found.checks[2:])
    assert fewer.differences(found).said == (f"checks asked then, not now: {first} and 1 more",)
    assert found.differences(fewer).said == (f"checks asked now, not then: {first} and 1 more",)


def edited(found, path, edit, *, hashed):
    """A file of ``found`` after an edit; with its hash made to fit (as RFC 8259 text of the rest) where ``hashed``."""
    body = json.loads(found.to_json(path).read_text(encoding="utf-8"))
    edit(body)
    if hashed:
        said = {key: value for key, value in body.items() if key not in ("kind", "schema", "body_sha256")}
        body["body_sha256"] = hashlib.sha256(json.dumps(said, ensure_ascii=False).encode()).hexdigest()
    path.write_text(json.dumps(body), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("edit", "match"),
    [
        (lambda d: d["rows"][0].__setitem__(2, 1.0), r"old.json: the file was changed after it was written: its hash"),
        (lambda d: d.pop("rows"), r"its hash does not fit; found body_sha256 \w{12}\.\.\., the content gives \w{12}"),
        (lambda d: d.update(schema=99), r"old.json: a schema that this version does not know; found 99; allowed: sche"),
        (lambda d: d.update(kind="other"), r"holds no table of a session's results; found kind 'other'; allowed: kind"),
        (lambda d: d["rows"][0].__setitem__(2, float("nan")), r"a number that is none; found 'NaN'; allowed: finite"),
    ],
)
def test_a_damaged_or_foreign_file_is_refused(found, tmp_path, edit, match):
    with pytest.raises(RecordError, match=match):
        SessionResults.from_json(edited(found, tmp_path / "old.json", edit, hashed=False))


@pytest.mark.parametrize(
    ("edit", "match"),
    [
        (lambda d: d.pop("rows"), r"old.json: results that are incomplete; found KeyError: 'rows'"),
        (lambda d: d["rows"][0].pop(), r"results that are incomplete; found TypeError"),
        (lambda d: d["rows"][0].__setitem__(2, "x"), r"results that are incomplete; found ValueError"),
        (lambda d: d.update(versions=[]), r"results that are incomplete; found AttributeError"),
        (lambda d: d["checks"][0].pop(), r"results that are incomplete; found TypeError"),
        (lambda d: d["checks"][0].__setitem__(2, "yes"), r"incomplete; found ValueError: .* neither true nor false"),
    ],
)
def test_a_file_that_something_else_wrote_is_refused(found, tmp_path, edit, match):
    with pytest.raises(RecordError, match=match):
        SessionResults.from_json(edited(found, tmp_path / "old.json", edit, hashed=True))


def test_text_that_is_no_json_and_a_file_that_is_not_there(tmp_path):
    path = tmp_path / "old.json"
    with pytest.raises(RecordError, match=r"old.json: the file cannot be read; found No such file"):
        SessionResults.from_json(path)
    path.write_text("[1, 2", encoding="utf-8")
    with pytest.raises(RecordError, match=r"old.json:1: the file is no whole JSON; found Expecting"):
        SessionResults.from_json(path)
    path.write_text("[]", encoding="utf-8")
    with pytest.raises(RecordError, match=r"the file holds no table of a session's results; found a list"):
        SessionResults.from_json(path)


# differences


def test_a_number_that_moved_is_told_in_its_own_u(found):
    title = "scans.centre_mhz [D]"
    row = found[title]
    told = changed(found, title, value=row.value + 0.5 * row.u).differences(found)
    assert [m.newer.title for m in told.moved] == [title]
    assert told.moved[0].in_u == pytest.approx(0.5)
    assert "by +0.5 u" in str(told)
    assert f"1 of {len(found.rows)} numbers differ" in told.verdict
    assert not told.same


def test_what_rounding_moves_is_the_same_and_a_little_more_is_not(found):
    title = "scans.centre_mhz [D]"
    row = found[title]
    assert changed(found, title, value=row.value + 0.9 * SAME_WITHIN_U * row.u).differences(found).same
    assert not changed(found, title, value=row.value + 1.1 * SAME_WITHIN_U * row.u).differences(found).same
    assert not changed(found, title, u=1.01 * row.u).differences(found).same
    assert not changed(found, title, unit="kHz").differences(found).same


def test_the_largest_shift_stands_first(found):
    small, large = found["scans.centre_mhz [D]"], found["tuning.fit.tilt"]
    both = changed(found, small.title, value=small.value + small.u)
    both = changed(both, large.title, value=large.value - 9 * large.u)
    assert [m.newer.title for m in both.differences(found).moved] == [large.title, small.title]


def test_another_version_and_another_file_are_named(found):
    sources = tuple(
        replace(s, sha256="0" * 64) if s.name == "hunt.csv" else s for s in found.sources if s.name[0] != "m"
    )
    newer = replace(found, versions={**found.versions, "aotf-lab": "9.0"}, sources=sources)
    verdict = newer.differences(found).verdict
    assert f"aotf-lab {found.versions['aotf-lab']} → 9.0" in verdict
    assert "raw files differ:" in verdict
    assert "hunt.csv changed" in verdict
    assert "match.s1p gone" in verdict
    assert newer.differences(found).same


def test_gone_new_missing_and_failed_are_told(found):
    fewer = replace(found, rows=found.rows[1:], missing={"park": "no scan"}, failed=(*found.failed[1:], "vco: drift"))
    told = str(fewer.differences(found))
    assert f"{found.rows[0].title}" in told
    assert "1 are gone" in told
    assert "park cannot be computed any more: no scan" in told
    assert "check fails now: vco: drift" in told
    assert f"check failed then, not now: {found.failed[0]}" in told
    back = found.differences(fewer)
    assert back.new == (found.rows[0].title,)
    assert "park could not be computed then, and can be now" in str(back)


def test_a_changed_reading_moves_numbers_that_rest_on_it_and_no_others(found, tmp_path):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    path = folder / "spots.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-1]), encoding="utf-8")
    told = results(open_session(folder)).differences(found)
    assert told.files == ("spots.csv changed",)
    assert {m.newer.key.partition(".")[0] for m in told.moved} == {"angles"}


def test_a_session_that_lacks_a_curve_says_so(tmp_path):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    path = folder / "session.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('purpose = "oscillator"', 'purpose = "keep"'), encoding="utf-8")
    found = results(aotf_lab.open_session(folder))
    assert "no file with purpose 'oscillator'" in found.missing["vco"]
    assert not any(row.key.startswith("vco.") for row in found.rows)
    assert "not computed: vco" in str(found)


def test_a_line_s_failed_check_is_told_once_though_the_fit_of_all_lines_repeats_it(tmp_path):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    path = folder / "efficiency_E.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",1035.8,", ",725.0,"), encoding="utf-8")
    failed = [check.title for check in results(open_session(folder), ["efficiency"]).checks if not check.passed]
    assert "efficiency: line E: single readings" in failed
    assert not any(title.startswith("efficiency.own [E]") for title in failed)
    assert "efficiency.own [B]: reach" in failed  # which the fit of all lines does not repeat


def test_html_escapes(found):
    odd = replace(found, name="<b>", rows=(ResultRow("a.b_v", "<i>", 1.0, 0.1, "V"),))
    assert "&lt;b&gt;" in odd._repr_html_()
    assert "&lt;i&gt;" in odd._repr_html_()
    assert "<i>" not in odd.differences(found)._repr_html_()


def test_table_has_a_row_a_number(found):
    table = found.table
    assert list(table.columns) == ["key", "line", "value", "u", "unit"]
    assert len(table) == len(found.rows)
