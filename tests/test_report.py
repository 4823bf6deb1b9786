"""The report: one self-contained page that says what is known, what failed and what it costs."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest

from aotf_lab.__main__ import main
from aotf_lab.errors import SessionError
from aotf_lab.reading.sanity import Suspicion
from aotf_lab.report import content_files, content_pace, report_html, write_report
from aotf_lab.report.content_verdict import settable
from aotf_lab.report.findings import finding_rows, findings_verdict
from aotf_lab.session import SessionCheck, check_session, open_session
from aotf_lab.session.contradictions import Contradiction
from aotf_lab.simulate import Faults, simulate_session
from tests.conftest import DEMO
from tests.test_session import copy_of_demo


class Page(HTMLParser):
    """Collects what a check of a page needs."""

    VOID = frozenset({"meta", "img", "br"})

    def __init__(self, text):
        super().__init__()
        self.open, self.links, self.images, self.heads = [], [], [], 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        fields = dict(attrs)
        self.links += [fields[k] for k in ("href", "src") if k in fields]
        if tag == "img":
            self.images.append(fields)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        self.heads += tag in ("h1", "h2")


@pytest.fixture(scope="module")
def html(demo):
    return report_html(demo)


def test_page_is_well_formed_and_needs_nothing_else(html):
    page = Page(html)
    assert page.open == []
    assert page.heads >= 8
    assert page.links
    assert all(link.startswith("data:") for link in page.links)
    assert "<script" not in html
    assert not re.search(r"url\(|@import", html)


def test_every_figure_has_an_alternative_text(html):
    page = Page(html)
    assert len(page.images) == html.count("<figcaption>")
    assert all(len(image["alt"]) > 30 for image in page.images)


def test_verdict_and_set_points_come_first(html):
    assert html.index('class="verdict"') < html.index("<h2>Set-points</h2>") < html.index("<h2>Curves</h2>")
    assert "7 of 7 lines can be set" in html


def test_numbers_of_the_report_are_those_of_the_session(html, demo):
    for point in demo.set_points():
        assert f"{point.drive_v:.2uS}" in html
    for source in demo.readings("oscillator").sources:
        assert source.sha256 in html


def test_what_is_typed_and_the_hash_of_all_files_are_made_once_for_a_page(demo, monkeypatch):
    calls = Counter()

    def counted(name, made):
        return lambda *given: calls.update([name]) or made(*given)

    monkeypatch.setattr(content_pace, "_typed_row", counted("typed", content_pace._typed_row))
    monkeypatch.setattr(content_files, "hashlib", SimpleNamespace(sha256=counted("hash", hashlib.sha256)))
    report_html(demo)
    assert calls == {"typed": len(demo.facts.lines), "hash": 1}


def test_same_session_same_page(html):
    assert report_html(open_session(DEMO)) == html


def test_failed_checks_stand_in_words(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("wavelength_nm = 588.96", "wavelength_nm = 598.96"))
    text = report_html(session)
    assert re.search(r"\d+ checks failed, for \d+ reasons; read them before you rely on a number", text)
    assert "probably mislabelled" in text


def test_missing_rating_prints_no_power(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: re.sub(r"rated_rf_power_w.*", "", t))
    text = report_html(session)
    assert "No RF power is given for A, B, C, D, E, F and G" in text
    assert "rated RF power not stated" in text


def test_nothing_usable_is_an_error(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: re.sub(r'purpose = "\w+"', 'purpose = "keep"', t))
    with pytest.raises(
        SessionError, match=r"nothing can be computed from this session: no .*; found .*allowed"
    ) as seen:
        report_html(session)
    assert str(seen.value).count("; found ") == 1


def test_a_session_of_session_toml_alone(tmp_path, capsys):
    (tmp_path / "session.toml").write_text('[session]\nname = "bare"\n', encoding="utf-8")
    session = open_session(tmp_path)
    match = (
        r"nothing can be computed from this session; found session.toml without any raw file; allowed: .*aotf-lab new"
    )
    with pytest.raises(SessionError, match=match):
        report_html(session)
    with pytest.raises(SessionError, match="no file with purpose 'oscillator'; found no files; allowed"):
        session.readings("oscillator")
    assert main(["report", str(tmp_path), "--out", str(tmp_path / "r.html")]) == 1
    assert "found 'no files'" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("names", "said"), [((), "No line can be set: session.toml names none; "), (("E",), "0 of 1 line can be set; ")]
)
def test_the_lines_are_counted_in_words(tmp_path, capsys, names, said):
    def lines_of(text):
        lines = re.findall(r"(?ms)^\[\[line\]\]\n.*?(?=^\[|\Z)", text)
        head = re.sub(r"(?ms)^\[\[(?:line|file|play)\]\]\n.*?(?=^\[|\Z)", "", text)
        files = ['[[file]]\npath = "vco_warm.csv"\npurpose = "oscillator"\n']
        kept = [line for line in lines if re.search(r'name = "(.)"', line)[1] in names]
        return head + "".join(kept) + "".join(files)

    session = copy_of_demo(tmp_path, edit=lines_of)
    assert main(["report", str(session.facts.folder), "--out", str(tmp_path / "r.html")]) == 0
    assert said in capsys.readouterr().out


def test_one_line_is_counted_as_one(demo):
    assert settable(demo, [demo.set_points()["E"]]) == "1 of 1 line can be set"


def test_report_is_written_whole_or_not_at_all(demo, tmp_path):
    target = write_report(demo, tmp_path / "report.html")
    assert target.read_text(encoding="utf-8").endswith("</html>\n")
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_command_line_reports(tmp_path, capsys):
    out, table = tmp_path / "r.html", tmp_path / "s.csv"
    assert main(["report", str(DEMO), "--out", str(out), "--set-points", str(table)]) == 0
    assert out.exists()
    assert table.read_text(encoding="utf-8").startswith("line,")
    assert "7 lines" in capsys.readouterr().out


def test_command_line_makes_a_session_that_reports(tmp_path, capsys):
    assert main(["new", str(tmp_path / "mine")]) == 0
    assert main(["report", str(tmp_path / "mine"), "--out", str(tmp_path / "r.html")]) == 0
    assert main(["new", str(tmp_path / "mine")]) == 1
    assert "session.toml" in capsys.readouterr().err


def test_command_line_unusable_input_is_one_sentence(tmp_path, capsys):
    assert main(["report", str(tmp_path), "--out", str(tmp_path / "r.html")]) == 1
    message = capsys.readouterr().err
    assert message.startswith("aotf-lab: ")
    assert len(message.splitlines()) == 1
    assert main(["report", str(DEMO), "--out", str(tmp_path / "no" / "r.html")]) == 1


@pytest.mark.parametrize("arguments", [[], ["report"], ["report", "x", "--out", "y", "--set-points", "z.xls"], ["do"]])
def test_command_line_wrong_usage(arguments, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(arguments)
    assert "usage" in capsys.readouterr().err


@pytest.mark.parametrize("target", ["session.toml", "scan_A_up.csv", "../bench/vco_warm.csv"])
def test_a_raw_file_is_never_overwritten(tmp_path, target):
    session = copy_of_demo(tmp_path)
    path = session.facts.folder / target
    before = path.read_bytes()
    with pytest.raises(SessionError, match=r"would overwrite a file of the session; found .*allowed"):
        write_report(session, path)
    assert path.read_bytes() == before


def test_the_command_line_never_overwrites_a_raw_file(tmp_path, capsys):
    session = copy_of_demo(tmp_path)
    folder, out = session.facts.folder, tmp_path / "r.html"
    raw = folder / "vco_warm.csv"
    before = raw.read_bytes()
    assert main(["report", str(folder), "--out", str(out), "--set-points", str(raw)]) == 1
    assert "would overwrite" in capsys.readouterr().err
    assert raw.read_bytes() == before
    assert not out.exists()
    with pytest.raises(SystemExit, match="2"):
        main(["report", str(folder), "--out", str(raw)])


def test_doubtful_lines_stand_in_the_verdict(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace("wavelength_nm = 588.96", "wavelength_nm = 598.96"))
    text = report_html(session)
    assert "Do not use E before the failed checks below are cleared up." in text
    assert "E (doubtful)" in text


def test_nothing_reachable_is_no_pass(tmp_path):
    session = copy_of_demo(tmp_path, edit=lambda t: t.replace('purpose = "oscillator"', 'purpose = "keep"'))
    text = report_html(session)
    assert "0 of 7 lines can be set" in text
    assert "Every check passed" not in text
    assert "Not computed: oscillator curve" in text


def test_what_looks_wrong_in_the_files_is_told(tmp_path):
    session = open_session(simulate_session(tmp_path, faults=Faults(doubled_counts=(9, 10))))
    findings = finding_rows(check_session(session))
    assert [(f.what, f.grave) for f in findings] == [("counts doubled", False)]
    page = report_html(session)
    assert "1 thing in the raw files looks wrong." in page
    assert "vco_warm.csv:12-13, counts doubled." in page


def test_grave_findings_come_first_and_say_that_numbers_cannot_be_used():
    check = SessionCheck(
        "x",
        (),
        (Suspicion("odd", "a.csv:3", "1", "b", "c"), Suspicion("bad", "a.csv:4", "1", "b", "c", unusable=True)),
        (Contradiction("other", "d.csv:2", "1", "2", "c"),),
        (),
        (),
        ("bad",),
    )
    findings = finding_rows(check)
    assert [f.what for f in findings] == ["bad", "odd", "other"]
    (sentence,) = findings_verdict(findings)
    assert sentence == "3 things in the raw files look wrong, 1 of them so that numbers from the file cannot be used."
    assert findings_verdict([]) == []
