"""session.toml: what it says, and what may be left out."""

import hashlib

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading import load_session_file
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.session_beside import SecondLog
from aotf_lab.reading.session_file import AmplifierFacts


def session_folder(folder, text):
    """Return ``folder`` with two raw files and this session.toml in it."""
    for name in ("vco.csv", "scan.csv"):
        (folder / name).write_text("drive_v,frequency_mhz\n1,46\n", encoding="utf-8")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def session(tmp_path):
    return lambda text: session_folder(tmp_path, text)


LINE = '[[line]]\nname = "D"\nwavelength_nm = 556.27\nmedium = "air"\nu_wavelength_nm = 0.1\n'


def test_everything_stated(session):
    text = """
    [session]
    name = "warm run"
    note = "second shelf"
    [crystal]
    material = "TeO2"
    rated_rf_power_w = 1
    velocity_m_s = 640.0
    u_velocity_m_s = 3.0
    temperature_c = 22.0
    [instrument.counter]
    time_base_ppm = 3
    [instrument.scope]
    pad_db = 30
    [[line]]
    name = "D"
    wavelength_nm = 556.27
    medium = "air"
    u_wavelength_nm = 0.1
    [[line]]
    name = "F"
    wavelength_nm = 638.0
    medium = "vacuum"
    u_wavelength_nm = 3.0
    use = "find"
    [[file]]
    path = "vco.csv"
    purpose = "oscillator"
    columns = { drive_v = "Set", not_used = ["Time", "Mood"] }
    [[file]]
    path = "scan.csv"
    purpose = "scan"
    line = "D"
    direction = "up"
    """
    facts = load_session_file(session(text))
    assert (facts.name, facts.note, facts.crystal.rated_rf_power_w) == ("warm run", "second shelf", 1.0)
    assert (facts.crystal.velocity_m_s, facts.crystal.u_velocity_m_s, facts.crystal.temperature_c) == (640.0, 3.0, 22.0)
    assert (facts.instruments.counter.time_base_ppm, facts.instruments.scope.pad_db) == (3.0, 30.0)
    anchor, unknown = facts.lines
    assert (anchor.name, anchor.use, anchor.stated_wavelength_nm, anchor.medium) == ("D", "anchor", 556.27, "air")
    assert anchor.wavelength_nm == pytest.approx(float(air_to_vacuum(556.27)))
    assert (unknown.use, unknown.wavelength_nm, unknown.u_wavelength_nm) == ("find", 638.0, 3.0)
    vco, scan = facts.files
    assert (vco.path, vco.purpose, vco.line, vco.direction) == (facts.folder / "vco.csv", "oscillator", None, None)
    assert vco.columns == {"drive_v": "Set", "not_used": ("Time", "Mood")}
    assert (scan.line, scan.direction, scan.columns) == ("D", "up", {})
    assert facts.remarks == ()
    assert facts.source.name == "session.toml"


def test_an_empty_file_opens_and_says_what_is_assumed(session):
    facts = load_session_file(session(""))
    assert facts.crystal.material == "TeO2"
    assert facts.crystal.rated_rf_power_w is None
    assert any("rated RF power not stated: no drive can be called safe" in words for words in facts.assumed)
    assert facts.remarks == tuple(
        f"{n} lies in the folder but no [[file]] names it: not used" for n in ("scan.csv", "vco.csv")
    )


def test_only_the_instruments_that_were_used_are_spoken_of(session):
    facts = load_session_file(session('[[file]]\npath = "vco.csv"\npurpose = "oscillator"\n'))
    assert any(words.startswith("counter time base not stated") for words in facts.assumed)
    assert not any(words.startswith(("scope", "power meter")) for words in facts.assumed)


def test_a_line_may_leave_out_its_u(session):
    facts = load_session_file(session(LINE.replace("u_wavelength_nm = 0.1\n", "")))
    assert facts.lines[0].u_wavelength_nm == 2.0
    assert "line D: u of the wavelength not stated: 2 nm assumed" in facts.assumed


def test_a_line_to_find_may_leave_out_its_wavelength(session):
    line = load_session_file(session('[[line]]\nname = "X"\nuse = "find"\n')).lines[0]
    assert (line.wavelength_nm, line.stated_wavelength_nm) == (None, None)


def test_a_wavelength_in_air_by_its_name(session):
    line = load_session_file(session('[[line]]\nname = "D"\nwavelength_air_nm = 556.27\n')).lines[0]
    assert (line.medium, line.stated_wavelength_nm) == ("air", 556.27)
    assert line.wavelength_nm == pytest.approx(float(air_to_vacuum(556.27)))


def test_the_file_itself_may_be_named_instead_of_its_folder(session):
    folder = session(LINE)
    assert load_session_file(folder / "session.toml") == load_session_file(folder)
    assert load_session_file(folder / "session.toml").folder == folder


def test_a_velocity_without_its_u(session):
    words = "u of the acoustic velocity not stated: 1 % assumed"
    assert words in load_session_file(session("[crystal]\nvelocity_m_s = 640\n")).assumed
    assert words not in load_session_file(session("[crystal]\nvelocity_m_s = 640\nu_velocity_m_s = 3\n")).assumed
    assert words not in load_session_file(session("")).assumed


