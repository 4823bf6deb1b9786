"""The checklist before RF goes on: its numbers, its verdicts, and that it never says more than is safe."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.__main__ import main
from aotf_lab.errors import SessionError
from aotf_lab.report.preflight import preflight, write_preflight
from aotf_lab.session import open_session
from aotf_lab.simulate import SKERRY
from aotf_lab.simulate.amplifier import true_rf_power
from tests.conftest import DEMO
from tests.test_report import Page

STATED = {
    "crystal": {"rated_rf_power_w": 0.8, "peak_rf_power_w": 2.0, "duty_limit": 0.3},
    "instrument.counter": {"pad_db": 40.0, "input_ohm": 50.0, "max_input_vrms": 1.0},
    "instrument.scope": {"max_input_vrms": 5.0, "pad_rated_w": 2.5, "load_rated_w": 4.5},
    "instrument.power_meter": {"max_power_mw": 50.0},
    "amplifier": {"supply_a": 0.5, "rated_output_w": 1.5},
    "oscillator": {"input_min_v": 0.0, "input_max_v": 15.0, "input_ohm": 1000.0, "supply_v": 12.5},
    "generator": {"max_output_v": 10.0, "low_limit_v": 0.0},
}


def with_key(text, section, key, value):
    """Return session.toml with the key set to ``value`` in ``[section]``, or without it for None."""
    parts = re.split(r"(?m)^(?=\[)", text)
    head = f"[{section}]\n"
    place = next((k for k, part in enumerate(parts) if part.startswith(head)), None)
    if place is None:
        parts.insert(1, f"{head}\n")
        place = 1
    body = re.sub(rf"(?m)^{key} *=.*\n", "", parts[place].removeprefix(head))
    line = "" if value is None else f"{key} = {value}\n"
    parts[place] = f"{head}{line}{body}"
    return "".join(parts)


def bench(tmp_path, changes=(), text=None):
    """Return a copy of the demo session with everything in ``STATED``, and then the changes (section, key, value)."""
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    content = (folder / "session.toml").read_text(encoding="utf-8")
    scan = r'(?m)^\[\[file\]\]\npath = "[^"]+"\npurpose = "scan"\n(?:.+\n)*'
    content = re.sub(scan, "", content)  # no light is needed here, and it takes time
    stated = [(section, key, value) for section, keys in STATED.items() for key, value in keys.items()]
    for change in (*stated, *changes):
        content = with_key(content, *change)
    (folder / "session.toml").write_text(text(content) if text else content, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def stated(tmp_path_factory):
    return preflight(open_session(bench(tmp_path_factory.mktemp("stated"))))


def verdict(tmp_path, *changes, text=None):
    return preflight(open_session(bench(tmp_path, changes, text))).verdict


def part(found, name):
    return next(row for row in found.parts if row[0] == name)


def limit(found, name):
    return next(row for row in found.limits if row[0] == name)


def numbers(text, unit):
    """Return every number of the text that stands before the unit."""
    return [float(n) for n in re.findall(rf"(-?\d+(?:\.\d+)?)(?:\(\d+\))? {unit}\b", text)]


def test_verdict_stands_on_the_first_line_and_nothing_is_missing(stated):
    assert str(stated).splitlines()[0] == stated.verdict
    assert stated.may_switch_on
    assert re.fullmatch(
        r"NO OBJECTION: up to \d+\.\d\d V of supply the crystal stays below 0.8 W, and every part within its limit",
        stated.verdict,
    )
    assert stated.missing == ()


def test_volts_and_watts_by_hand(stated):
    # definitions: U = sqrt(P R), a pad of A dB divides U by 10^(A/20), Vpp = 2 sqrt 2 Vrms; P = 0.8 W, R = 50 ohm
    line = (0.8 * 50) ** 0.5
    for name, db in (("scope input", 30), ("counter input", 40)):
        volts = line / 10 ** (db / 20)
        expected = [volts, 2 * 2**0.5 * volts, 1e3 * volts**2 / 50]
        shown = [float(n) for n in re.findall(r"([\d.]+) (?:Vrms|Vpp|mW)", part(stated, name)[1])]
        assert shown == pytest.approx(expected, rel=0.005)
    assert numbers(part(stated, "pad")[1], "W") == pytest.approx([0.8 * (1 - 1e-3)], abs=6e-4)
    assert numbers(part(stated, "dummy load")[1], "W") == pytest.approx([0.8], abs=6e-4)
    # a generator of 50 ohm (common practice) into 1 kohm
    assert numbers(part(stated, "oscillator input (generator), highest")[1], "V") == pytest.approx(
        [10 / 1.05], abs=6e-3
    )
    assert f"{2 * line:.3g} Vrms instead of {line:.3g}" in stated.load[0]


def test_strongest_beam_and_control_volts_are_those_of_the_files(stated):
    def largest(pattern, column):
        tables = [p.read_text("utf-8").splitlines() for p in DEMO.glob(pattern)]
        rows = [line.split(",") for lines in tables for line in lines if not line.startswith("#")]
        heads = [k for k, row in enumerate(rows) if column in row]
        at = rows[heads[0]].index(column)
        return max(float(row[at]) for k, row in enumerate(rows) if k not in heads)

    beam = largest("efficiency_*.csv", "Incident (uW)") / 1e3
    assert numbers(part(stated, "power meter head")[1], "mW") == pytest.approx([beam], rel=0.005)
    control = largest("vco_warm.csv", "Drive voltage (V)")
    assert numbers(part(stated, "oscillator input, highest")[1], "V") == pytest.approx([control], rel=0.005)


def test_both_supplies_hold_against_the_truth_of_the_bench(stated):
    highest, first = (numbers(limit(stated, name)[1], "V")[0] for name in ("Highest supply", "First supply"))
    band = np.linspace(44, 96, 521)
    assert 0.5 * 0.8 < np.max(true_rf_power(highest, band)) < 0.8
    assert np.max(true_rf_power(first, band)) == pytest.approx(0.08, rel=0.15)
    hottest = numbers(limit(stated, "Hottest frequency")[1], "MHz")[0]
    assert float(true_rf_power(highest, hottest)) > 0.98 * np.max(true_rf_power(highest, band))


def test_no_supply_and_no_power_above_the_safe_one(stated, demo):
    for found in (stated, preflight(demo)):
        text = str(found)
        highest = numbers(limit(found, "Highest supply")[1], "V")[0]
        drives = re.sub(r"(?m)^ +(oscillator input|RF power, peak| pad | dummy load).*$", "", text)
        drives = re.sub(r"\d+\.?\d* W of heat|, \d+\.?\d* V supply|  [\d.]+ W +within", "", drives)
        assert len(numbers(drives, "V")) >= 4
        assert max(numbers(drives, "V")) <= highest
        assert len(numbers(drives, "W")) >= 4
        assert max(numbers(drives, "W")) <= 0.8


def test_steps_name_the_volts_in_the_safe_order(stated):
    steps = "\n".join(stated.on)
    words = (
        "Load tight",
        "30 dB pad before the scope",
        "Amplifier supply",
        "Oscillator on",
        "Counter on",
        "RF:",
        "Raise",
    )
    order = [steps.index(w) for w in words]
    assert order == sorted(order)
    assert limit(stated, "First supply")[1] in stated.on[5]
    assert f"Never above {limit(stated, 'Highest supply')[1]}" in stated.on[6]
    assert "current limit at 0.5 A" in stated.on[2]
    assert "12.5 V supply" in stated.on[3]
    # by hand: 0.08 W in 50 ohm is 2 Vrms, behind 30 dB 0.063 Vrms
    assert "about 0.063 Vrms" in stated.on[5]
    off = "\n".join(stated.off)
    assert off.index("RF:") < off.index("Supplies off") < off.index("unplug")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("instrument.scope", "max_input_vrms", 0.1), r"scope input would be damaged by 0.2 Vrms \(it may take 0.1"),
        (("instrument.counter", "pad_db", 0.0), r"counter input would be damaged by 6.32 Vrms \(it may take 1 Vrms\)"),
        (("instrument.scope", "pad_rated_w", 0.5), r"pad would be damaged \(it may take 0.5 W\)"),
        (("instrument.scope", "load_rated_w", 0.25), r"dummy load would be damaged \(it may take 0.25 W\)"),
        (("instrument.power_meter", "max_power_mw", 2.0), r"power meter head would be damaged by 2.92 mW \(it may"),
        (("oscillator", "input_max_v", 12.0), r"oscillator input would be damaged by 13.9 V \(it may take 12 V\)"),
        (("generator", "low_limit_v", None),
         r"oscillator input \(generator\) would be damaged by -9.52 V \(it may take 0 V or more\)"),
    ],
)  # fmt: skip
def test_the_part_that_would_be_damaged_is_named_first(tmp_path, change, words):
    found = preflight(open_session(bench(tmp_path, [change])))
    assert re.match(f"DO NOT SWITCH ON: {words}", found.verdict)
    assert not found.may_switch_on
    assert found.parts[0][3] == "BEYOND"
    assert sum(row[3] == "BEYOND" for row in found.parts) == 1
    assert found.on[0].startswith("NOT YET")


def test_volts_that_cannot_be_told_from_the_limit(tmp_path):
    top = float(open_session(DEMO).readings("oscillator").table["drive_v"].max())
    changes = [
        ("oscillator", "input_max_v", round(top - 0.008, 3)), ("instrument.voltmeter", "u_reading_mv", 10.0),
        ("instrument.voltmeter", "gain_percent", 0.0), ("instrument.voltmeter", "offset_mv", 0.0),
    ]  # fmt: skip
    found = preflight(open_session(bench(tmp_path, changes)))
    assert found.may_switch_on
    assert "AT ITS LIMIT, see Beware: oscillator input; " in found.verdict
    assert found.parts[0][3] == "AT THE LIMIT"
    # by hand: 8 mV above, k = 2 is 20 mV
    stay = f"from now on set {top - 0.028:.3f} V or less."
    assert any("oscillator input was at its limit" in line and line.endswith(stay) for line in found.warnings)


def test_an_unknown_voltmeter_excuses_nothing(tmp_path):
    top = float(open_session(DEMO).readings("oscillator").table["drive_v"].max())
    keys = ("u_reading_mv", "gain_percent", "offset_mv")
    limit = round(top - 0.001, 3)
    changes = [("oscillator", "input_max_v", limit), *(("instrument.voltmeter", key, None) for key in keys)]
    words = preflight(open_session(bench(tmp_path, changes))).verdict
    assert words.startswith("DO NOT SWITCH ON: oscillator input would be damaged by")
    taken, allowed = re.search(r"damaged by (\S+) V \(it may take (\S+) V\)", words).groups()
    assert float(taken) > float(allowed)  # in the digits that are shown, too


def test_a_generator_below_zero_is_said_with_its_cure(tmp_path):
    found = preflight(open_session(bench(tmp_path, [("generator", "low_limit_v", None)])))
    assert any("-9.52 V can reach it" in line and "Set limits" in line for line in found.warnings)


def test_a_scope_without_a_pad_is_damaged(tmp_path):
    # by hand: the 1.5 W that the amplifier is rated for make sqrt(1.5 x 50) = 8.66 Vrms; the usual 50 ohm input takes 5
    changes = [("instrument.scope", "pad_db", 0.0), ("instrument.scope", "max_input_vrms", None)]
    found = preflight(open_session(bench(tmp_path, changes)))
    assert re.match(
        r"DO NOT SWITCH ON: scope input would be damaged by 8.66 Vrms \(it may take 5 Vrms \(as", found.verdict
    )
    # ... and a level that was read without its pad calls any supply safe: that is withheld too
    power = true_rf_power(11.0, 64.2) / 1000  # at the frequency of the run; 30 dB is a factor of 1000
    share = float(re.search(r"turns only (\S+) % of its DC into RF: look at pad_db, probe", found.verdict)[1])
    current = SKERRY.amplifier.quiescent_a + SKERRY.amplifier.current_a_per_root_w * (1000 * power) ** 0.5
    assert share == pytest.approx(100 * power / (11.0 * current), rel=0.12)  # 3 % of gain and 4 % of fall in the scope
    assert limit(found, "Highest supply")[1] == "withheld"


def without_current(text):
    """Return session.toml with the column of the supply's current passed over."""
    place = 'path = "supply_to_power.csv"'
    return text.replace(place, f'columns = {{ not_used = "Supply current (A)" }}\n{place}')


