"""The check of a session: every receipt, every contradiction with session.toml, one verdict."""

import re
import shutil
import subprocess
import sys

import numpy as np
import pytest

from aotf_lab.__main__ import main
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.reading import read_raw_file
from aotf_lab.session import check_session, open_session
from aotf_lab.session.contradictions import ReadFile
from aotf_lab.session.contradictions.scatter import against_scatter
from tests.conftest import DEMO, flat
from tests.test_reading_receipt import Tags

LINE = '[[line]]\nname = "{}"\nwavelength_nm = {}\nmedium = "air"\nu_wavelength_nm = 0.1\n'
LINES = {"D": LINE.format("D", 556.27), "E": LINE.format("E", 588.96)}
LEVEL = "Supply (V),Frequency (MHz),Level (mVrms)\n8,60,100\n9,60,120\n10,60,141\n"
SCAN = "Frequency (MHz),Diffracted (uW),Dark (uW)\n" + "".join(f"{64 + k / 20},{5 + k},2.4\n" for k in range(9))
VCO = "Drive (V),Frequency (MHz)\n1,46.9\n2,51.2\n3,54.9\n4,58.4\n"
NOT_STATED = "[amplifier]\nsupply_a = 2\n[instrument.scope]\ninput_ohm = 50\npad_db = 20\nprobe = 1\n"


