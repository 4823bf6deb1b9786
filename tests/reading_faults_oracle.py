"""What a damaged file says, line by line, read strictly and apart from the package; and whether an outcome is right.

Right is: each row taken holds what its line says, or is flagged; each line that plainly is a reading is
taken, or listed as rejected; or an error of the package names the file and a line.
"""

from __future__ import annotations

import csv
import difflib
import math
import re
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from aotf_lab.errors import AotfLabError
from aotf_lab.reading.readings import Readings
from tests.reading_faults import Case
from tests.reading_faults_bases import Style, headings
from tests.reading_faults_cells import ANY, Values, meant, plain_numbers, unit_of

__all__ = ["FILE", "Outcome", "judged", "lines_said"]

FILE = "log.csv"
_WHOLE_FILE = ("empty file",)
"""Errors that no line can be named for."""
_ALIKE = 0.55
_INTERVAL = re.compile(r"^Sample interval: ([0-9.,]+) (s|ms|us|min|h)$")
_COMMENT = "#%!;"


@dataclass(frozen=True)
class Outcome:
    """How a case ended: "numbers", "flagged" or "error"; why it is ``wrong``, or ""; the line an error names."""

    kind: str
    wrong: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Said:
    """One line: its readings (meaning -> values that its cell can mean), and how many of them plainly stand there."""

    readings: tuple[dict[str, Values], ...]
    plain: int


def judged(case: Case, path: Path) -> Outcome:
    """Write the case, read it, and compare the outcome with what the file says."""
    (path / FILE).write_bytes(case.content)
    try:
        readings = case.base.reader(path / FILE)
    except AotfLabError as error:
        named = re.match(rf"^{re.escape(FILE)}:(\d+)\b", error.where)
        if named or error.what in _WHOLE_FILE:
            return Outcome("error", line=int(named[1]) if named else None)
        return Outcome("error", f"error names no line: {error}")
    except Exception as error:  # the fault that is looked for
        return Outcome("error", f"{type(error).__name__}: {error}")
    return _compared(case, readings)


def _compared(case: Case, readings: Readings) -> Outcome:
    said, above = lines_said(case)
    receipt, table = readings.receipts[0], readings.table
    flagged, rejected = {f.line for f in receipt.flagged}, {r.line for r in receipt.rejected}
    kind = "flagged" if flagged | rejected else "numbers"
    rows = table.to_dict("records")
    for row in rows:
        line = int(row["line"])
        if line in flagged:
            continue
        options = said[line].readings if line in said else ()
        if not any(_fits(row, option) for option in options):
            return Outcome(kind, f"line {line}: read {_short(row)}, the text says {options}")
    for line, told in said.items():
        taken = sum(row["line"] == line for row in rows)
        if taken < told.plain and line not in rejected:
            return Outcome(kind, f"line {line}: lost without a word, the text says {told.readings}")
    last = len(re.split(r"\r\n|\n|\r", _text(case)))
    if case.content and not _ended(case) and any(r["line"] == last for r in rows) and last not in flagged:
        return Outcome(kind, f"line {last}: the last, has no end, and is not flagged")
    return Outcome(kind, _times(case, rows, said, above, flagged, rejected))


def _short(row: dict[str, object]) -> dict[str, object]:
    return {k: v for k, v in row.items() if not k.startswith("u_") and k not in ("file", "line")}


def _fits(row: dict[str, object], option: dict[str, Values]) -> bool:
    for meaning, values in option.items():
        if meaning not in row or any(isinstance(v, datetime) for v in values):
            continue
        if not any(_same(row[meaning], v) for v in values):
            return False
    return True


def _same(found: object, value: object) -> bool:
    if isinstance(value, str) or isinstance(found, str):
        ours, theirs = (re.sub(r"[^\x20-\x7e]", "", str(x)).lower() for x in (found, value))
        return value == ANY or ours == theirs  # other signs hang on the guess of an encoding
    both = float(found), float(value)  # type: ignore[arg-type]
    return all(map(math.isnan, both)) or math.isclose(*both, rel_tol=1e-9, abs_tol=1e-30)


