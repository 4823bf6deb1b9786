"""Hunts, spectra, leakage, spots, polarisation and knife edges, as session.toml names them."""

from __future__ import annotations

import pytest

import aotf_lab
from aotf_lab.errors import ReadingError, SessionError
from aotf_lab.reading import Instruments, Rotator, Ruler, Stage, read_analyser, read_knife_edge, read_spots
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.reading.template import write_template

LINE = '[[line]]\nname = "A"\nwavelength_nm = 532.05\nmedium = "air"\n'


@pytest.fixture
def session(tmp_path):
    """Write raw files and a session.toml that lists them: ``session(files={name: text}, keys={name: toml lines})``."""

    def write(files, keys, more=""):
        for name, text in files.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        listed = "".join(f'[[file]]\npath = "{name}"\n{keys[name]}\n' for name in files)
        (tmp_path / "session.toml").write_text(f"{LINE}{more}{listed}", encoding="utf-8")
        return tmp_path

    return write


def test_the_template_holds_one_of_each(tmp_path):
    write_template(tmp_path / "new")
    opened = aotf_lab.open_session(tmp_path / "new")
    rows = {"hunt": 3, "spectrum": 3, "leakage": 2, "spots": 2, "polarisation": 4, "beam_size": 3}
    assert {purpose: len(opened.readings(purpose).table) for purpose in rows} == rows
    assert opened.readings("spots").table["distance_mm"].tolist() == [2000.0, 2000.0]


def test_check_reads_them_without_complaint(session):
    files = {
        "hunt.csv": "Frequency (MHz),Power (uW)\n" + "".join(f"{60 + k / 10:.1f},{k % 7 + 1.5}\n" for k in range(20)),
        "spots.csv": "Frequency (MHz),Spot (mm)\n86.34,127.0\n66.98,115.5\n",
        "turned.csv": "Angle (deg),Power (uW)\n0,402\n45,205\n90,3\n",
        "edge.csv": "Position (mm),Power (uW)\n10,402\n10.8,201\n11.6,3\n",
    }
    keys = {
        "hunt.csv": 'purpose = "hunt"', "spots.csv": 'purpose = "spots"\ndistance_mm = 1500\nline = "A"',
        "turned.csv": 'purpose = "polarisation"\nline = "A"', "edge.csv": 'purpose = "beam_size"',
    }  # fmt: skip
    folder = session(files, keys, "[instrument.ruler]\nu_reading_mm = 0.3\nu_distance_mm = 2\n")
    check = aotf_lab.check_session(aotf_lab.open_session(folder))
    assert [file.error for file in check.files] == [None] * 4
    assert check.suspicions == ()
    spots = aotf_lab.open_session(folder).readings("spots").table
    assert spots["u_spot_mm"].tolist() == [0.3, 0.3]
    assert spots["label"].tolist() == ["A", "A"]


def test_what_is_assumed_of_ruler_rotator_and_stage_is_said(session):
    files = {"spots.csv": "Frequency (MHz),Spot (mm),Distance (m)\n86.34,127.0,2\n"}
    said = load_session_file(session(files, {"spots.csv": 'purpose = "spots"'})).assumed
    assert [words for words in said if "ruler" in words or "screen" in words] == list(Ruler().assumed)
    assert not any("rotator" in words or "stage" in words for words in said)


def test_a_leak_is_of_one_line(session):
    folder = session({"leak.csv": "Frequency (MHz),Power (uW)\n45,2\n"}, {"leak.csv": 'purpose = "leakage"'})
    with pytest.raises(SessionError, match=r"leak.csv is for leakage, which is of one line"):
        load_session_file(folder)


def test_a_distance_belongs_to_spots(session):
    folder = session({"a.csv": "Angle (deg),Power (uW)\n0,2\n"}, {"a.csv": 'purpose = "polarisation"\ndistance_mm = 9'})
    with pytest.raises(SessionError, match="stated for a file with purpose polarisation"):
        load_session_file(folder)


def test_a_ruler_without_scatter_is_refused(session):
    folder = session({}, {}, "[instrument.ruler]\nu_reading_mm = 0\n")
    with pytest.raises(SessionError, match="u_reading_mm"):
        load_session_file(folder)


def test_errors_of_their_instruments(log):
    bench = Instruments(ruler=Ruler(0.2, 1.0), rotator=Rotator(0.1, 0.0), stage=Stage(5.0, 0.2))
    spots = read_spots(log("Frequency (MHz),Spot (mm),Distance (mm)\n86.3,127.0,2000\n", "s.csv"), bench)
    turned = read_analyser(log("Analyser (deg),Power (uW)\n0,402\n", "p.csv"), bench)
    edge = read_knife_edge(log("Knife (mm),Power (uW)\n10,402\n", "b.csv"), bench)
    sizes = {e.name: (e.column, e.kind, e.variable.s) for r in (spots, turned, edge) for e in r.common}
    assert sizes["mark of the undiffracted spot"] == ("spot_mm", "offset", 0.2)
    assert sizes["distance to the screen"] == ("distance_mm", "offset", 1.0)
    assert sizes["scale of the stage"] == ("position_mm", "relative", 0.002)
    assert "zero of the rotator" not in sizes
    assert (turned.table["u_analyser_deg"][0], edge.table["u_position_mm"][0]) == (0.1, 0.005)


def test_a_distance_of_nothing(log):
    with pytest.raises(ReadingError, match="distance to the screen not above zero; found 0 mm"):
        read_spots(log("Frequency (MHz),Spot (mm),Distance (mm)\n86.3,127.0,0\n"))


def test_spots_without_a_spot(log):
    with pytest.raises(ReadingError, match="no column that means spot_mm"):
        read_spots(log("Frequency (MHz),Temperature (degC)\n86.3,22.0\n"), distance_mm=2000.0)


def test_two_lengths_and_no_word_for_either(log):
    with pytest.raises(ReadingError, match=r"no column that means position_mm; 'Left \(mm\)', 'Right \(mm\)' are"):
        read_knife_edge(log("Left (mm),Right (mm),Power (uW)\n10,11,402\n"))


def test_an_angle_is_no_temperature(log):
    with pytest.raises(ReadingError, match="an angle cannot be temperature_c; found 'deg'"):
        read_analyser(log("Angle (deg),Temperature (deg),Power (uW)\n0,22,402\n"))