def test_files_that_are_kept_have_their_records(session):
    folder = session(
        '[[file]]\npath = "scan.csv"\npurpose = "keep"\n[[file]]\npath = "vco.csv"\npurpose = "oscillator"\n'
    )
    # SHA-256 of the three letters: FIPS 180-4, example published by NIST
    (folder / "scan.csv").write_bytes(b"abc")
    (kept,) = load_session_file(folder).kept
    assert (kept.name, kept.size_bytes) == ("scan.csv", 3)
    assert kept.sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


SCAN = "[[file]]\npath = 'scan.csv'\npurpose = 'scan'\nline = 'D'\n"
TABLE = "[[file]]\npath = 'vco.csv'\npurpose = 'lines'\n"


def test_a_table_of_lines_beside_scans_of_anchors_is_remarked(session):
    words = "the crystal is calibrated by the table of lines (vco.csv): the peaks in the scans of D are not used for it"
    assert load_session_file(session(LINE + SCAN + TABLE)).remarks == (words,)
    assert words not in load_session_file(session(LINE + SCAN)).remarks
    assert words not in load_session_file(session(LINE + TABLE)).remarks
    assert words not in load_session_file(session(LINE + "use = 'find'\n" + SCAN + TABLE)).remarks


def test_long_waves_of_a_crystal_that_passes_them(session):
    text = LINE.replace("556.27", "4800")
    with pytest.raises(SessionError, match=r"wavelength_nm: far outside 400 to 1000 nm of TeO2: looks like Angstrom"):
        load_session_file(session(text))
    line = load_session_file(session("[crystal]\nmaterial = 'LiNbO3 congruent'\n" + text)).lines[0]
    assert line.stated_wavelength_nm == 4800.0


def test_hidden_copies_are_not_remarked(session):
    folder = session("")
    (folder / ".copies").mkdir()
    (folder / ".copies" / "old.csv").write_text("", encoding="utf-8")
    assert not any("old.csv" in remark for remark in load_session_file(folder).remarks)


def test_windows_line_ends_and_byte_order_mark(session):
    folder = session("")
    (folder / "session.toml").write_bytes('\ufeff[session]\r\nname = "shelf"\r\n'.encode())
    assert load_session_file(folder).name == "shelf"


def test_amplifier_and_scope_input(session):
    facts = load_session_file(
        session(
            "[amplifier]\nsupply_a = 0.8\nrated_output_w = 2\nrated_supply_v = 15\n[instrument.scope]\ninput_ohm = 50\n"
        )
    )
    assert facts.amplifier == AmplifierFacts(0.8, 2.0, 15.0)
    assert facts.instruments.scope.input_ohm == 50.0
    facts = load_session_file(session("[instrument.scope]\ninput_ohm = 1e6\n"))
    assert facts.amplifier == AmplifierFacts()
    assert facts.instruments.scope.input_ohm == 1e6


def test_a_file_names_its_layout(session):
    folder = session("[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nlayout = 'shelf.layout.toml'\n" + LINE + SCAN)
    content = b'decimal_mark = ","\n'
    (folder / "shelf.layout.toml").write_bytes(content)
    facts = load_session_file(folder)
    assert facts.files[0].layout == Layout(decimal_mark=",")
    assert facts.files[1].layout is None
    assert [(s.name, s.sha256) for s in facts.layouts] == [("shelf.layout.toml", hashlib.sha256(content).hexdigest())]
    (folder / "shelf.layout.toml").write_text('decimal = ","\n', encoding="utf-8")
    message = r"session.toml \[\[file\]\] number 1, layout: shelf.layout.toml: decimal: unknown key; found ','; allowed"
    with pytest.raises(SessionError, match=message):
        load_session_file(folder)


def test_a_second_log_belongs_to_its_file(session):
    text = "[[file]]\npath = 'scan.csv'\npurpose = 'scan'\nline = 'D'\nblock_s = 2\n"
    text += "second_log = 'vco.csv'\ntolerance_s = 0.5\noffset_s = -3600\n"
    facts = load_session_file(session(LINE + text))
    (file,) = facts.files
    assert file.second == SecondLog(facts.folder / "vco.csv", 0.5, -3600.0)
    assert file.block_s == 2.0
    assert facts.remarks == ()


@pytest.mark.parametrize("name", ["old.tsv", "old.TXT", "old.dat", "match.s1p"])
def test_other_raw_files_are_remarked_too(session, name):
    folder = session("")
    (folder / name).write_text("", encoding="utf-8")
    assert f"{name} lies in the folder but no [[file]] names it: not used" in load_session_file(folder).remarks


@pytest.mark.parametrize("written", ["2026-03-16", '"2026-03-16"'])
def test_the_day_of_the_readings(tmp_path, written):
    (tmp_path / "session.toml").write_text(f"[session]\ndate = {written}\n", encoding="utf-8")
    assert load_session_file(tmp_path).date == "2026-03-16"


@pytest.mark.parametrize("written", ['"16.3.2026"', "2026-03-16T10:00:00", "16", '"2026-02-30"'])
def test_a_day_that_is_none_is_refused(tmp_path, written):
    (tmp_path / "session.toml").write_text(f"[session]\ndate = {written}\n", encoding="utf-8")
    with pytest.raises(SessionError, match=r"date: not a day; found .*; allowed: a day such as 2026-03-16"):
        load_session_file(tmp_path)
