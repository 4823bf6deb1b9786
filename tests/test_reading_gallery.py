"""Ugly raw files, each with what a person reads from it (``gallery/NAME.toml`` beside the raw file).

A description holds ``file``, ``purpose``, and what a person reads: ``rows``, ``lines`` (1-based line
of each row), ``[values]`` (bench unit; "?" where nobody can tell), ``label``, ``direction``, ``start``
(clock time of the first reading), ``rejected`` and ``flagged`` lines, ``settings`` (key, value, line),
``receipt`` (patterns that the printed receipt must show); ``any_order`` where the order of the rows is
free. Or ``error``, a pattern, with the ``line`` that it names; then ``[layout]``, where there is one,
is the cure, and the numbers are those read with it. Without ``error`` a ``[layout]`` is just stated.
"""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_counter, read_lines, read_power_log, read_scope_levels
from aotf_lab.reading.layout import Layout, StatedColumn
from aotf_lab.reading.moved_optics import read_analyser, read_knife_edge
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.spots import read_spots
from tests.conftest import flat

GALLERY = Path(__file__).with_name("gallery")
READERS: dict[str, Callable[..., Readings]] = {
    "oscillator": read_counter,
    "scan": read_power_log,
    "efficiency": read_power_log,
    "power log": read_power_log,
    "lines": read_lines,
    "level": read_scope_levels,
    "hunt": read_power_log,
    "spots": read_spots,
    "polarisation": read_analyser,
    "beam_size": read_knife_edge,
}
SAID = {p.stem: tomllib.loads(p.read_text(encoding="utf-8")) for p in sorted(GALLERY.glob("*.toml"))}
REFUSED = [name for name, said in SAID.items() if "error" in said]
READ = [name for name, said in SAID.items() if "rows" in said]


def layout_of(said: dict[str, Any]) -> Layout | None:
    """Return the layout that a description states, None without one."""
    if "layout" not in said:
        return None
    stated = dict(said["layout"])
    stated["skip_lines"] = {int(line): reason for line, reason in stated.get("skip_lines", {}).items()}
    stated["columns"] = {
        column: StatedColumn(tuple(c["headings"]), c.get("unit", "")) for column, c in stated.get("columns", {}).items()
    }
    return Layout(**stated)


def read(name: str, layout: Layout | None) -> Readings:
    """Read a file of the gallery as its purpose asks."""
    said = SAID[name]
    return READERS[said["purpose"]](GALLERY / said["file"], layout=layout)


@pytest.fixture(scope="module")
def readings() -> Callable[[str], Readings]:
    """Readings of a file of the gallery, read once."""
    kept: dict[str, Readings] = {}

    def of(name: str) -> Readings:
        if name not in kept:
            kept[name] = read(name, layout_of(SAID[name]))
        return kept[name]

    return of


def rows_of(columns: dict[str, list[Any]], any_order: bool) -> list[tuple[Any, ...]]:
    """Return the rows of ``columns``, sorted where their order is free."""
    rows = list(zip(*columns.values(), strict=True))
    return sorted(rows) if any_order else rows


def test_the_gallery_is_whole():
    raw = {p.name for p in GALLERY.iterdir() if p.suffix != ".toml"}
    assert raw == {said["file"] for said in SAID.values()}
    assert len(raw) >= 45
    assert set(REFUSED) | set(READ) == set(SAID)


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_known_is_refused(name):
    said = SAID[name]
    where = re.escape(f"{said['file']}:{said['line']}") + r"\b" if "line" in said else re.escape(said["file"])
    with pytest.raises(ReadingError, match=where) as caught:
        read(name, None)
    assert re.search(said["error"], str(caught.value)), str(caught.value)
    if "layout" in said:
        assert "layout" in caught.value.cure


@pytest.mark.parametrize("name", READ)
def test_rows_and_numbers(name, readings):
    said, table = SAID[name], readings(name).table
    assert len(table) == said["rows"]
    wanted = {k: said[k] for k in ("label", "direction") if k in said} | said["values"]
    wanted |= {"line": said["lines"]} if "lines" in said else {}
    found = {column: table[column].tolist() for column in wanted}
    any_order = said.get("any_order", False)
    for row, (is_, ought) in enumerate(zip(rows_of(found, any_order), rows_of(wanted, any_order), strict=True)):
        for column, value, number in zip(wanted, is_, ought, strict=True):
            if number != "?":
                assert value == (number if isinstance(number, str) else pytest.approx(number, rel=1e-9)), (row, column)


@pytest.mark.parametrize("name", READ)
def test_rejected_and_flagged_lines(name, readings):
    said, receipt = SAID[name], readings(name).receipts[0]
    assert [r.line for r in receipt.rejected] == said["rejected"]
    assert sorted({f.line for f in receipt.flagged}) == said["flagged"]
    assert all(r.reason.strip() for r in (*receipt.rejected, *receipt.flagged))


@pytest.mark.parametrize("name", READ)
def test_the_receipt(name, readings):
    said, receipt = SAID[name], readings(name).receipts[0]
    assert receipt.rows == said["rows"]
    for pattern in said.get("receipt", []):
        assert re.search(pattern, flat(receipt)), f"{pattern!r} not in:\n{receipt}"
    if "start" in said:
        assert receipt.start == said["start"]
    for key, value, line in said.get("settings", []):
        assert (key, value) in [(s.key, s.value) for s in receipt.settings if s.line == line]
    for column, numbers in said["values"].items():
        kept = [c for c in receipt.columns if c.meaning == column]
        if len(kept) == 1 and column != "time_s" and not said.get("any_order"):
            assert kept[0].count == len(numbers)
            assert (kept[0].low, kept[0].high) == pytest.approx((min(numbers), max(numbers)))
            assert kept[0].first_raw
            assert kept[0].last_raw
            assert (kept[0].first, kept[0].last) == pytest.approx((numbers[0], numbers[-1]))


@pytest.mark.parametrize("name", READ)
def test_the_layout_found_reads_the_same_again(name, readings):
    first = readings(name)
    assert isinstance(first.receipts[0].layout, Layout)
    again = read(name, first.receipts[0].layout)
    pd.testing.assert_frame_equal(again.table, first.table)
    assert [r.line for r in again.receipts[0].rejected] == [r.line for r in first.receipts[0].rejected]
    assert [f.line for f in again.receipts[0].flagged] == [f.line for f in first.receipts[0].flagged]


@pytest.mark.parametrize("name", SAID)
def test_the_raw_file_is_unchanged(name):
    path = GALLERY / SAID[name]["file"]
    before, time = path.read_bytes(), path.stat().st_mtime_ns
    with contextlib.suppress(ReadingError):
        read(name, layout_of(SAID[name]))
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == time
