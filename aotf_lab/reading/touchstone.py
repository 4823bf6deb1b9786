"""Read the reflection of one port from a Touchstone file (``.s1p``), through scikit-rf."""

from __future__ import annotations

import io
import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import ColumnReceipt, FlaggedRow, Receipt, Setting
from aotf_lab.reading.source import source_file
from aotf_lab.reading.touchstone_lines import ALLOWED, TouchstoneLines, touchstone_lines

__all__ = ["read_touchstone"]


def read_touchstone(path: str | os.PathLike[str], *, option_line: str | None = None) -> Readings:
    """Return ``frequency_mhz``, ``s11_re`` and ``s11_im``, one row per frequency, with ``file`` and ``line``.

    The receipt's settings say frequency unit, format and reference impedance. ``option_line`` is
    stated here for a file that has none. Flagged: a reflection above 1 (a passive port cannot
    reflect more than it receives), frequencies that do not rise, a last line without its end.
    Rejected: over-range marks. Raises ``ReadingError`` for what the specification does not allow,
    for another parameter than S, and where scikit-rf is not installed.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except OSError as error:
        raise ReadingError(
            "a file that cannot be opened", where=file.name, found=Said(error.strerror or type(error).__name__),
            allowed="a readable Touchstone file", cure="check the name and the folder",
        ) from None  # fmt: skip
    text, encoding = _text(content)
    lines = touchstone_lines(file.name, text, option_line)
    frequency_hz, s11 = _through_scikit_rf(lines)
    _flag(lines, frequency_hz, s11, text)
    table = pd.DataFrame({"frequency_mhz": frequency_hz / 1e6, "s11_re": s11.real, "s11_im": s11.imag})
    table["file"] = file.name
    table["line"] = [line for line, _, _ in lines.rows]
    receipt = Receipt(
        file.name, len(table), _columns(lines, table), tuple(lines.rejected), tuple(lines.notes),
        tuple(sorted(lines.flagged, key=lambda f: f.line)), encoding, "blanks, as the format has it",
        "point, as the format has it", _settings(lines),
    )  # fmt: skip
    return Readings(table, (), (receipt,), (source_file(file, content),))


def _text(content: bytes) -> tuple[str, str]:
    try:
        return content.decode("utf-8-sig"), "UTF-8: every byte fits"
    except UnicodeDecodeError:
        return content.decode("latin-1"), "Latin-1: not UTF-8 (the format itself is ASCII)"


def _through_scikit_rf(lines: TouchstoneLines) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
    """Return frequency (Hz) and S11 of the lines kept, as scikit-rf understands them."""
    parts = lines.options
    head = f"# {parts['frequency unit']} {parts['parameter']} {parts['format']} r {parts['reference']}\n"
    stream = io.StringIO(head + "".join(" ".join(cells) + "\n" for _, _, cells in lines.rows))
    stream.name = "one_port.s1p"
    try:
        with np.errstate(all="ignore"):
            found = _touchstone_class()(stream)
        frequency_hz, s11 = np.asarray(found.f, dtype=float), np.asarray(found.s, dtype=complex)[:, 0, 0]
    except (ValueError, IndexError, TypeError, KeyError, ArithmeticError) as error:
        raise ReadingError(
            "scikit-rf cannot read this file", where=lines.name, found=Said(str(error)), allowed=ALLOWED,
            cure="export the measurement again",
        ) from error  # fmt: skip
    if len(frequency_hz) != len(lines.rows) or not np.all(np.isfinite(s11)):
        raise ReadingError(
            "scikit-rf found other rows than stand in the file", where=lines.name, found=len(frequency_hz),
            allowed=f"{len(lines.rows)} finite reflections", cure="export the measurement again",
        )  # fmt: skip
    return frequency_hz, s11


def _touchstone_class() -> Any:
    try:
        from skrf.io.touchstone import Touchstone
    except ImportError as error:
        raise ReadingError(
            "Touchstone files are read through scikit-rf, which is not installed", found=Said(str(error)),
            allowed="scikit-rf 1.0 or later", cure="run: pip install scikit-rf",
        ) from None  # fmt: skip
    return Touchstone


def _flag(lines: TouchstoneLines, frequency_hz: NDArray[np.float64], s11: NDArray[np.complex128], text: str) -> None:
    for row, (number, said, _) in enumerate(lines.rows):
        if abs(s11[row]) > 1.0 + 1e-9:
            reason = f"reflection {abs(s11[row]):.4g} above 1: calibration lost, or another format than stated"
            lines.flagged.append(FlaggedRow(number, said, reason))
        if row and frequency_hz[row] <= frequency_hz[row - 1]:
            lines.flagged.append(FlaggedRow(number, said, "frequency not above that of the line before"))
    last = lines.rows[-1]
    if text and text[-1] not in "\r\n" and last[0] == len(re.split(r"\r\n|\n|\r", text)):
        lines.flagged.append(FlaggedRow(last[0], last[1], "no line end after the last number: it may be cut"))


def _columns(lines: TouchstoneLines, table: pd.DataFrame) -> tuple[ColumnReceipt, ...]:
    def column(name: str, header: str, unit: str, position: int, evidence: str) -> ColumnReceipt:
        values: Sequence[float] = table[name].tolist()
        first, last = lines.rows[0][2], lines.rows[-1][2]
        raw = [" ".join(cells[1:]) if position else cells[0] for cells in (first, last)]
        return ColumnReceipt(
            header, name, unit, evidence, len(values), min(values), max(values), raw[0], values[0], raw[1], values[-1]
        )

    form, unit = lines.options["format"].upper(), lines.options["frequency unit"]
    said = f"line {lines.option_line}" if lines.option_line else "option line stated by the reader"
    spelt = {"ghz": "GHz", "mhz": "MHz", "khz": "kHz", "hz": "Hz"}[unit]
    return (
        column("frequency_mhz", "number 1", spelt, 0, f"first number of a line, unit by {said}"),
        column("s11_re", "numbers 2 and 3", "", 1, f"real part, format {form} by {said}"),
        column("s11_im", "numbers 2 and 3", "", 1, f"imaginary part, format {form} by {said}"),
    )


def _settings(lines: TouchstoneLines) -> tuple[Setting, ...]:
    options = lines.options
    line = lines.keywords.get("reference", ("", lines.option_line))[1]
    return (
        Setting("frequency unit", options["frequency unit"], lines.option_line, "unit of frequency_mhz as it stands"),
        Setting("format", options["format"], lines.option_line, "form of S11 as it stands"),
        Setting("reference impedance", f"{options['reference']} ohm", line, "S11 is relative to it"),
    )
