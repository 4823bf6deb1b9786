"""session.toml: what is refused, and in which words."""

import re
from pathlib import Path

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.reading import Scope, load_session_file
from tests.test_reading_session_file import LINE, session_folder


@pytest.fixture
def session(tmp_path):
    return lambda text: session_folder(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[crystal]\nmaterail = 'TeO2'\n",
            "session.toml [crystal]: materail: unknown key; found 'TeO2'; allowed: material, ",
        ),
        (
            LINE + "[[play]]\nlines = ['D', 'park']\ndwell_us = [50]\n",
            "session.toml [[play]] number 1: dwell_us: another number of dwells than of lines; found [50]; "
            "allowed: a list of 2, or one number for all, without brackets",
        ),
        (
            "[crystals]\n",
            "session.toml: crystals: unknown key; found {}; allowed: session, crystal, instrument, amplifier, line, ",
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
        ("[[line]]\nuse = 'find'\n", "session.toml [[line]] number 1: name: missing; found no such key"),
        ("[[line]]\nname = 'D'\n", "session.toml [[line]] number 1: wavelength_nm: missing; found no such key"),
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
        (
            LINE.replace("556.27", "0.58896"),
            "session.toml [[line]] number 1: wavelength_nm: outside 150 to 20000 nm: looks like um; found 0.58896 nm; "
            "allowed: 150 to 20000 nm; write it in nm: 588.96",
        ),
        (
            LINE.replace("556.27", "5889.6"),
            "session.toml [[line]] number 1: wavelength_nm: far outside 400 to 1000 nm of TeO2: looks like Angstrom; "
            "found 5889.6 nm; allowed: 150 to 20000 nm; write it in nm: 588.96",
        ),
        (
            "[[line]]\nname = 'D'\nuse = 'find'\nwavelength_air_nm = 0.64\n",
            "wavelength_air_nm: outside 150 to 20000 nm: looks like um; found 0.64 nm",
        ),
        (
            LINE.replace("556.27", "25000"),
            "wavelength_nm: outside 150 to 20000 nm: looks like Angstrom; found 25000 nm",
        ),
        (
            LINE.replace("556.27", "5.5627e-7"),
            "wavelength_nm: outside 150 to 20000 nm: looks like m; found 5.5627e-07 nm; allowed: 150 to 20000 nm; ",
        ),
        (
            LINE + "[[file]]\npath = 'scan.csv'\npurpose = 'scan'\n",
            "session.toml [[file]] number 1: line: missing, and scan.csv is for scan, which is of one line; "
            'found no such key; allowed: D; add line = "D" to the [[file]] of scan.csv',
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'efficiency'\n",
            "line: missing, and vco.csv is for efficiency, which is of one line; found no such key; "
            "allowed: the name of a [[line]]; add line = ",
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
        (
            "[amplifier]\nsupply_a = 0\n",
            "session.toml [amplifier]: supply_a: out of bounds; found 0; allowed: a number above 0",
        ),
        ("[amplifier]\ngain_db = 40\n", "session.toml [amplifier]: gain_db: unknown key; found 40; allowed: supply_a,"),
        (
            "[instrument.scope]\ninput_ohm = 75\n",
            "session.toml [instrument.scope]: input_ohm: another number; found 75; allowed: 50 or 1e+06",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nsecond_layout = 'none.layout.toml'\n",
            "[[file]] number 1: second_layout: no such file; found 'none.layout.toml'",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nmax_offset_s = 5\n",
            "max_offset_s: stated without second_log; found 5; allowed: with second_log only",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'oscillator'\ncounter_mhz = 64.2\n",
            'counter_mhz: stated for a file with purpose oscillator; found 64.2; allowed: purpose = "trace"',
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'match'\ndirectivity_db = -3\n",
            "directivity_db: out of bounds; found -3; allowed: a number of at least 0",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nlayout = 'none.layout.toml'\n",
            "[[file]] number 1: layout: no such file; found 'none.layout.toml'; allowed: a file beside session.toml",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nlayout = '../other.layout.toml'\n",
            "layout: outside the session's folder; found '../other.layout.toml'",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'keep'\nlayout = 'scan.csv'\n",
            "session.toml [[file]] number 1, layout: scan.csv:1: not TOML: ",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'scan'\nsecond_log = 'scan.csv'\n",
            "tolerance_s: missing, and second_log is joined by time; found no such key; allowed: seconds above 0",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'scan'\ntolerance_s = 0.5\n",
            "tolerance_s: stated without second_log; found 0.5; allowed: with second_log only",
        ),
        (
            "[[file]]\npath = 'vco.csv'\npurpose = 'scan'\nblock_s = -1\n",
            "block_s: out of bounds; found -1; allowed: a number above 0",
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
    message = r"no session.toml that can be read; found No such file.*aotf-lab new FOLDER"
    with pytest.raises(SessionError, match=message):
        load_session_file(tmp_path)


def test_another_encoding(session):
    folder = session("")
    (folder / "session.toml").write_bytes(b'[session]\nnote = "22 \xb0C"\n')
    message = r"session.toml:2: text that is not UTF-8; found byte 0xb0; allowed: UTF-8"
    with pytest.raises(SessionError, match=message):
        load_session_file(folder)


def test_every_error_says_the_cure(session):
    with pytest.raises(SessionError, match="unknown key") as caught:
        load_session_file(session("[instrument.scope]\npad = 30\n"))
    assert caught.value.cure == "write pad_db if that is meant, or delete the line"


def test_another_file_is_no_session(session):
    with pytest.raises(
        SessionError, match=r"vco.csv: no session.toml that can be read; found Not a directory; allowed"
    ):
        load_session_file(session("") / "vco.csv")


def test_a_file_to_keep_that_cannot_be_opened(session, monkeypatch):
    folder = session('[[file]]\npath = "scan.csv"\npurpose = "keep"\n')
    read = Path.read_bytes

    def refused(path):
        if path.name == "scan.csv":
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(
        SessionError, match=r"session.toml, scan.csv: a file to keep .*; found Permission denied; allowed"
    ):
        load_session_file(folder)


def test_a_scope_input_that_is_neither_terminated_nor_open():
    with pytest.raises(
        SessionError, match=r"Scope input_ohm; found 75; allowed: 50 or 1e\+06; correct it, or leave it"
    ):
        Scope(input_ohm=75)