def test_a_scale_far_below_the_rated_output_is_not_believed(tmp_path):
    changes = [("instrument.scope", "pad_db", 0.0), ("amplifier", "supply_a", None)]
    found = preflight(open_session(bench(tmp_path, changes, without_current))).verdict
    share = float(re.search(r"gives only (\S+) % of its rated output at 11 V: look", found)[1])
    assert share == pytest.approx(100 * true_rf_power(11.0, 64.2) / 1000 / 1.5, rel=0.12)  # 30 dB is a factor of 1000


def test_heat_is_bounded_where_no_current_was_noted(tmp_path):
    found = preflight(open_session(bench(tmp_path, [], without_current)))
    supply = numbers(limit(found, "Highest supply")[1], "V")[0]
    assert numbers(limit(found, "Heat of the amplifier")[1], "W") == pytest.approx([supply * 0.5], rel=0.02)
    assert limit(found, "Heat of the amplifier")[2] == "at most: all of 0.5 A at the highest supply"


def test_what_holds_only_as_long_as_the_supply_is_not_turned_up(tmp_path):
    # by hand: the pad keeps 0.7992 W at the limit, and the amplifier is rated for 1.5 W
    found = preflight(open_session(bench(tmp_path, [("instrument.scope", "pad_rated_w", 1.0)])))
    assert part(found, "pad")[3] == "within; BEYOND if the supply goes higher"
    assert found.may_switch_on


