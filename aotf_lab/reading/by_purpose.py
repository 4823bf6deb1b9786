"""Read a raw file of a session as what session.toml says it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from aotf_lab.errors import SessionError
from aotf_lab.reading.any_table import read_table
from aotf_lab.reading.clock.joined import join_logs
from aotf_lab.reading.counted_log import read_counted_log
from aotf_lab.reading.counter import read_counter
from aotf_lab.reading.coupler import read_reflection
from aotf_lab.reading.edge import read_edge
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.lines import read_lines
from aotf_lab.reading.long import reduce_power_log
from aotf_lab.reading.modulation import read_modulation
from aotf_lab.reading.moved_optics import read_analyser, read_knife_edge
from aotf_lab.reading.power_log import read_power_log
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.scope import read_scope_levels
from aotf_lab.reading.session_beside import SecondLog
from aotf_lab.reading.session_file import FILE_NAME, RawFile
from aotf_lab.reading.spots import read_spots
from aotf_lab.reading.touchstone import read_touchstone
from aotf_lab.reading.trace import read_trace

__all__ = ["READERS", "read_raw_file"]


def _trace(path: Path, instruments: Instruments, columns: ColumnMap, *, layout: Layout | None) -> Readings:
    return read_trace(path, columns, layout=layout)


def _edge(path: Path, instruments: Instruments, columns: ColumnMap, *, layout: Layout | None) -> Readings:
    return read_edge(path, columns, layout=layout)


def _modulation(path: Path, instruments: Instruments, columns: ColumnMap, *, layout: Layout | None) -> Readings:
    return read_modulation(path, columns, layout=layout)


def _match(path: Path, instruments: Instruments, columns: ColumnMap, *, layout: Layout | None) -> Readings:
    if path.suffix.lower() == ".s1p":
        return read_touchstone(path)
    return read_reflection(path, columns, layout=layout)


READERS: dict[str, Callable[..., Readings]] = {
    "oscillator": read_counter,
    "scan": read_power_log,
    "efficiency": read_power_log,
    "lines": read_lines,
    "level": read_scope_levels,
    "trace": _trace,
    "match": _match,
    "warm_up": read_counted_log,
    "pushing": read_counted_log,
    "pulling": read_counted_log,
    "hunt": read_power_log,
    "spectrum": read_power_log,
    "leakage": read_power_log,
    "spots": read_spots,
    "polarisation": read_analyser,
    "beam_size": read_knife_edge,
    "edge": _edge,
    "modulation_depth": _modulation,
}
"""Purpose -> reader(path, instruments, columns, layout=...)."""

_OF_THE_FILE: dict[str, Callable[[RawFile], dict[str, object]]] = {
    "lines": lambda file: {"material": file.material},
    "scan": lambda file: {"label": file.line or (), "wanted": ("frequency_mhz",)},
    "efficiency": lambda file: {"label": file.line or ()},
    "hunt": lambda file: {"wanted": ("frequency_mhz",)},
    "spectrum": lambda file: {"wanted": ("frequency_mhz",)},
    "leakage": lambda file: {"label": file.line or (), "wanted": ("frequency_mhz",)},
    "spots": lambda file: {"distance_mm": file.distance_mm, "line": file.line},
    "polarisation": lambda file: {"label": file.line or ()},
    "beam_size": lambda file: {"label": file.line or ()},
}
"""Purpose -> what else its reader is told of the file."""


def read_raw_file(file: RawFile, instruments: Instruments) -> Readings:
    """Return the readings of ``file``; the direction that session.toml states becomes a column.

    Where a file has a column for each line, the one of the file's line is read. A long log is reduced to
    block means as session.toml says, and a second log of the run joined by time.

    Raises ``ReadingError`` when the file cannot be understood, ``SessionError`` when its purpose has
    no reader or a row contradicts the stated direction, ``ReadingsError`` for logs that cannot be joined.
    """
    if file.purpose not in READERS:
        raise SessionError(
            "a file that is kept but not read", where=f"{FILE_NAME}, {file.path.name}", found=file.purpose,
            allowed=", ".join(READERS), cure="change its purpose if it is to be read",
        )  # fmt: skip
    readings = _first_log(file, instruments)
    if file.second is not None:
        readings = _with_second(readings, file.second, instruments)
    return _with_direction(file, readings)


def _with_second(readings: Readings, log: SecondLog, instruments: Instruments) -> Readings:
    """Return the readings joined with the second log; the lag of the power meter counts where only the meter saw it."""
    second = read_table(log.path, instruments=instruments, layout=log.layout)
    common = set(readings.table.columns) & set(second.table.columns) - {"time_s", "file", "line"}
    lag_s = 0.0 if common else instruments.power_meter.time_constant_s or 0.0
    return join_logs(
        readings, second, tolerance_s=log.tolerance_s, offset_s=log.offset_s, max_offset_s=log.max_offset_s, lag_s=lag_s
    ).readings


def _first_log(file: RawFile, instruments: Instruments) -> Readings:
    if file.block_s is not None:
        return reduce_power_log(
            file.path, block_s=file.block_s, instruments=instruments, columns=file.columns, layout=file.layout
        ).readings
    if file.second is not None and file.purpose == "oscillator":  # the other quantity stands in the second log
        return read_table(file.path, columns=file.columns, instruments=instruments, layout=file.layout)
    extra = _OF_THE_FILE[file.purpose](file) if file.purpose in _OF_THE_FILE else {}
    return READERS[file.purpose](file.path, instruments, file.columns, layout=file.layout, **extra)


def _with_direction(file: RawFile, readings: Readings) -> Readings:
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
