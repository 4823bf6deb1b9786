"""What others meet in a report: screen readers, grey prints, PDF, other programs, a lab book."""

from __future__ import annotations

import re
import sys
import zlib
from html.parser import HTMLParser
from itertools import combinations

import numpy as np
import pytest

from aotf_lab.__main__ import main
from aotf_lab.drawing.figures import BLUE, GREY, ORANGE
from aotf_lab.errors import AotfLabError, SessionError
from aotf_lab.report import report_html, write_report
from aotf_lab.report.content_method import accuracies, method
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.light_parts import light_of
from aotf_lab.report.pace_parts import pace_of
from aotf_lab.report.pdf import pdf_of
from aotf_lab.session import open_session
from aotf_lab.session.rerun.results import SessionResults, results
from tests.browser import chromium, missing, wait_for
from tests.conftest import DEMO


class Outline(HTMLParser):
    """Collects headings, tables and what else a screen reader goes by."""

    def __init__(self, text):
        super().__init__()
        self.levels, self.heads, self.language, self.main, self.tables, self.ids = [], [], None, 0, [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        fields = dict(attrs)
        self.ids += [fields["id"]] if "id" in fields else []
        if re.fullmatch("h[1-6]", tag):
            self.levels.append(int(tag[1]))
        if tag == "html":
            self.language = fields.get("lang")
        self.main += tag == "main"
        if tag == "table":
            self.tables.append(0)
        if tag == "th":
            self.heads.append(fields.get("scope"))
            self.tables[-1] += 1


@pytest.fixture(scope="module")
def html(demo):
    return report_html(demo)


@pytest.fixture(scope="module")
def told(demo):
    driver = driver_of(demo, demo.safe_supply, "")
    parts = (driver, light_of(demo, driver), pace_of(demo, True))
    return {p.topic: p.words for p in method(demo, parts, "0123")}


def test_headings_tables_and_language_are_as_screen_readers_need_them(html):
    """WCAG 2.1 (W3C, 2018): 1.3.1 with techniques H42, H63 and G141, 2.4.6, 3.1.1; checked from memory."""
    page = Outline(html)
    assert page.language == "en"
    assert page.main == 1
    assert page.levels[0] == 1
    assert page.levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(page.levels, page.levels[1:], strict=False))
    assert set(page.heads) == {"col", "colgroup", "row"}
    assert all(page.tables)
    assert len(page.ids) == len(set(page.ids))


