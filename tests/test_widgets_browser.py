"""Each panel as a page, in a real browser: moved by mouse and keyboard, with numbers and picture that follow.

All panels stand on one page, of one kernel. Runs where Chromium and the extra "dev" are installed, and says what is
missing where they are not.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from aotf_lab import widgets
from tests.browser import Page, chromium, missing, served, wait_for
from tests.conftest import DEMO

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"not installed: {missing()}")

PANELS = {
    "tune": "TunePanel(session)",
    "drive": "DrivePanel(session)",
    "park": "ParkPanel(session)",
    "new_line": "NewLinePanel(session)",
    "fit": "FitPanel(session)",
    "assignment": "AssignmentPanel(session)",
    "generator": "GeneratorPanel(session)",
    "sequence": "SequencePanel(session)",
    "warm_up": "WarmUpPanel(session, LOG)",
    "opening": "OpeningPanel(*records_of(session, measured='2026-03-16'), measured='2026-07-14', folder=HOME)",
}
RAW = (DEMO / "warmup_log.csv").read_bytes().split(b"\n")
SHOTS = os.environ.get("AOTF_LAB_SCREENSHOTS")
ENTER, TAB, UP = ("Enter", 13), ("Tab", 9), ("ArrowUp", 38)
CONTROL = 2


def notebook(folder: Path, log: Path) -> str:
    """Write a notebook with a cell for each panel, and return its name."""
    start = (
        "from aotf_lab import open_session\nfrom aotf_lab.session.keep import records_of\n"
        f"from aotf_lab.widgets import *\nsession = open_session({str(DEMO)!r})\n"
        f"LOG, HOME = {str(log)!r}, {str(log.parent / 'records')!r}"
    )
    cells = [
        {"cell_type": "code", "id": name, "execution_count": None, "metadata": {}, "outputs": [], "source": code}
        for name, code in {"start": start, **PANELS}.items()
    ]
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    text = json.dumps({"cells": cells, "metadata": kernel, "nbformat": 4, "nbformat_minor": 5})
    (folder / "panels.ipynb").write_text(text, encoding="utf-8")
    return "panels.ipynb"


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "log.csv"
    path.write_bytes(b"\n".join(RAW[:300]) + b"\n")
    return path


@pytest.fixture(scope="module")
def page(tmp_path_factory, log):
    """Yield the page of all panels: one kernel, as a person has it."""
    folder = tmp_path_factory.mktemp("pages")
    name = notebook(folder, log)
    with served(folder) as where, chromium() as browser:
        page = browser(1280, 1000)
        page.open(f"{where}/{name}")
        up = f"document.querySelectorAll('table caption').length === {len(PANELS)}"
        wait_for(lambda: page.value(up), "the panels did not come up", 180)
        yield page
        page.close()


class Shown:
    """A panel on the page, found by its heading; ``root`` is the script of its box."""

    def __init__(self, page: Page, name: str) -> None:
        self.page, self.name = page, name
        heading = json.dumps(getattr(widgets, PANELS[name].split("(")[0]).heading)
        found = f"[...document.querySelectorAll('h3')].find(h => h.innerText.trim() === {heading})"
        self.root = f"{found}.closest('.widget-vbox')"

    def of(self, selector: str, what: str) -> str:
        """Return ``what`` of the first element of this panel, "" where there is none."""
        return str(self.page.value(f"({self.root}.querySelector('{selector}') || {{{what}: ''}}).{what}"))

    @property
    def table(self) -> str:
        return self.of("table:has(caption)", "innerText")

    @property
    def image(self) -> str:
        return self.of("img.widget-image", "src")

    @property
    def said(self) -> str:
        return self.of("p[role=alert]", "innerText")

    def labelled(self, label: str, kind: str = "input, select") -> str:
        """Return the script of the control whose label begins with ``label``."""
        words = json.dumps(label)
        return (
            f"[...{self.root}.querySelectorAll('.widget-label')].find(l => l.innerText.trim().startsWith({words}))"
            f".parentElement.querySelector('{kind}')"
        )

    def button(self, words: str) -> str:
        return f"[...{self.root}.querySelectorAll('button')].find(b => b.innerText.trim() === {json.dumps(words)})"

    def type_into(self, label: str, text: str) -> None:
        """Click into a box, and type over what it holds."""
        self.page.click(self.labelled(label))
        self.page.press("a", 65, CONTROL)
        self.page.value(f"({self.labelled(label)}).select()")
        self.page.write(text)
        self.page.press(*ENTER)
        self.page.press(*TAB)

    def choose(self, label: str, words: str) -> None:
        """Take an entry of a list by the keyboard: its focus, then the first letters of the entry."""
        self.page.value(f"({self.labelled(label, 'select')}).focus()")
        for letter in words:
            self.page.ask("Input.dispatchKeyEvent", type="char", text=letter)

    def follows(self, before: tuple[str, str], *, picture: bool = True) -> None:
        """Wait until numbers, and picture, are others than ``before``."""
        wait_for(lambda: self.table not in (before[0], ""), f"{self.name}: the numbers did not follow; {self.said}", 30)
        if picture:
            wait_for(lambda: self.image not in (before[1], ""), f"{self.name}: the picture did not follow", 30)

    @property
    def both(self) -> tuple[str, str]:
        return self.table, self.image


@pytest.fixture
def shown(page, request):
    panel = Shown(page, request.param)
    wait_for(lambda: panel.table and panel.image, f"{panel.name} did not come up")
    yield panel
    if SHOTS:
        Path(SHOTS, f"{panel.name}.png").write_bytes(page.picture(panel.root))
    assert page.errors == []


@pytest.mark.parametrize("shown", ["tune"], indirect=True)
def test_tune(shown):
    before = shown.both
    shown.type_into("Drive voltage", "5.4")
    shown.follows(before)
    assert "5.4000 V makes 64.2" in shown.table
    before = shown.both
    shown.page.click(shown.labelled("Drive voltage"))
    shown.page.press(*UP)
    shown.follows(before)
    assert "5.4100 V" in shown.table
    before = shown.both
    shown.choose("Go to line", "D")
    shown.follows(before)
    assert "nearest line\tD" in shown.table
    shown.type_into("Drive voltage", "99")
    wait_for(lambda: "found 99 V; allowed: 0.4 to 13.92 V" in shown.said, "a voltage out of reach was not said")
    shown.type_into("Drive voltage", "5.4")
    wait_for(lambda: "5.4000 V" in shown.table and not shown.said, "the voltage was not mended")


@pytest.mark.parametrize("shown", ["drive"], indirect=True)
def test_drive(shown):
    before = shown.both
    shown.type_into("Amplifier supply", "7.5")
    shown.follows(before)
    shown.type_into("Amplifier supply", "9.9")
    wait_for(lambda: "a supply above the safe one" in shown.said, "the wall was not said")
    assert shown.table == ""
    shown.page.click(shown.button("RF power"))
    wait_for(lambda: "0.400 W" in shown.table, "RF power was not taken")


@pytest.mark.parametrize("shown", ["opening"], indirect=True)
def test_an_error_stays_in_sight_and_the_keyboard_has_a_ring(shown):
    """At the size of a phone, where the controls of this panel are longer than the screen."""
    of_phone = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": False}
    shown.page.ask("Emulation.setDeviceMetricsOverride", **of_phone)
    shown.type_into("Date of the check", "someday")
    wait_for(lambda: "a date that is none" in shown.said, "the date was not refused")
    shown.page.value(f"{shown.root}.querySelector('h3').scrollIntoView()")
    alert = f"{shown.root}.querySelector('p[role=alert]').getBoundingClientRect()"
    wait_for(lambda: shown.page.value(f"(r => r.top >= 0 && r.bottom <= innerHeight)({alert})"), "out of sight", 10)
    shown.page.value(f"({shown.button('reading 1 taken')}).focus()")
    shown.page.press(*TAB)
    assert shown.page.value("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    assert shown.page.value("document.documentElement.scrollWidth <= innerWidth")
    shown.type_into("Date of the check", "2026-07-14")
    wait_for(lambda: shown.said == "", "the date was not taken")
    shown.page.ask("Emulation.setDeviceMetricsOverride", **(of_phone | {"width": 1280, "height": 1000}))


@pytest.mark.parametrize("shown", ["park"], indirect=True)
def test_park(shown):
    before = shown.both
    shown.type_into("Look at", "46.6")
    shown.follows(before)
    assert "46.600 MHz" in shown.table
    before = shown.both
    shown.page.click(shown.button("Go to the best place"))
    shown.follows(before)
    before = shown.both
    shown.page.click(shown.button("the worst line"))
    shown.follows(before)


@pytest.mark.parametrize("shown", ["new_line"], indirect=True)
def test_new_line(shown):
    before = shown.both
    shown.type_into("Wavelength", "532")
    shown.follows(before)
    assert "532.00 in air" in shown.table
    before = shown.both
    shown.page.click(shown.button("vacuum"))
    shown.follows(before, picture=False)


@pytest.mark.parametrize("shown", ["fit"], indirect=True)
def test_fit(shown):
    before = shown.both
    shown.page.click(shown.button("Go to the reading furthest out"))
    shown.follows(before)
    shown.page.click(shown.button("Leave it out"))
    wait_for(lambda: "not left out without a reason" in shown.said, "the reason was not asked for")
    before = shown.both
    shown.type_into("Reason", "leaned on the bench")
    shown.page.click(shown.button("Leave it out"))
    shown.follows(before)
    assert "leaned on the bench" in shown.table
    before = shown.both
    shown.choose("Fit", "tun")
    shown.follows(before)
    assert "Fit of the tuning curve" in shown.table


@pytest.mark.parametrize("shown", ["assignment"], indirect=True)
def test_assignment(shown):
    before = shown.both
    shown.choose("Peak C", "none")
    shown.follows(before)
    assert "6 of 7 peaks assigned" in shown.table
    before = shown.both
    shown.page.click(shown.button("Take the names of the scans"))
    shown.follows(before)


@pytest.mark.parametrize("shown", ["assignment"], indirect=True)
def test_a_notebook_leaves_the_keys_of_a_list_and_a_button_alone(shown):
    for control in (shown.labelled("Peak C", "select"), shown.button("Take the names of the scans")):
        shown.page.value(f"({control}).focus()")
        assert shown.page.value(f"({control}).hasAttribute('data-lm-suppress-shortcuts')")


@pytest.mark.parametrize("shown", ["generator"], indirect=True)
def test_generator(shown):
    before = shown.both
    shown.page.click(shown.button("line F"))
    shown.follows(before)
    before = shown.both
    shown.page.value(f"({shown.button('50 ohm')}).focus()")
    shown.page.ask("Input.dispatchKeyEvent", type="keyDown", key=" ", code="Space", text=" ", windowsVirtualKeyCode=32)
    shown.page.ask("Input.dispatchKeyEvent", type="keyUp", key=" ", code="Space", windowsVirtualKeyCode=32)
    shown.follows(before, picture=False)
    assert "TYPE, 50 ohm display" in shown.table


@pytest.mark.parametrize("shown", ["sequence"], indirect=True)
def test_sequence(shown):
    before = shown.both
    shown.type_into("line D", "80")
    shown.follows(before)
    before = shown.both
    shown.page.click(shown.button("as listed"))
    shown.follows(before)


@pytest.mark.parametrize("shown", ["warm_up"], indirect=True)
def test_warm_up(shown, log):
    before = shown.both
    shown.type_into("May still move", "2")
    shown.follows(before, picture=False)
    before = shown.both
    log.write_bytes(b"\n".join(RAW[:500]) + b"\n")
    shown.page.click(shown.button("watching"))
    shown.follows(before)
    assert "readings\t495" in shown.table


@pytest.mark.parametrize("shown", ["opening"], indirect=True)
def test_opening(shown, log):
    before = shown.both
    shown.type_into("Counter 2", "74.1")
    shown.follows(before)
    assert "up to" in shown.table
    for label, value in (("Counter 1", "54.89"), ("Counter 3", "93.33")):
        before = shown.both
        shown.type_into(label, value)
        shown.follows(before)
    assert "oscillator moved, corrected" in shown.table
    assert not (log.parent / "records").exists()
    shown.page.click(shown.button("Keep what was renewed"))
    said = f"{shown.root}.innerText.includes('kept as oscillator_2026-07-14.json')"
    wait_for(lambda: shown.page.value(said), "what was kept was not said", 30)
    assert [p.name for p in (log.parent / "records").iterdir()] == ["oscillator_2026-07-14.json"]