@pytest.fixture
def bench(tmp_path):
    """Write a folder: ``bench(head, name=(purpose, extra, text), ...) -> folder``; ``__`` in a name is its point.

    The lines that the files name, or that are in ``stated``, are stated too.
    """

    def write(head="", stated="", **files):
        named = [n for n in LINES if n in stated or any(f'line = "{n}"' in extra for _, extra, _ in files.values())]
        text = head + "".join(LINES[n] for n in named)
        for key, (purpose, extra, content) in files.items():
            name = key.replace("__", ".") if "__" in key else f"{key}.csv"
            (tmp_path / name).write_text(content, encoding="utf-8")
            text += f'[[file]]\npath = "{name}"\npurpose = "{purpose}"\n{extra}\n'
        (tmp_path / "session.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return write


@pytest.fixture
def checked(bench):
    return lambda head="", stated="", **files: check_session(open_session(bench(head, stated, **files)))


def of(check, what):
    """Return the only contradiction that begins with ``what``."""
    (found,) = [c for c in check.contradictions if c.what.startswith(what)]
    return found


def none_of(check, what):
    return not any(c.what.startswith(what) for c in check.contradictions)


# the session as a whole


def test_the_demo_is_in_order(demo):
    check = check_session(demo)
    assert check.usable
    assert check.contradictions == ()
    assert check.suspicions == ()
    read = [f for f in demo.facts.files if f.purpose != "keep"]
    assert check.verdict == f"USABLE: {len(read)} of {len(read)} files read, 0 suspicions, 0 contradictions"
    text = str(check)
    assert text.splitlines()[-1] == check.verdict
    assert all(f"{f.path.name}: " in text for f in demo.facts.files)
    assert "lines_mistyped.csv: kept, not read" in text


def test_a_file_that_cannot_be_read_stops_nothing(checked):
    scan = 'line = "D"'
    check = checked(
        a=("scan", scan, SCAN.replace("64.1", "six")), b=("scan", scan, SCAN), c=("scan", scan, ""),
        vco=("oscillator", "", VCO),
    )  # fmt: skip
    assert [bool(f.error) for f in check.files] == [True, False, True, False]
    text = str(check)
    assert "a.csv: CANNOT BE READ\n  a.csv:4, column 'Frequency (MHz)': text in a number; found 'six'" in text
    assert text.index("a.csv: CANNOT BE READ") < text.index("b.csv: 9 rows read") < text.index("c.csv: CANNOT BE READ")
    # why is told once, the curve that lacks the file refers to it
    assert "scan of line D: a.csv cannot be read; why stands with the file" in flat(check)
    assert all(flat(check).count(f"{f.error}") == 1 for f in check.files if f.error)
    assert all("headings" not in trouble and "text in a number" not in trouble for trouble in check.troubles)
    assert check.reasons[:2] == ("a.csv cannot be read", "c.csv cannot be read")
    assert text.splitlines()[-1].startswith("UNUSABLE: a.csv cannot be read; c.csv cannot be read")
    assert "2 of 4 files read" in check.verdict


def test_a_session_without_oscillator_and_lines(checked):
    head = NOT_STATED.replace("supply_a = 2", "supply_a = 0.2")
    check = checked(head, level=("level", "", LEVEL))
    assert check.reasons == ("no oscillator, no scan and no table of lines among the files",)
    assert checked(head, level=("level", "", LEVEL), vco=("oscillator", "", VCO)).usable


def test_what_was_not_stated_is_not_called_checked(checked):
    remarks = checked(level=("level", "", LEVEL), vco=("oscillator", "", VCO)).remarks
    assert any(r.startswith("[amplifier] supply_a not stated") for r in remarks)
    assert any(r.startswith("[instrument.scope] input_ohm not stated") for r in remarks)
    assert checked(NOT_STATED, level=("level", "", LEVEL), vco=("oscillator", "", VCO)).remarks == ()


def test_a_raw_file_that_is_not_named_is_remarked(bench):
    folder = bench(vco=("oscillator", "", VCO))
    (folder / "forgotten.csv").write_text(VCO, encoding="utf-8")
    remark = "forgotten.csv lies in the folder but no [[file]] names it: not used"
    check = check_session(open_session(folder))
    assert remark in check.remarks
    assert check.usable


def test_suspicions_are_listed(checked):
    back = "Time (s),Drive (V),Frequency (MHz)\n3,1,46.9\n2,2,51.2\n1,3,54.9\n0,4,58.4\n"
    check = checked(vco=("oscillator", "", back))
    assert any("time runs backwards" in s.what for s in check.suspicions)
    assert not check.usable
    assert "Suspicions: 1\n  UNUSABLE: vco.csv:" in str(check)


# rows


def test_direction_against_the_column_of_directions(checked):
    rows = "Direction,Drive (V),Frequency (MHz)\nup,1,46.9\nup,2,51.2\ndown,1.5,49.1\n"
    check = checked(vco=("oscillator", 'direction = "up"', rows))
    found = of(check, "the rows give another direction")
    assert (found.place, found.found, found.stated) == ("vco.csv:4", "down in 1 of 3 rows", 'direction = "up"')
    assert check.files[0].receipts
    assert not check.usable


@pytest.mark.parametrize(("stated", "wrong"), [("up", False), ("down", True)])
def test_direction_against_the_way_the_readings_run(checked, stated, wrong):
    check = checked(scan=("scan", f'line = "D"\ndirection = "{stated}"', SCAN))
    assert none_of(check, "the readings run the other way") is not wrong
    assert check.usable is not wrong
    if wrong:
        found = of(check, "the readings run the other way")
        assert found.found == "8 of 8 steps of frequency_mhz upwards, from 64 to 64.4"


def test_rows_of_another_line(checked):
    text = (
        "Label,"
        + SCAN.splitlines()[0]
        + "\n"
        + "".join(f"line {'E' if k > 5 else 'D'},{row}\n" for k, row in enumerate(SCAN.splitlines()[1:]))
    )
    found = of(checked(stated="E", scan=("scan", 'line = "D"', text)), "rows of another line")
    assert (found.place, found.found, found.unusable) == ("scan.csv:8-10", "label 'line E' in 3 rows", True)
    right = text.replace("line E", "laser D")
    assert none_of(checked(stated="E", scan=("scan", 'line = "D"', right)), "rows of another line")


def test_a_scan_that_stands_still(checked):
    still = "Frequency (MHz),Diffracted (uW)\n" + "".join(f"64.00{k},{50 + k}\n" for k in range(6))
    found = of(checked(scan=("scan", 'line = "D"', still)), "a scan in which the frequency stands still")
    assert found.found == "6 rows within 5 kHz of 64.0025 MHz"
    assert none_of(checked(scan=("scan", 'line = "D"', SCAN)), "a scan in which the frequency stands still")


@pytest.mark.parametrize(("shown", "apart"), [(23.4, False), (27.5, True)])
def test_temperature(checked, shown, apart):
    text = "".join(f"{row},{shown if k else 'Temperature (degC)'}\n" for k, row in enumerate(SCAN.splitlines()))
    check = checked("[crystal]\ntemperature_c = 22\n", scan=("scan", 'line = "D"', text))
    assert none_of(check, "another temperature") is not apart
    assert check.usable


def test_rf_power_against_ratings(checked):
    # 141 mV rms behind 20 dB are 1.41 V rms, in 50 ohm U^2 / R = 39.8 mW; 0 to 10 % of it are harmonics
    rows = "Supply (V),Frequency (MHz),Level (mVrms),Efficiency (%)\n8,60,100,10\n9,60,120,14\n10,60,141,20\n"
    head = NOT_STATED.replace("supply_a", "rated_output_w = 0.03\nsupply_a") + "[crystal]\nrated_rf_power_w = 0.035\n"
    check = checked(head, eff=("efficiency", 'line = "D"', rows), vco=("oscillator", "", VCO))
    driven = of(check, "the crystal was driven above its rating")
    assert (driven.place, driven.found) == ("eff.csv:4", "0.0379 W of RF power")
    assert of(check, "more RF power than the amplifier can give").stated == "[amplifier] rated_output_w = 0.03"
    head = head.replace("0.03\n", "0.04\n").replace("0.035", "0.04")
    check = checked(head, eff=("efficiency", 'line = "D"', rows), vco=("oscillator", "", VCO))
    assert none_of(check, "the crystal was driven")
    assert none_of(check, "more RF power")


def test_an_efficiency_named_for_another_line(checked):
    rows = "Frequency (MHz),RF power (W),Efficiency (%)\n64.2,0.1,10\n64.2,0.2,19\n64.2,0.3,27\n"
    far = SCAN.replace("64.", "69.")
    check = checked(
        d=("scan", 'line = "D"', far), e=("scan", 'line = "E"', SCAN), eff=("efficiency", 'line = "D"', rows)
    )
    found = of(check, "an efficiency measured where its line was not scanned")
    assert (found.place, found.found) == ("eff.csv", "64.2 to 64.2 MHz")
    assert found.stated == 'line = "D", scanned over 69 to 69.4 MHz'
    assert found.cure == "correct line: eff.csv lies where line E was scanned"
    assert not check.usable
    right = checked(d=("scan", 'line = "D"', SCAN), eff=("efficiency", 'line = "D"', rows))
    assert none_of(right, "an efficiency measured where")
    assert none_of(checked(eff=("efficiency", 'line = "D"', rows)), "an efficiency measured where")


def test_two_scans_of_one_line_far_apart(checked):
    scan, half = 'line = "D"', SCAN.replace("64.", "64.5")
    check = checked(up=("scan", scan, SCAN), down=("scan", scan, SCAN.replace("64.", "69.")))
    found = of(check, "two scans of one line far apart")
    assert (found.place, found.found) == ("up.csv, down.csv", "64 to 64.4 MHz and 69 to 69.4 MHz")
    assert not check.usable
    assert none_of(checked(up=("scan", scan, SCAN), down=("scan", scan, half)), "two scans of one line far apart")


# above the headings


@pytest.mark.parametrize(("value", "apart"), [("E", True), ("line E", True), ("D", False), ("E-beam room", False)])
def test_a_file_that_says_its_line(checked, value, apart):
    check = checked(stated="E", scan=("scan", 'line = "D"', f"Line: {value}\n{SCAN}"))
    assert none_of(check, "the file says another line") is not apart
    assert check.usable is not apart
    if apart:
        found = of(check, "the file says another line")
        assert (found.place, found.found, found.stated) == ("scan.csv:1", f"Line = {value}", 'line = "D"')


@pytest.mark.parametrize(("value", "apart"), [("down", True), ("up", False), ("up and down", False)])
def test_a_file_that_says_its_direction(checked, value, apart):
    check = checked(scan=("scan", 'line = "D"\ndirection = "up"', f"Sweep direction: {value}\n{SCAN}"))
    assert none_of(check, "the file says the other direction") is not apart
    assert check.usable is not apart


def preamble(key, value, text=LEVEL):
    return f"Instrument,bench\n{key},{value}\n\n{text}"


SCOPE = "[instrument.scope]\npad_db = 30\nu_pad_db = 0.1\nprobe = 1\n"


@pytest.mark.parametrize(
    ("head", "key", "value", "what", "factor"),
    [
        (SCOPE, "Probe", "10X", "another probe", "a factor of 100 in RF power"),
        (SCOPE, "Probe attenuation", "10:1", "another probe", "a factor of 100 in RF power"),
        (SCOPE.replace("probe = 1", "probe = 10"), "Probe", "1x", "another probe", "a factor of 100 in RF power"),
        (SCOPE, "Attenuator", "20 dB", "another pad", "a factor of 10 in RF power"),
        (SCOPE, "Input impedance", "1 MOhm", "another termination", "a factor of 4 in RF power"),
        (SCOPE + "input_ohm = 50\n", "Impedance", "1M", "another termination", "a factor of 4 in RF power"),
        (SCOPE + "input_ohm = 1e6\n", "Coupling", "DC 50 Ohm", "another termination", "a factor of 4 in RF power"),
    ],
)
def test_what_decides_the_rf_power(checked, head, key, value, what, factor):
    check = checked(head, level=("level", "", preamble(key, value)), vco=("oscillator", "", VCO))
    found = of(check, what)
    assert found.what.endswith(factor)
    assert (found.place, found.found, found.unusable) == ("level.csv:2", f"{key} = {value}", True)
    assert check.reasons == (f"level.csv:2: {found.what}",)
    assert "layout of the file" in found.cure


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("Probe", "1x"), ("Probe", "none"), ("Attenuator", "30 dB"), ("Attenuator", "-30.1 dB"),
        ("Input impedance", "50 Ohm"), ("Coupling", "AC"), ("Coupling", "DC"), ("Input", "CH1"),
    ],
)  # fmt: skip
def test_what_agrees_is_not_spoken_of(checked, key, value):
    head = SCOPE + "input_ohm = 50\n"
    check = checked(head, level=("level", "", preamble(key, value)), vco=("oscillator", "", VCO))
    assert check.contradictions == ()