@pytest.mark.parametrize(
    ("changes", "name", "takes", "verdict"),
    [
        ([("instrument.scope", "input_ohm", None)], "scope input", r"up to 0.4 Vrms, 1.13 Vpp .*perhaps", "within"),
        ([("instrument.scope", "input_ohm", None), ("instrument.scope", "max_input_vrms", 0.3)],
         "scope input", "up to 0.4 Vrms", "not stated"),
        ([("instrument.counter", "pad_db", None)], "counter input", r"up to 6.32 Vrms, 17.9 Vpp", "not stated"),
        ([("instrument.counter", "pad_db", None), ("instrument.counter", "max_input_vrms", 10.0)],
         "counter input", "up to 6.32 Vrms", "within"),
        ([("instrument.counter", "input_ohm", "1e6")], "counter input", "0.126 Vrms, 0.358 Vpp", "within"),
        ([("instrument.counter", "max_input_vrms", None)], "counter input", "0.0632 Vrms", "not stated"),
        ([("instrument.scope", "pad_rated_w", None)], "pad", "0.799 W", "not stated"),
    ],
)  # fmt: skip
def test_what_is_not_stated_is_bounded_both_ways(tmp_path, changes, name, takes, verdict):
    found = preflight(open_session(bench(tmp_path, changes)))
    row = part(found, name)
    assert re.match(takes, row[1])
    assert row[3].split(";")[0] == verdict
    if verdict == "not stated":
        assert found.verdict.endswith(f"what these may take is not stated: {name}")


