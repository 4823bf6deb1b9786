"""A report of an archived session says what differs from the numbers that were written before."""

from __future__ import annotations

import json

import pytest

from aotf_lab.__main__ import main
from aotf_lab.report import write_report
from tests.conftest import DEMO

DAY = str(DEMO.parent / "skerry_day410")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    assert main(["report", DAY, "--out", str(folder / "first.html"), "--results", str(folder / "numbers.json")]) == 0
    return folder


def test_the_first_report_writes_the_numbers_and_compares_nothing(written):
    assert json.loads((written / "numbers.json").read_text(encoding="utf-8"))["schema"] == 1
    assert "Against the numbers written before" not in (written / "first.html").read_text(encoding="utf-8")


def test_the_same_session_again_gives_the_same_numbers(written, capsys):
    before = (written / "numbers.json").read_bytes()
    arguments = ["report", DAY, "--out", str(written / "again.html"), "--results", str(written / "numbers.json")]
    assert main(arguments) == 0
    assert "numbers are the same as in the older results" in capsys.readouterr().out
    page = (written / "again.html").read_text(encoding="utf-8")
    assert "Against the numbers written before" in page
    assert (written / "numbers.json").read_bytes() == before


def test_what_is_no_archive_is_refused_and_nothing_is_written(written, tmp_path, capsys):
    archive = tmp_path / "numbers.json"
    archive.write_text("{}", encoding="utf-8")
    assert main(["report", DAY, "--out", str(tmp_path / "r.html"), "--results", str(archive)]) == 1
    assert "numbers.json" in capsys.readouterr().err
    assert not (tmp_path / "r.html").exists()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (["--out", "r.txt"], "allowed endings are .html, .htm and .pdf"),
        (["--out", "r.html", "--paper", "A3"], "allowed are A4 and letter"),
        (["--out", "r.html", "--results", "r.csv"], "the allowed ending is .json"),
    ],
)
def test_a_report_asked_for_wrongly(wrong, words, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["report", DAY, *wrong])
    assert words in capsys.readouterr().err


def test_paper_is_named_in_the_page(demo, tmp_path):
    page = write_report(demo, tmp_path / "r.html", paper="letter").read_text(encoding="utf-8")
    assert "size: letter" in page.lower()