def test_a_layout_settles_the_probe(bench):
    folder = bench(
        SCOPE, level=("level", 'layout = "scope.layout.toml"', preamble("Probe", "10X")), vco=("oscillator", "", VCO)
    )
    (folder / "scope.layout.toml").write_text('[settings]\nProbe = "1"\n', encoding="utf-8")
    assert check_session(open_session(folder)).usable


def test_coupling_hides_what_is_steady(checked):
    check = checked(vco=("oscillator", "", preamble("Coupling", "AC", VCO)))
    assert of(check, "a steady voltage behind AC coupling").unusable
    check = checked(vco=("oscillator", "", preamble("Coupling", "GND", VCO)))
    assert of(check, "the input was grounded").place == "vco.csv:2"
    assert none_of(checked(vco=("oscillator", "", preamble("Coupling", "DC", VCO))), "")


@pytest.mark.parametrize(("value", "apart"), [("589 nm", False), ("590nm", False), ("0.633 um", True), ("auto", False)])
def test_wavelength_setting_of_the_power_meter(checked, value, apart):
    check = checked(scan=("scan", 'line = "E"', preamble("Wavelength setting", value, SCAN)))
    assert none_of(check, "the power meter was set to another wavelength") is not apart
    assert check.usable


@pytest.mark.parametrize(("value", "over"), [("10 uW", True), ("15 uW", False), ("auto", False), ("5 V", False)])
def test_range_of_the_power_meter(checked, value, over):
    # the highest of the nine readings is 13 uW; a fifth above the range is ordinary
    check = checked(scan=("scan", 'line = "E"', preamble("Range", value, SCAN)))
    assert none_of(check, "readings above the range") is not over
    if over:
        found = of(check, "readings above the range")
        assert (found.place, found.stated) == ("scan.csv:13", "Range = 10 uW")


