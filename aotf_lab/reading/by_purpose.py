"""Read a raw file of a session as what session.toml says it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from aotf_lab.errors import SessionError
from aotf_lab.reading.counter import read_counter
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.lines import read_lines
from aotf_lab.reading.power_log import read_power_log
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.scope import read_scope_levels
from aotf_lab.reading.session_file import FILE_NAME, RawFile

__all__ = ["READERS", "read_raw_file"]

READERS: dict[str, Callable[..., Readings]] = {
    "oscillator": read_counter,
    "scan": read_power_log,
    "efficiency": read_power_log,
    "lines": read_lines,
    "level": read_scope_levels,
}
"""Purpose -> reader(path, instruments, columns, layout=...)."""

_OF_THE_FILE: dict[str, Callable[[RawFile], dict[str, object]]] = {
    "lines": lambda file: {"material": file.material},
    "scan": lambda file: {"label": file.line or (), "wanted": ("frequency_mhz",)},
    "efficiency": lambda file: {"label": file.line or ()},
}
"""Purpose -> what else its reader is told of the file."""


def read_raw_file(file: RawFile, instruments: Instruments) -> Readings:
    """Return the readings of ``file``; the direction that session.toml states becomes a column.

    Where a file has a column for each line, the one of the file's line is read.

    Raises ``ReadingError`` when the file cannot be understood, ``SessionError`` when its purpose has
    no reader or a row contradicts the stated direction.
    """
    if file.purpose not in READERS:
        raise SessionError(
            "a file that is kept but not read", where=f"{FILE_NAME}, {file.path.name}", found=file.purpose,
            allowed=", ".join(READERS), cure="change its purpose if it is to be read",
        )  # fmt: skip
    extra = _OF_THE_FILE[file.purpose](file) if file.purpose in _OF_THE_FILE else {}
    readings = READERS[file.purpose](file.path, instruments, file.columns, layout=file.layout, **extra)
    if file.direction is None:
        return readings
    if "direction" not in readings.table.columns:
        return replace(readings, table=readings.table.assign(direction=file.direction))
    other = [row for row, word in enumerate(readings.table["direction"]) if word not in ("", file.direction)]
    if other:
        raise SessionError(
            f"{FILE_NAME} says {file.direction} and a row says otherwise", where=readings.place(other[0]),
            found=str(readings.table["direction"].iloc[other[0]]), allowed=f"{file.direction} or an empty cell",
            cure="leave direction out of session.toml, or correct the row",
        )  # fmt: skip
    return replace(readings, table=readings.table.assign(direction=file.direction))