def _text(case: Case) -> str:
    encoding, content = case.base.style.encoding, case.content
    if encoding.startswith("utf-16"):
        marked = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}.get(content[:2])
        both = {e: content.decode(e, errors="replace") for e in ("utf-16-le", "utf-16-be")}
        likely = max(both, key=lambda e: sum(sign.isascii() for sign in both[e]))
        return both[marked or likely].removeprefix("\ufeff")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _ended(case: Case) -> bool:
    return _text(case)[-1:] in ("\r", "\n")


def _cells(text: str, style: Style) -> list[str]:
    plain = [c.strip() for c in text.split(style.separator)]
    try:
        cells = [c.strip() for c in next(csv.reader([text], delimiter=style.separator, skipinitialspace=True), [])]
    except csv.Error:
        cells = []
    return plain if '"' in plain and not style.quoted and len(cells) != len(plain) else cells  # a ditto mark


def lines_said(case: Case) -> tuple[dict[int, Said], list[str]]:
    """Return what each line that is no heading says, and the lines above the headings.

    Where every decimal mark is gone from the rows, marks between thousands may be decimal as well.
    """
    style = case.base.style
    said, above = _said_in_style(case)
    rows = [line for line in _text(case).splitlines() if not re.search("[A-Za-z]", line)]
    if not style.thousands or any(style.decimal in line for line in rows):
        return said, above
    other = replace(style, decimal=style.thousands, thousands="")
    also, _ = _said_in_style(replace(case, base=replace(case.base, style=other)))
    return {n: Said(s.readings + also[n].readings, 0) for n, s in said.items()}, above


def _said_in_style(case: Case) -> tuple[dict[int, Said], list[str]]:
    base = case.base
    lines = _lines(case)
    alike, first = _heading_lines(case, lines)
    units: list[str | None] = [None] * len(base.columns)
    said: dict[int, Said] = {}
    before: dict[str, Values] = {}
    heads = _cells(lines[first], base.style)
    for k, line in enumerate(lines):
        cells = _row_cells(case, line)
        if alike[k]:
            units = _units_at(case, cells, lines[k + 1 : k + 3], units)
        if alike[k] or not line.strip():
            continue
        if base.style.units == "row":
            above = (_units(case, [], _cells(x, base.style)) for x in lines[:k])
            units = units if any(units) else next((u for u in above if any(u)), units)
        shown = units if k > first or base.style.units == "row" else _units(case, heads, [])
        options, plain = [], 0
        for group in base.readings if len(cells) == len(base.columns) else ():
            option = {m: meant(case, m, at, cells, shown, lines, before) for m, at in group.items()}
            options.append(option)
            plain += all(option.values()) and line.lstrip()[0] not in _COMMENT and _known(case, group, heads)
            before = option if all(option.values()) else before
        said[k + 1] = Said(tuple(options), plain)
    return said, lines[:first]


def _lines(case: Case) -> list[str]:
    """Return the lines; a line end inside quotation marks is a blank, and an empty line keeps the count."""
    lines = re.split(r"\r\n|\n|\r", _text(case))
    for k in range(len(lines) - 1):
        if case.base.style.quoted and lines[k].count('"') % 2 and lines[k + 1].count('"') % 2:
            lines[k : k + 2] = [f"{lines[k]} {lines[k + 1]}", ""]
    return lines


def _heading_lines(case: Case, lines: list[str]) -> tuple[list[bool], int]:
    """Return which lines are headings, and the first of them; without any, a row of units may stand for them."""
    head = case.base.style.separator.join(headings(case.base.columns, case.base.style))
    bare = [re.sub(r"\([^()]*\)", "()", text) for text in (head, *lines)]
    alike = [difflib.SequenceMatcher(None, bare[0], line, autojunk=False).ratio() > _ALIKE for line in bare[1:]]
    if len(case.base.columns) == 1:  # one heading torn in two keeps its unit
        alike = [a or line.endswith(head[head.index("(") :]) for a, line in zip(alike, lines, strict=True)]
    if any(alike):
        return alike, alike.index(True)
    first = next((k for k, line in enumerate(lines) if all(_units(case, [], _cells(line, case.base.style)))), 0)
    alike[first] = case.base.style.units == "row"
    return alike, first