# scatter


def repeats(u_khz, rng):
    """Return an oscillator file with ten readings at each of four voltages."""
    rows = [(v, 42 + 4.5 * v + 1e-3 * rng.normal(0, u_khz)) for v in (1.0, 2.0, 3.0, 4.0) for _ in range(10)]
    return "Drive (V),Frequency (MHz)\n" + "".join(f"{v},{f:.5f}\n" for v, f in rows)


METERS = "[instrument.counter]\nu_reading_khz = 4.5\n[instrument.voltmeter]\nu_reading_mv = 0.1\n"


def test_scatter_larger_than_stated(checked):
    check = checked(METERS, vco=("oscillator", "", repeats(40.0, np.random.default_rng(5))))
    found = of(check, "repeated readings of frequency_mhz scatter more than stated")
    seen = float(re.search(r"about ([0-9.]+) kHz in 20 pairs of rows", found.found)[1])
    assert 28 < seen < 52
    assert found.stated == "[instrument.counter] u_reading_khz = 4.5"
    assert check.usable


def test_scatter_as_stated_is_let_pass_as_often_as_it_should(bench):
    # 500 files at a chance of 0.002 each: more than five alarms would have a chance of 6e-4 (Poisson)
    rng = np.random.default_rng(7)
    facts = open_session(bench(METERS, vco=("oscillator", "", VCO))).facts
    (file,) = facts.files
    alarms = 0
    for _ in range(500):
        file.path.write_text(repeats(4.5, rng), encoding="utf-8")
        readings = read_raw_file(file, facts.instruments)
        alarms += len(list(against_scatter(ReadFile(file, readings, facts))))
    assert alarms <= 5