def _linear(ink):
    share = np.array([int(ink[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Of linear sRGB (IEC 61966-2-1)."""

_DICHROMATS = {
    "protanope": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranope": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanope": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
"""Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15, 1291 (2009), severity 1, from memory."""


def test_inks_stand_out_from_white_paper():
    """WCAG 2.1, 1.4.11: graphics need a contrast of 3 to 1; its formula of contrast and luminance."""
    for ink in (BLUE, ORANGE, GREY):
        assert 1.05 / (_LUMINANCE @ _linear(ink) + 0.05) >= 3.0


@pytest.mark.parametrize("eyes", ["all colours", *_DICHROMATS])
def test_inks_are_told_apart_by_lightness_alone(eyes):
    """Lightness L* of CIE 15; 10 apart is common practice, no source (one step to be seen is about 1)."""
    matrix = np.array(_DICHROMATS.get(eyes, np.eye(3)))
    light = [116 * np.cbrt(_LUMINANCE @ np.clip(matrix @ _linear(ink), 0, 1)) - 16 for ink in (BLUE, ORANGE, GREY)]
    assert min(abs(a - b) for a, b in combinations(light, 2)) >= 10


def test_method_tells_this_sessions_numbers(told, demo, html):
    fit = demo.vco.fit
    assert f"chi2/dof = {fit.chi2:.1f}/{fit.dof:.4g}" in told["Oscillator"]
    rows = [line for line in (DEMO / "vco_warm.csv").read_text().splitlines() if re.match(r"\d", line)]
    assert told["Oscillator"].startswith(f"{len(rows)} readings from ")
    scanned = sum(
        bool(re.match(r"\d", line)) for path in DEMO.glob("scan_*.csv") for line in path.read_text().splitlines()
    )
    assert f"{scanned} readings" in told["Passbands"]
    assert "4 anchor lines" in told["Tuning"]
    assert "Phys. Rev. B 4, 3736 (1971)" in told["Tuning"]
    assert "A, C and F" in told["Tuning"]
    assert "Taken on 2026-03-16" in told["Readings"]
    assert (
        "Counter: time base 15 ppm, u of a reading 4.5 kHz; voltmeter: gain 0.1 %"
        in told["Accuracies, as stated (u is for k = 1)"]
    )
    assert all(topic in html for topic in told)


def test_accuracies_that_nobody_stated_are_no_words():
    from aotf_lab.reading import Counter, Scope

    assert accuracies(Counter()) == ""
    assert accuracies(Scope(u_pad_db=0.1, probe=1.0)) == "probe 1, u of the pad 0.1 dB"


def test_every_interval_has_the_unit_of_its_value(html):
    interval = re.search(r"Peak of line E</th><td[^>]*>[\d.()]+ MHz</td><td[^>]*>([^<]+)</td>", html)[1]
    assert re.fullmatch(r"[\d.]+ to [\d.]+ MHz", interval)


def test_results_stand_beside_the_report(demo, tmp_path):
    write_report(demo, tmp_path / "r.html", results=tmp_path / "r.json")
    kept = SessionResults.from_json(tmp_path / "r.json")
    assert kept.rows == results(demo).rows
    assert "and in r.json." in (tmp_path / "r.html").read_text(encoding="utf-8")
    write_report(demo, tmp_path / "r.html", results=tmp_path / "r.json")
    assert "and in r.json." not in (tmp_path / "r.html").read_text(encoding="utf-8")
    with pytest.raises(SessionError, match=r"would overwrite a file of the session; found .*allowed"):
        write_report(demo, tmp_path / "other.html", results=DEMO / "session.toml")
    assert not (tmp_path / "other.html").exists()


def unpacked(content):
    """Return a PDF with what its compressed streams hold (ISO 32000-1, 7.5.7: objects may stand in them)."""
    packed = re.findall(rb"stream\r?\n(.*?)\nendstream", content, re.DOTALL)
    return content + b"".join(zlib.decompress(stream) for stream in packed if stream[:1] == b"\x78")


def test_pdf_is_the_same_on_every_run_and_carries_no_day():
    pytest.importorskip("weasyprint")
    page = '<html lang="en"><title>t</title><h1>Skerry</h1><p>13.8013(19) V</p></html>'
    first = pdf_of(page)
    assert first.startswith(b"%PDF-")
    assert first == pdf_of(page)
    assert b"CreationDate" not in unpacked(first)
    assert b"/StructTreeRoot" in unpacked(first)


def test_pdf_of_the_demo_is_written(demo, tmp_path):
    pytest.importorskip("weasyprint")
    path = write_report(demo, tmp_path / "r.pdf", paper="letter")
    content = path.read_bytes()
    assert content.startswith(b"%PDF-")
    found = unpacked(content)
    assert re.search(rb"/MediaBox ?\[0 0 612 792\]", found)
    assert len(re.findall(rb"/Type ?/Page\b(?!s)", found)) <= 15
    assert [p.name for p in tmp_path.iterdir()] == ["r.pdf"]


def test_pdf_without_weasyprint_names_the_cure_and_writes_nothing(demo, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(AotfLabError, match=r"needs WeasyPrint; found it is not installed; .*aotf_lab\[pdf\].*html"):
        write_report(demo, tmp_path / "r.pdf")
    assert list(tmp_path.iterdir()) == []


def test_pdf_without_the_systems_libraries_says_which(demo, tmp_path, monkeypatch):
    class Broken:
        @staticmethod
        def find_spec(name, path=None, target=None):
            if name == "weasyprint":
                raise OSError("cannot load library 'libpango-1.0-0'\nmore")

    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Broken, *sys.meta_path])
    with pytest.raises(AotfLabError, match=r"found cannot load library 'libpango-1.0-0'; .*install Pango"):
        write_report(demo, tmp_path / "r.pdf")


@pytest.mark.parametrize(
    ("name", "paper", "words"),
    [
        ("r.doc", None, r"unknown kind; found .*r\.doc.*allowed: a name that ends in \.html, \.htm, \.pdf"),
        ("r.html", "A5", "paper that the report does not know; found 'A5'; allowed: A4 or letter"),
    ],
)
def test_other_endings_and_papers_are_refused(demo, tmp_path, name, paper, words):
    with pytest.raises(SessionError, match=words):
        write_report(demo, tmp_path / name, paper=paper)
    assert list(tmp_path.iterdir()) == []


def test_every_table_says_what_it_is(html):
    """WCAG 2.1, technique H39: a caption for each table."""
    captions = re.findall(r"<table[^>]*><caption[^>]*>([^<]+)</caption>", html)
    assert len(captions) == html.count("<table")
    assert all(captions)


def test_text_stands_out_from_what_is_behind_it(html):
    """WCAG 2.1, 1.4.3: a contrast of 4.5 to 1 for text; every ink of the style sheet on its darkest paper."""
    style = html[html.index("<style>") : html.index("</style>")]

    def luminance(ink):
        full = ink if len(ink) == 7 else "#" + "".join(2 * digit for digit in ink[1:])
        return _LUMINANCE @ _linear(full)

    inks = re.findall(r"(?<![-\w])color: (#[0-9a-f]{3,6})\b", style)
    papers = re.findall(r"background: (#[0-9a-f]{3,6});", style)
    assert len(inks) >= 3
    assert "#f3f3f3" in papers
    for ink in inks:
        assert (min(map(luminance, papers)) + 0.05) / (luminance(ink) + 0.05) >= 4.5


def test_long_hashes_break_where_the_page_is_narrow(html):
    assert re.search(r"body \{[^}]*overflow-wrap: break-word", html)


def test_page_sets_signs_of_print(html):
    """Units as in the SI Brochure, 9th ed., 2019: µ for micro, from memory."""
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", html, flags=re.DOTALL)
    assert "±" in text
    assert "+-" not in text
    assert "+/-" not in text
    assert not re.search(r"\d u[sW]\b|\d deg\b", text)


@pytest.fixture
def oscillator_alone(tmp_path):
    facts = (DEMO / "session.toml").read_text()
    head, file = facts[: facts.index("[[line]]")], '[[file]]\npath = "vco_warm.csv"\npurpose = "oscillator"\n'
    (tmp_path / "session.toml").write_text(head + file)
    (tmp_path / "vco_warm.csv").write_bytes((DEMO / "vco_warm.csv").read_bytes())
    return report_html(open_session(tmp_path))


def test_an_oscillator_alone_leaves_no_empty_part(oscillator_alone):
    assert "No line can be set: session.toml names none." in oscillator_alone
    assert "0 of 0" not in oscillator_alone
    assert "<h2>Numbers</h2>" not in oscillator_alone
    assert "<h2>Curves</h2>" in oscillator_alone
    assert "Brackets:" not in oscillator_alone
    assert not re.search(r"<tbody>\s*</tbody>", oscillator_alone)


@pytest.mark.parametrize("day", [120, 410])
def test_an_opening_session_is_told_what_it_is_good_for(day):
    page = report_html(open_session(DEMO.parent / f"skerry_day{day}"))
    assert "held against a kept one they tell whether it still holds: aotf-lab opening." in page
    assert page.count("too few different voltages for a curve of unknown form; found") == 1


@pytest.mark.skipif(bool(missing()), reason=f"needs {missing()}")
def test_report_and_preflight_do_not_pan_sideways(html, tmp_path):
    (tmp_path / "report.html").write_text(html, encoding="utf-8")
    assert main(["preflight", str(DEMO), "--out", str(tmp_path / "preflight.html")]) == 0
    with chromium() as tab:
        for width in (390, 800, 1200):
            page = tab(width, 844)
            for name in ("report", "preflight"):
                page.open((tmp_path / f"{name}.html").as_uri())
                shown = f"document.readyState == 'complete' && location.href.endsWith('{name}.html')"
                wait_for(lambda page=page, shown=shown: page.value(shown), f"{name} is not shown")
                assert page.value("document.documentElement.scrollWidth") <= width, (name, width)
            page.close()
