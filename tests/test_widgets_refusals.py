"""No error vanishes: every number of every panel, set to what it cannot be, is refused in words and mended by hand."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from aotf_lab.errors import RecordError
from aotf_lab.session.keep import records_of
from aotf_lab.widgets import (
    DrivePanel,
    GeneratorPanel,
    NewLinePanel,
    OpeningPanel,
    Panel,
    ParkPanel,
    SequencePanel,
    TunePanel,
    WarmUpPanel,
)
from aotf_lab.widgets.controls import Number
from aotf_lab.widgets.drive_power import BY_POWER
from tests.conftest import DEMO


def drive_by_power(demo):
    panel = DrivePanel(demo)
    panel.by.value = BY_POWER
    return panel


MADE = {
    "tune": TunePanel, "drive": DrivePanel, "park": ParkPanel, "new line": NewLinePanel, "generator": GeneratorPanel,
    "sequence": SequencePanel, "warm-up": WarmUpPanel, "drive by power": drive_by_power,
    "opening": lambda demo: OpeningPanel(*records_of(demo, measured="2026-03-16"), measured="2026-07-14"),
}  # fmt: skip


def numbers(panel: Panel) -> Iterator[Number]:
    for held in vars(panel).values():
        among = held.values() if isinstance(held, dict) else held if isinstance(held, (list, tuple)) else [held]
        yield from (c for c in among if isinstance(c, Number) and not c.disabled)


@pytest.mark.parametrize("name", MADE)
def test_a_number_that_cannot_be_is_refused_and_mended(demo, name):
    panel = MADE[name](demo)
    boxes = list(dict.fromkeys(numbers(panel)))
    assert boxes
    for box in boxes:
        before = box.value
        low, high = box.ends
        for bad in (float("nan"), high + 0.5 * box.step, low - 0.5 * box.step):
            box.value = bad
            assert panel.now is None, box.description
            assert 'role="alert"' in panel.said.value
            assert panel.trouble is not None
            assert panel.numbers.value == panel.caption.value == ""
        box.value = before
        assert panel.now is not None, (box.description, panel.said.value)
        assert panel.said.value == ""
    assert panel.problems == []


def test_a_watched_log_that_goes_away_is_said_and_followed_again_when_it_is_back(demo, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes((DEMO / "warmup_log.csv").read_bytes())
    panel = WarmUpPanel(demo, path)
    raw = path.read_bytes()
    path.unlink()
    panel.look()
    assert "log.csv: the log cannot be opened" in panel.said.value
    assert "start the log, or correct the path" in panel.said.value
    assert panel.numbers.value == ""
    path.write_bytes(raw)
    panel.look()
    assert panel.said.value == ""
    assert panel.now is not None
    assert panel.problems == []


def test_an_empty_folder_of_calibrations_is_said(tmp_path):
    with pytest.raises(
        RecordError, match=r"no calibration of the oscillator; .*keep a session.s calibrations in this folder"
    ):
        OpeningPanel.of_folder(tmp_path)