def test_the_steps_of_an_efficiency_series_are_no_scatter(checked):
    rows = "".join(f"{20 + 5 * k},64.2{k % 3},{50 + 9 * k},400\n" for k in range(10))
    scope = "[instrument.scope]\nu_reading_percent = 0.6\npad_db = 40\nprobe = 1\n"
    series = "Level (mVrms),Frequency (MHz),Diffracted (uW),Incident (uW)\n" + rows
    check = checked("[instrument.counter]\nu_reading_khz = 20\n" + scope, e=("efficiency", 'line = "E"', series))
    assert none_of(check, "repeated readings of rf_power_w")


def test_one_pair_is_judged_by_its_chi_square(checked):
    # d^2 / (2 u^2) on one degree of freedom, u = hypot(counter, slope times voltmeter) = hypot(4.5, 4.4 x 0.1) kHz
    limit_mhz = 1e-3 * (2 * chi2_limit(1) * (4.5**2 + (4.4 * 0.1) ** 2)) ** 0.5
    for factor, alarm in ((0.98, False), (1.02, True)):
        rows = f"Drive (V),Frequency (MHz)\n1,46.4\n2,50.8\n2,{50.8 + factor * limit_mhz:.6f}\n3,55.2\n"
        assert none_of(checked(METERS, vco=("oscillator", "", rows)), "repeated") is not alarm


def test_nothing_stated_nothing_contradicted(checked):
    check = checked(vco=("oscillator", "", repeats(40.0, np.random.default_rng(5))))
    assert check.contradictions == ()


# clocks


def stamped(start, rows=4, step_s=10):
    """Return an oscillator file whose clock begins at ``start`` (minutes after nine, or a whole stamp)."""
    day, clock = start.split(" ")
    hour, minute = map(int, clock.split(":"))
    stamps = [f"{day} {hour:02d}:{minute + k * step_s // 60:02d}:{k * step_s % 60:02d}" for k in range(rows)]
    return "Time,Drive (V),Frequency (MHz)\n" + "".join(
        f"{s},{1 + k},{46.9 + 4 * k}\n" for k, s in enumerate(stamps)
    )  # fmt: skip


def test_order_of_the_files(checked):
    first, second = stamped("2031-03-14 09:15"), stamped("2031-03-14 09:40")
    check = checked(a=("oscillator", "", second), b=("oscillator", "", first))
    assert of(check, "measured in another order than listed").place == "a.csv, b.csv"
    assert none_of(checked(a=("oscillator", "", first), b=("oscillator", "", second)), "")


def test_two_files_at_the_same_time(checked):
    check = checked(
        a=("oscillator", "", stamped("2031-03-14 09:15", 20)), b=("oscillator", "", stamped("2031-03-14 09:17"))
    )
    assert of(check, "two files written at the same time").place == "a.csv, b.csv"


def test_another_day(checked):
    check = checked(
        '[session]\nname = "warm run 2031-03-14"\n',
        a=("oscillator", "", stamped("2031-03-14 09:15")), b=("oscillator", "", stamped("2031-03-17 09:15")),
    )  # fmt: skip
    assert of(check, "files more than a day apart").place == "a.csv, b.csv"
    found = of(check, "written on another day")
    assert (found.place, found.stated) == ("b.csv", "[session] name: warm run 2031-03-14")