@pytest.mark.parametrize(
    ("changes", "edit", "why"),
    [
        ([("crystal", "rated_rf_power_w", None)], None, r"\[crystal\] rated_rf_power_w is not stated"),
        ([("instrument.scope", "pad_db", None)], None, r"\[instrument.scope\] pad_db not stated: RF power may be"),
        ([("instrument.scope", "probe", None)], None, r"\[instrument.scope\] probe not stated: RF power may be wrong"),
        ([], lambda t: t.replace('purpose = "level"', 'purpose = "keep"'), r"RF power against the supply was not"),
        ([("crystal", "rated_rf_power_w", 0.001)], None, r"no supply can be called safe: no measured supply keeps"),
        ([], lambda t: t.replace('path = "supply_to_power.csv"\npurpose = "level"',
                                 'path = "supply_to_power.csv"\npurpose = "keep"'),
         r"no supply can be called safe: too few different supplies at one frequency; measure power against supply"),
    ],
)  # fmt: skip
def test_a_supply_that_cannot_be_called_safe_is_withheld(tmp_path, changes, edit, why):
    found = preflight(open_session(bench(tmp_path, changes, edit)))
    assert re.match(f"DO NOT SWITCH ON: the crystal's limit could be exceeded: {why}", found.verdict)
    assert limit(found, "Highest supply")[1] == "withheld"
    assert any(step.startswith("STOP HERE") for step in found.on)
    power = re.sub(r"(?m)^ +(RF power, |oscillator input).*$|may take.*$|  [\d.]+ W +\S+$", "", str(found))
    assert numbers(power, "W") == []
    assert numbers(re.sub(r", [\d.]+ V supply|: 0 V assumed", "", power), "V") == []