def _row_cells(case: Case, line: str) -> list[str]:
    style, wanted = case.base.style, len(case.base.columns)
    cells = _cells(line, style)
    while len(cells) > wanted and not cells[-1]:
        cells.pop()
    return line.split() if style.separator == "\t" and len(cells) != wanted else cells


def _units_at(case: Case, cells: list[str], below: list[str], units: list[str | None]) -> list[str | None]:
    """Return the units that a heading, or a row of units right below it, gives to what follows."""
    near = [_units(case, cells, _cells(line, case.base.style)) for line in below]
    found = next((u for u in near if any(u)), units if any(units) else near[0] if near else units)
    return found if any(found) or case.base.style.units != "row" else _units(case, [], cells)


def _known(case: Case, group: dict[str, int | tuple[int, int]], heads: list[str]) -> bool:
    """Return whether the headings of a reading are whole; of several in a row, one without may be passed over."""
    places = [p for at in group.values() for p in (at if isinstance(at, tuple) else (at,))]
    return len(case.base.readings) == 1 or all(
        p < len(heads) and re.fullmatch(re.escape(case.base.columns[p].words) + r"(?: \(.*\))?", heads[p])
        for p in places
    )


def _units(case: Case, head: list[str], below: list[str]) -> list[str | None]:
    base = case.base
    if base.style.units == "row":
        texts = below if len(below) == len(base.columns) else [""] * len(base.columns)
        texts = [t.strip("()[]") for t in texts]
    else:
        texts = [(re.search(r"[(\[]([^()\[\]]*)[)\]]$", h) or ["", ""])[1] for h in head]
        texts += [""] * (len(base.columns) - len(texts))
        texts = [t or b.strip("()[]") for t, b in zip(texts, [*below, *texts], strict=False)]
    found = [unit_of(t, c.kind) for t, c in zip(texts, base.columns, strict=False)]
    whole = [h == c.words for h, c in zip(head, base.columns, strict=False)] + [False] * len(base.columns)
    return [("" if w else None) if not c.unit else u for u, c, w in zip(found, base.columns, whole, strict=False)]


def _times(case: Case, rows: list[dict[str, object]], said: dict[int, Said], above: list[str],
           flagged: set[int], rejected: set[int]) -> str:  # fmt: skip
    """Return what is wrong with times that follow from a clock or an interval, "" when nothing is."""
    if not rows or "time_s" not in rows[0]:
        return ""
    if case.base.name == "clock":
        stamps = [
            v for r in rows for v in (said[int(r["line"])].readings[0]["time_s"] if r["line"] not in flagged else [])
        ]  # type: ignore[call-overload]
        for row in rows:
            line = int(row["line"])  # type: ignore[call-overload]
            if line in flagged:
                return ""
            (stamp,) = said[line].readings[0]["time_s"]
            seconds = (stamp - stamps[0]).total_seconds()  # type: ignore[operator]
            if not _same(row["time_s"], seconds) and not math.isclose(float(row["time_s"]), seconds, abs_tol=1e-6):  # type: ignore[arg-type]
                return f"line {line}: {row['time_s']} s after the first, the text says {seconds}"
    if case.base.name == "interval":
        stated = next((m for m in map(_INTERVAL.match, above) if m), None)
        steady = all(s.plain for s in said.values() if s.readings) and not flagged and not rejected
        size = plain_numbers(stated[1], case.base.style) if stated else []
        if stated is None or not size or not steady:
            return ""
        step = size[0] * {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}[stated[2]]
        for k, row in enumerate(rows):
            if not math.isclose(float(row["time_s"]), k * step, rel_tol=1e-9, abs_tol=1e-12):  # type: ignore[arg-type]
                return f"row {k}: at {row['time_s']} s, the text says {k * step}"
    return ""