def test_another_day_than_the_date_of_the_session(checked):
    own = stamped("2031-03-14 09:15")
    found = of(checked("[session]\ndate = 2032-03-14\n", a=("oscillator", "", own)), "written on another day")
    assert (found.place, found.stated) == ("a.csv", "[session] date: 2032-03-14")
    assert none_of(checked("[session]\ndate = 2031-03-14\n", a=("oscillator", "", own)), "")


# lines


def demo_with(tmp_path, edit):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    text = (folder / "session.toml").read_text(encoding="utf-8")
    (folder / "session.toml").write_text(edit(text), encoding="utf-8")
    return folder


def test_a_scan_of_another_line(tmp_path):
    def exchange(text):
        return text.replace("scan_A_", "scan_X_").replace("scan_C_", "scan_A_").replace("scan_X_", "scan_C_")

    check = check_session(open_session(demo_with(tmp_path, exchange)))
    far = [c for c in check.contradictions if c.what.startswith("a scan far from")]
    assert [c.place for c in far] == ["scan_C_up.csv", "scan_C_down.csv", "scan_A_up.csv", "scan_A_down.csv"]
    assert "(nearest is A)" in far[2].cure or "(nearest is C)" in far[2].cure
    assert none_of(check, "a line found far from its label")


def test_a_mistyped_wavelength(tmp_path):
    folder = demo_with(tmp_path, lambda t: t.replace("wavelength_nm = 588.96", "wavelength_nm = 598.96"))
    check = check_session(open_session(folder))
    found = of(check, "a line does not fit the others")
    assert "E (" in found.found
    assert "588." in found.found


def test_a_line_without_a_file(tmp_path):
    def edit(text):
        kept = re.sub(r'(path = "scan_D_(?:up|down).csv"\npurpose = )"scan"\nline = "D"', r'\1"keep"', text)
        return kept + '[[line]]\nname = "H"\nuse = "find"\n'

    check = check_session(open_session(demo_with(tmp_path, edit)))
    missing = [c.stated for c in check.contradictions if c.what == "a line of which there is no file"]
    assert missing == ['[[line]] "D", use = "anchor"', '[[line]] "H", use = "find"']
    assert check.usable


def test_two_scans_of_one_line(tmp_path):
    folder = demo_with(tmp_path, lambda t: t)
    for way in ("up", "down"):
        shutil.copy(folder / f"scan_E_{way}.csv", folder / f"scan_D_{way}.csv")
    check = check_session(open_session(folder))
    assert of(check, "two lines at one frequency").place == "scans of lines D and E"
    assert of(check, "two lines at one frequency").stated == "556.27 nm and 588.96 nm"


def test_two_rows_of_a_table_of_lines(checked):
    table = "Label,Wavelength in air (nm),u (nm),Frequency (MHz),u (kHz)\n"
    rows = "D,556.27,0.1,69.742,4\nE,588.96,0.1,69.742,4\nG,671.10,0.1,54.81,4\n"
    found = of(checked(lines=("lines", "", table + rows)), "two lines at one frequency")
    assert found.place == "lines.csv:2, lines.csv:3"


# the command line


