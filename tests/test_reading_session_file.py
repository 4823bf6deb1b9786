"""session.toml: what it says, what may be left out, and what is refused."""

import re

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading import load_session_file


@pytest.fixture
def session(tmp_path):
    for name in ("vco.csv", "scan.csv"):
        (tmp_path / name).write_text("drive_v,frequency_mhz\n1,46\n", encoding="utf-8")

    def write(text):
        (tmp_path / "session.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


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


def test_a_scan_without_a_line_is_remarked(session):
    facts = load_session_file(session('[[file]]\npath = "scan.csv"\npurpose = "scan"\n'))
    assert "scan.csv is a scan whose line is not stated: it cannot be an anchor" in facts.remarks


def test_hidden_copies_are_not_remarked(session):
    folder = session("")
    (folder / ".copies").mkdir()
    (folder / ".copies" / "old.csv").write_text("", encoding="utf-8")
    assert not any("old.csv" in remark for remark in load_session_file(folder).remarks)


def test_windows_line_ends_and_byte_order_mark(session):
    folder = session("")
    (folder / "session.toml").write_bytes('\ufeff[session]\r\nname = "shelf"\r\n'.encode())
    assert load_session_file(folder).name == "shelf"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[crystal]\nmaterail = 'TeO2'\n",
            "session.toml [crystal]: materail: unknown key; found 'TeO2'; allowed: material, ",
        ),
        (
            "[crystals]\n",
            "session.toml: crystals: unknown key; found {}; allowed: session, crystal, instrument, line, file",
        ),
        (
            "[crystal]\nmaterial = 'glass'\n",
            "material: not one of the words that are understood; found 'glass'; allowed: ",
        ),
        (
            "[crystal]\nrated_rf_power_w = '1 W'\n",
            "rated_rf_power_w: not a number; found '1 W'; allowed: a number above 0",
        ),
        (
            "[crystal]\nrated_rf_power_w = true\n",
            "rated_rf_power_w: not a number; found True; allowed: a number above 0",
        ),
        ("[crystal]\nrated_rf_power_w = nan\n", "rated_rf_power_w: not a number; found nan; allowed: a number above 0"),
        ("[crystal]\nrated_rf_power_w = 0\n", "rated_rf_power_w: out of bounds; found 0; allowed: a number above 0"),
        (
            "[instrument.counter]\ntime_base_ppm = -3\n",
            "session.toml [instrument.counter]: time_base_ppm: out of bounds; found -3",
        ),
        (
            "[instrument.meter]\n",
            "session.toml [instrument]: meter: unknown key; found {}; allowed: counter, voltmeter, scope",
        ),
        ("[session]\nname = 5\n", "session.toml [session]: name: not a text; found 5; allowed: text in"),
        (
            "crystal = 5\n",
            "session.toml [crystal]: a value where a section belongs; found '5'; allowed: a section with keys",
        ),
        ("[line]\nname = 'D'\n", "session.toml [line]: a single value where repeated sections belong"),
        ("[[line]]\nuse = 'find'\n", "session.toml [[line]] number 1: name: missing; found 'no such key'"),
        ("[[line]]\nname = 'D'\n", "session.toml [[line]] number 1: wavelength_nm: missing; found 'no such key'"),
        (
            "[[line]]\nname = 'D'\nwavelength_nm = 556.3\n",
            "medium: missing, and it decides the wavelength by 0.13 to 0.19 nm",
        ),
        (
            LINE.replace("0.1", "0"),
            "session.toml [[line]] number 1: u_wavelength_nm: out of bounds; found 0; allowed: a number above 0",
        ),
        (
            LINE + "wavelength_air_nm = 556.3\n",
            "wavelength_air_nm: contradicted by wavelength_nm or medium; found 556.3",
        ),
        (
            LINE + "use = 'ancor'\n",
            "use: not one of the words that are understood; found 'ancor'; allowed: anchor, find; write \"anchor\"",
        ),
        (LINE + LINE, "session.toml, number 2: [[line]] name stands twice; found 'D'; allowed: each once"),
        (
            "[[file]]\npath = 'vcp.csv'\npurpose = 'oscillator'\n",
            "path: no such file; found 'vcp.csv'; allowed: scan.csv, vco.csv",
        ),
        ("[[file]]\npath = '../vco.csv'\npurpose = 'keep'\n", "path: outside the session's folder; found '../vco.csv'"),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'vco'\n",
            "purpose: not one of the words that are understood; found 'vco'; allowed: oscillator",
        ),
        ("[[file]]\npath = 'vco.csv'\n", "session.toml [[file]] number 1: purpose: missing"),
        (
            LINE + "[[file]]\npath = 'scan.csv'\npurpose = 'scan'\nline = 'E'\n",
            "number 1: line: no such line; found 'E'; allowed: D; add the [[line]]",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'scan'\ndirection = 'left'\n",
            "direction: not one of the words that are understood; found 'left'",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'scan'\ncolumns = { drive_v = 3 }\n",
            "columns: not a map of columns; found {'drive_v': 3}",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\n[[file]]\npath = './vco.csv'\npurpose = 'keep'\n",
            "session.toml, number 2: [[file]] path stands twice; found 'vco.csv'",
        ),
        ('[session]\nname = "shelf\n', "session.toml:2: not TOML: Illegal character"),
        (
            "[session]\nname = shelf\n",
            "session.toml:2: not TOML: Invalid value (at line 2, column 8); found 'name = shelf'",
        ),
    ],
)
def test_what_is_refused(session, text, message):
    with pytest.raises(SessionError, match=re.escape(message)):
        load_session_file(session(text))


def test_no_session_file(tmp_path):
    message = r"no session.toml that can be read; found 'No such file.*aotf-lab new FOLDER"
    with pytest.raises(SessionError, match=message):
        load_session_file(tmp_path)


def test_another_encoding(session):
    folder = session("")
    (folder / "session.toml").write_bytes(b'[session]\nnote = "22 \xb0C"\n')
    message = r"session.toml:2: text that is not UTF-8; found 'byte 0xb0'; allowed: UTF-8"
    with pytest.raises(SessionError, match=message):
        load_session_file(folder)


def test_every_error_says_the_cure(session):
    with pytest.raises(SessionError, match="unknown key") as caught:
        load_session_file(session("[instrument.scope]\npad = 30\n"))
    assert caught.value.cure == "write pad_db if that is meant, or delete the line"