def test_a_level_file_that_cannot_be_read_withholds_the_supply(tmp_path):
    folder = bench(tmp_path)
    (folder / "level_over_band.csv").write_text("Supply (V),Counter (MHz),Scope (Vrms)\n8,44,six\n", encoding="utf-8")
    assert "level_over_band.csv cannot be read" in preflight(open_session(folder)).verdict


def test_a_session_with_nothing_stated(tmp_path):
    (tmp_path / "session.toml").write_text("", encoding="utf-8")
    found = preflight(open_session(tmp_path))
    assert found.verdict.startswith(
        "DO NOT SWITCH ON: the crystal's limit could be exceeded: [crystal] rated_rf_power_w"
    )
    assert {row[3] for row in found.parts} == {"not stated"}
    keys = " ".join(keys for keys, _ in found.missing)
    for section, names in STATED.items():
        for key in set(names) - {"duty_limit", "input_ohm", "low_limit_v"}:
            assert f"[{section}] {key}" in keys
    assert "None" not in str(found)
    assert "nan" not in str(found).lower().split()


def test_limits_of_pulses_are_stated_apart(stated, tmp_path):
    # by hand: 0.8 W of 2 W is a duty of 40 %, and 30 % is stated
    assert limit(stated, "RF power, peak")[1:] == ("2 W", "stated, in pulses only: duty up to 30 %, as stated")
    found = preflight(open_session(bench(tmp_path, [("crystal", "duty_limit", None)])))
    assert "duty up to 40 %, so that the average holds" in limit(found, "RF power, peak")[2]
    assert limit(found, "Highest supply") == limit(stated, "Highest supply")


def test_readings_above_the_safe_supply_are_named(tmp_path):
    found = preflight(open_session(bench(tmp_path, [("crystal", "rated_rf_power_w", 0.4)])))
    assert "not to be repeated: efficiency_" in found.warnings[0]


