"""What the lines above the headings state, and which of them are only sentences."""

from __future__ import annotations

import pytest

from aotf_lab.reading.shape.settings import read_settings
from aotf_lab.reading.text.grid import RawRow


@pytest.mark.parametrize(
    ("comment", "cells", "listed"),
    [
        ("# line A, stepped up without waiting for the head", ("line A", "stepped up without waiting for the head"), 0),
        ("# oscillator on for 105 min; 6 V seen again", ("oscillator on for 105 min", "6 V seen again"), 0),
        ("# Sample interval, 0.5 s", ("Sample interval", "0.5 s"), 1),
        ("oscillator on for 105 min;6 V seen again", ("oscillator on for 105 min", "6 V seen again"), 1),
    ],
)
def test_a_sentence_in_a_comment_is_no_setting(comment, cells, listed):
    assert len(read_settings([RawRow(1, comment, cells)], {}, ".").entries) == listed
