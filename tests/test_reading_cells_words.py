"""Directions and media: a few words, or refused."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.words import direction_of, medium_of


def test_directions_and_media():
    assert [direction_of(c, "") for c in ("up", "UP", "+1", "1", "rising", "")] == ["up"] * 5 + [""]
    assert [direction_of(c, "") for c in ("down", "-1", "\u22121", "falling")] == ["down"] * 4
    assert [direction_of(c, "") for c in ("auf", "Aufwärts", "ab", "fallend")] == ["up", "up", "down", "down"]
    assert [medium_of(c, "") for c in ("Air", "vacuum", "VAC")] == ["air", "vacuum", "vacuum"]
    assert [medium_of(c, "") for c in ("Luft", "Vakuum")] == ["air", "vacuum"]


def test_a_direction_that_is_none():
    with pytest.raises(
        ReadingError, match=r"log.csv:4: a direction that is neither up nor down; found 'left'; .*skip_lines"
    ):
        direction_of("left", "log.csv:4")


def test_a_medium_that_is_none():
    with pytest.raises(
        ReadingError, match=r"log.csv:4: a medium that is neither air nor vacuum; found 'water'; .*skip_lines"
    ):
        medium_of("water", "log.csv:4")