def test_page_is_well_formed_escaped_and_needs_nothing_else(tmp_path):
    folder = bench(tmp_path, [("session", "name", '"<b>shelf</b> & \\"Co\\""'), ("generator", "low_limit_v", None)])
    found = write_preflight(open_session(folder), tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    page = Page(text)
    assert page.open == []
    assert page.links == []
    assert not re.search(r"<script|url\(|@import|<b>", text)
    assert "&lt;b&gt;shelf&lt;/b&gt; &amp; &#34;Co&#34;" in text
    assert text.index(found.verdict) < text.index("<h1>")
    assert text.count('class="tick"') == len(found.on) + len(found.off) + len(found.cautions) + 1
    assert found.name == '<b>shelf</b> & "Co"'


def test_names_of_files_are_escaped_wherever_they_stand(stated):
    bad = "level<i>&.csv"
    found = replace(
        stated, verdict=bad, limits=((bad,) * 3,), parts=((bad,) * 4,), warnings=(bad,), load=(bad,), on=(bad,),
        off=(bad,), cautions=(bad,), missing=((bad, bad),),
    )  # fmt: skip
    assert "<i>" not in found.html()
    assert found.html().count("level&lt;i&gt;&amp;.csv") == 1 + 3 + 4 + 5 + 2


def test_page_says_what_the_text_says(stated):
    page = re.sub(r"<[^>]+>", " ", stated.html())
    for row in (*stated.limits, *stated.parts):
        for cell in row:
            assert cell.replace("'", "&#39;") in page


def test_exit_codes_and_first_line(tmp_path, capsys):
    assert main(["preflight", str(DEMO), "--out", str(tmp_path / "page.html")]) == 0
    assert capsys.readouterr().out.startswith("NO OBJECTION: ")
    assert (tmp_path / "page.html").read_text(encoding="utf-8").endswith("</html>\n")
    folder = bench(tmp_path, [("instrument.scope", "pad_rated_w", 0.5)])
    assert main(["preflight", str(folder)]) == 1
    assert capsys.readouterr().out.startswith("DO NOT SWITCH ON: pad would be damaged")
    assert main(["preflight", str(tmp_path / "nowhere")]) == 1
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "no session.toml that can be read" in shown.err
    with pytest.raises(SystemExit, match="2"):
        main(["preflight", str(DEMO), "--out", str(tmp_path / "page.pdf")])


def test_a_raw_file_is_never_written_over(tmp_path):
    session = open_session(bench(tmp_path))
    with pytest.raises(SessionError, match=r"an output would overwrite a file of the session; found .*session.toml"):
        write_preflight(session, session.facts.folder / "session.toml")


def test_more_rf_than_the_amplifier_takes_from_its_supply_is_not_believed(tmp_path):
    # a pad of 30 dB stated as 45 dB: thirty times the power, far more than the DC that the readings show
    found = preflight(open_session(bench(tmp_path, [("instrument.scope", "pad_db", 45.0)])))
    assert "the crystal's limit could be exceeded: the readings of level do not hold together: " in found.verdict
    assert limit(found, "Highest supply")[1] == "withheld"


def test_a_peak_limit_that_is_the_average_allows_no_pulse(tmp_path):
    found = preflight(
        open_session(bench(tmp_path, [("crystal", "peak_rf_power_w", 0.8), ("crystal", "duty_limit", None)]))
    )
    assert limit(found, "RF power, peak")[1:] == ("0.8 W", "stated: no more than the average")
    assert found.missing == ()


def test_without_a_measured_match_the_assumed_one_is_said(stated, tmp_path):
    found = preflight(open_session(bench(tmp_path, [], lambda t: t.replace('purpose = "match"', 'purpose = "keep"'))))
    words = "10 dB assumed at the crystal; less would lower the safe supply"
    assert found.missing == (('a [[file]] with purpose = "match"', words),)
    # the bench's crystal reflects more than that (8 dB at the worst): measured, it lowers the supply
    supplies = [numbers(limit(f, "Highest supply")[1], "V")[0] for f in (found, stated)]
    assert supplies[0] > supplies[1]
