"""A file too long to be kept whole in memory is refused before it is read."""

from __future__ import annotations

import os
from pathlib import Path

from aotf_lab.errors import ReadingError, Said

__all__ = ["MOST_ROWS", "refuse_long"]

MOST_ROWS = 2_000_000
"""Rows that are read whole: with every cell kept as text, four columns of them take about 0.8 GB."""

_LOOKED_AT_BYTES = 2**16


def refuse_long(path: str | os.PathLike[str], most_rows: int = MOST_ROWS) -> None:
    """Raise ``ReadingError`` when the file has about ``most_rows`` rows or more.

    For every reader that keeps a file whole: call it before its bytes are read. The rows are estimated
    from the file's size and its first lines; a file that cannot be opened is left to the reader.
    """
    file = Path(path)
    try:
        size = file.stat().st_size
        if size < 2 * most_rows:  # a row has a byte and a line end at the least
            return
        with file.open("rb") as stream:
            start = stream.read(_LOOKED_AT_BYTES)
    except OSError:
        return
    ends = max(start.count(b"\n"), start.count(b"\r"), 1)
    rows = size * ends / len(start)
    if rows >= most_rows:
        raise ReadingError(
            "too long to be read whole", where=file.name, found=Said(f"about {rows:.2g} rows, {size / 1e6:.0f} MB"),
            allowed=f"up to {most_rows} rows",
            cure="reduce it to block means while it is read: reduce_power_log(path, block_s=...), "
            "or block_s = ... for the [[file]] in session.toml",
        )  # fmt: skip
