"""Reduce a log of optical power of any length to block means."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

import numpy as np

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.long.blocks import Gatherer, Sizes
from aotf_lab.reading.long.long_log import LongLog
from aotf_lab.reading.long.odd_lines import Kind
from aotf_lab.reading.long.plan import HEAD_BYTES, Plan, plan_of
from aotf_lab.reading.long.progress import Progress, terminal_progress
from aotf_lab.reading.long.result import long_log
from aotf_lab.reading.long.rows import Rows, readings_below, rows_of
from aotf_lab.reading.long.stream import PIECE_BYTES, Piece, Stream
from aotf_lab.reading.long.tally import Tallies

__all__ = ["BLOCK_ROWS", "reduce_power_log"]

BLOCK_ROWS = 10_000
"""Rows of a block where neither seconds nor rows are stated."""

_READERS = 1
"""Threads that read pieces ahead while this one hashes and gathers; more took more memory and were not faster."""


def reduce_power_log(
    path: str | os.PathLike[str],
    *,
    block_s: float | None = None,
    block_rows: int | None = None,
    dark_mw: float | None = None,
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    layout: Layout | None = None,
    progress: Progress | None = None,
) -> LongLog:
    """Return block means of the optical power in ``path``, read once in memory that does not grow with the file.

    A block lasts ``block_s`` seconds or ``block_rows`` rows (``BLOCK_ROWS`` when neither is stated), and ends
    early at a break in time: a clock that goes back, or a pause of more than ten usual steps. Columns of the
    table, a row per block: ``time_s`` (mean time of the rows taken), ``optical_power_mw`` (mean minus dark),
    ``u_optical_power_mw`` (of the mean, from the scatter within the block, for noise correlated in time by means of
    batches; NaN where nothing scatters), ``spread_mw`` (standard deviation of one row), where the file has them the
    means ``frequency_mhz``, ``drive_v`` (with u of one reading of the meter), ``supply_v``, ``temperature_c``,
    ``incident_power_mw`` (the dark is in it); ``subtracted_dark_mw``; ``rows``, ``rows_taken``, ``rows_over_range``,
    ``rows_gap``, ``rows_ragged``, ``rows_in_doubt``, ``rows_dark``; ``file`` and ``line``, the first of the block.

    The dark is a dark column (subtracted row by row), else rows marked dark (a column of labels, or headed
    shutter, beam, state or mark; interpolated in time between them), else ``dark_mw``, else none, and the
    receipt says which. A block without a reading is left out and named.

    ``progress`` is called with the share done, 0 to 1; by default a terminal shows it from the second second on.
    Raises ``ReadingError`` for text that is neither number nor mark, with file and line, and for a file without a
    reading.
    """
    file = Path(path)
    _refuse_lengths(file.name, block_s, block_rows, dark_mw)
    show = progress or terminal_progress(file.name)
    with _open(file) as opened:
        stream = Stream(file, opened, file.stat().st_size)
        plan = plan_of(file.name, stream.head(HEAD_BYTES), columns, layout)
        dark_mw = plan.stated_dark_mw if dark_mw is None else dark_mw
        if dark_mw is not None and plan.number("dark_power_mw"):
            raise ReadingError(
                "the dark stated, and also in the file", where=plan.where, found=plan.headline,
                allowed="one of them", cure="leave dark_mw out, or pass the column over with not_used in columns",
            )  # fmt: skip
        rows = BLOCK_ROWS if block_s is None and block_rows is None else block_rows
        gatherer, tallies = _gathered(stream, plan, Sizes(block_s, rows, float("nan")), show)
        return long_log(gatherer, tallies, plan, stream.source, dark_mw, instruments or UNSTATED)


def _refuse_lengths(name: str, block_s: float | None, block_rows: int | None, dark_mw: float | None) -> None:
    if block_s is not None and block_rows is not None:
        raise ReadingError(
            "the length of a block stated twice", where=name, found=Said(f"{block_s:g} s and {block_rows} rows"),
            allowed="block_s or block_rows", cure="leave one out",
        )  # fmt: skip
    for what, value in (("block_s", block_s), ("block_rows", block_rows)):
        if value is not None and not (np.isfinite(value) and value > 0 and (what == "block_s" or value == int(value))):
            raise ReadingError(
                f"a block of no length, {what}", where=name, found=value, cure="state how long a block is",
                allowed="a number above 0" if what == "block_s" else "a whole number of 1 or more",
            )  # fmt: skip
    if dark_mw is not None and not np.isfinite(dark_mw):
        raise ReadingError(
            "a dark reading that is no number", where=name, found=dark_mw, allowed="a finite number in mW",
            cure="state the reading of the meter with the light off, or leave it out",
        )  # fmt: skip


def _open(file: Path) -> BinaryIO:
    try:
        return file.open("rb")
    except OSError as error:
        raise ReadingError(
            "a file that cannot be opened", where=file.name, found=Said(error.strerror or type(error).__name__),
            allowed="a readable text file", cure="check the name and the folder",
        ) from None  # fmt: skip


def _keep_freed_memory() -> None:
    """Have memory that is freed after one piece kept for the next.

    The C library returns large buffers to the system when they are freed, which cost a third of the whole time,
    until one of this size was freed once (mallopt(3), M_MMAP_THRESHOLD); nothing is written to it.
    """
    np.empty(8 * PIECE_BYTES - 4096, np.uint8)


def _gathered(stream: Stream, plan: Plan, sizes: Sizes, show: Progress) -> tuple[Gatherer, Tallies]:
    """Return the rows of the file in blocks, and what was not taken."""
    _keep_freed_memory()
    gatherer, tallies, summary = None, Tallies(), 0
    for piece, (rows, found) in _ahead(stream, plan):
        tallies.join(found)
        if summary and (rows.kind is None or bool(np.any(rows.kind == Kind.TAKEN))) and len(rows.line):
            raise readings_below(summary, plan, tallies.passed.text_of(summary))
        summary = summary or rows.summary
        if len(rows.line):
            gatherer = gatherer or Gatherer(replace(sizes, step_s=_step_s(rows, plan, sizes)))
            gatherer.add(rows)
        show(piece.share)
    gatherer = gatherer or Gatherer(sizes)
    gatherer.finish()
    return gatherer, tallies


def _ahead(stream: Stream, plan: Plan) -> Iterator[tuple[Piece, tuple[Rows, Tallies]]]:
    """Yield the pieces with their rows, in order; the next ones are read meanwhile, as pandas leaves a core free."""
    with ThreadPoolExecutor(_READERS) as pool:
        waiting: deque[tuple[Piece, Future[tuple[Rows, Tallies]]]] = deque()
        try:
            for piece in stream.pieces(plan.form.encoding):
                waiting.append((piece, pool.submit(rows_of, piece, plan)))
                if len(waiting) > _READERS:
                    first, rows = waiting.popleft()
                    yield first, rows.result()
            while waiting:
                first, rows = waiting.popleft()
                yield first, rows.result()
        finally:
            for _, rows in waiting:
                rows.cancel()


def _step_s(rows: Rows, plan: Plan, sizes: Sizes) -> float:
    """Return the usual step of time between rows: as stated, or the median of those above zero in the first piece."""
    if plan.interval_s is not None:
        return plan.interval_s
    time = rows.numbers.get("time_s")
    steps = np.diff(time[~np.isnan(time)]) if time is not None else np.empty(0)
    if np.any(steps > 0):
        return float(np.median(steps[steps > 0]))
    if sizes.block_s is None:
        return float("nan")
    raise ReadingError(
        "blocks in seconds of a log without a running time", where=plan.where,
        found=plan.headline, allowed="a column of time in which the time goes on",
        cure="state block_rows instead of block_s, or map the column: columns = { time_s = \"...\" }",
    )  # fmt: skip