def test_exit_codes(bench, capsys):
    folder = bench(NOT_STATED, vco=("oscillator", "", VCO))
    assert main(["check", str(folder)]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("USABLE: 1 of 1 files read")
    (folder / "vco.csv").write_text("", encoding="utf-8")
    assert main(["check", str(folder)]) == 1
    assert capsys.readouterr().out.splitlines()[-1].startswith("UNUSABLE: vco.csv cannot be read")
    (folder / "session.toml").write_text("[session\n", encoding="utf-8")
    assert main(["check", str(folder)]) == 1
    assert capsys.readouterr().err.startswith("aotf-lab: session.toml:1: not TOML")


@pytest.mark.parametrize(
    "arguments", [["check"], ["check", "a", "b"], ["check", "a", "--html", "a.pdf"], ["layout", "a"]]
)
def test_wrong_usage(arguments, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(arguments)
    assert "usage: aotf-lab" in capsys.readouterr().err


def test_the_page_holds_what_the_text_holds(bench, tmp_path, capsys):
    folder = bench(SCOPE, level=("level", "", preamble("Probe", "10X")), bad=("scan", 'line = "D"', "<b>\n1\n"))
    out = tmp_path / "check.html"
    assert main(["check", str(folder), "--html", str(out)]) == 1
    verdict = capsys.readouterr().out.splitlines()[-1]
    page = Tags(out.read_text(encoding="utf-8"))
    words = " ".join(page.words)
    assert verdict in page.words
    assert "bad.csv: CANNOT BE READ" in words
    assert "makes the session unusable" in words
    assert "another probe, a factor of 100 in RF power" in words
    assert [attrs["lang"] for tag, attrs in page.tags if tag == "html"] == ["en"]
    assert not any({"src", "href"} & set(attrs) for _, attrs in page.tags)
    tables = sum(tag == "table" for tag, _ in page.tags)
    assert tables == sum(tag == "caption" for tag, _ in page.tags) >= 2


def test_the_page_never_replaces_a_raw_file(bench, capsys):
    folder = bench(vco__html=("oscillator", "", VCO))
    assert main(["check", str(folder), "--html", str(folder / "vco.html")]) == 1
    assert "an output would overwrite a file of the session" in capsys.readouterr().err
    assert (folder / "vco.html").read_text(encoding="utf-8") == VCO


def test_a_layout_is_written_and_makes_the_next_reading_one_call(bench, capsys):
    text = "Set;Counter (kHz)\n1,5;46912,25\n2,25;51204,5\n"
    folder = bench(vco=("oscillator", "", text.replace("Set", "Set (V)")))
    out = folder / "vco.layout.toml"
    (folder / "vco.csv").write_text(text.replace("Set", "Drive (V)"), encoding="utf-8")
    assert main(["layout", str(folder / "vco.csv"), "--out", str(out)]) == 0
    assert "vco.csv: 2 rows read" in capsys.readouterr().out
    written = out.read_text(encoding="utf-8")
    assert 'separator = "semicolon"' in written
    toml = folder / "session.toml"
    toml.write_text(
        toml.read_text("utf-8").replace('"oscillator"\n', '"oscillator"\nlayout = "vco.layout.toml"\n'), "utf-8"
    )
    (receipt,) = open_session(folder).readings("oscillator").receipts
    assert receipt.rows == 2
    assert main(["layout", str(folder / "vco.csv"), "--out", str(out)]) == 1
    assert "a file of that name is already there" in capsys.readouterr().err
    assert out.read_text(encoding="utf-8") == written


def test_a_layout_under_another_ending_is_wrong_usage(bench, capsys):
    folder = bench(vco=("oscillator", "", VCO))
    with pytest.raises(SystemExit, match="2"):
        main(["layout", str(folder / "vco.csv"), "--out", str(folder / "vco.csv")])
    assert "allowed is a name that ends in .layout.toml" in capsys.readouterr().err
    assert main(["layout", str(folder / "none.csv"), "--out", str(folder / "a.layout.toml")]) == 1
    assert not (folder / "a.layout.toml").exists()


def test_a_reader_of_the_head_alone_is_no_error(tmp_path):
    command = f"{sys.executable} -m aotf_lab check {DEMO} 2> {tmp_path / 'errors'} | head -n 1"
    shown = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=False)
    assert shown.stdout == "vco_warm.csv: 34 rows read, 0 rejected\n"
    assert (tmp_path / "errors").read_text() == ""


def test_a_layout_knows_the_purpose_of_the_file(tmp_path, capsys):
    raw, out = tmp_path / "volts.csv", tmp_path / "volts.layout.toml"
    raw.write_text("Voltage (V),Frequency (MHz)\n1.0,45.783\n2.0,50.541\n3.0,54.902\n", encoding="utf-8")
    assert main(["layout", str(raw), "--out", str(tmp_path / "plain.layout.toml")]) == 0
    assert "drive_v" not in (tmp_path / "plain.layout.toml").read_text(encoding="utf-8").split("[columns]")[1]
    assert main(["layout", str(raw), "--purpose", "oscillator", "--out", str(out)]) == 0
    assert 'drive_v = { headings = "Voltage (V)"' in out.read_text(encoding="utf-8")
    with pytest.raises(SystemExit, match="2"):
        main(["layout", str(raw), "--purpose", "holiday", "--out", str(out)])
    assert "--purpose holiday: allowed are oscillator, scan" in capsys.readouterr().err
