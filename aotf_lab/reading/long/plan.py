"""How a long log is to be read: found once, in its first lines, by the way that reads every other file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.headers import ColumnMap, Heading, understand_headings
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.long.dark_mark import DarkMark, dark_mark
from aotf_lab.reading.long.iso_clock import IsoClock, iso_clock
from aotf_lab.reading.receipt import Setting
from aotf_lab.reading.shape.account import found_layout
from aotf_lab.reading.shape.counts import Scale, read_scale
from aotf_lab.reading.shape.hints import hints_of
from aotf_lab.reading.shape.interval import sample_interval_s
from aotf_lab.reading.shape.mapped import position_name
from aotf_lab.reading.shape.settings import Settings, read_settings
from aotf_lab.reading.text.grid import Grid, RawRow, TextForm
from aotf_lab.reading.text.kinds import kind_of
from aotf_lab.reading.text.split import split
from aotf_lab.reading.units import Unit, parse_unit
from aotf_lab.reading.words import plain_words

__all__ = ["BESIDE", "HEAD_BYTES", "NumberColumn", "Plan", "plan_of"]

HEAD_BYTES = 2**15
"""Bytes of the beginning by which a file is understood: some 500 to 2,000 rows."""

BESIDE = ("frequency_mhz", "drive_v", "supply_v", "temperature_c", "incident_power_mw")
"""Columns of which block means are taken beside the optical power."""

_RAGGED = re.compile(r":([0-9]+): [0-9]+ cells below ")
_MOST_RAGGED = 20
"""More ragged rows than these in the beginning mean that the file is not understood."""

_DARK_KEYS = ("dark", "dark reading", "dark power", "zero reading")


@dataclass(frozen=True)
class NumberColumn:
    """A column of numbers that is read: meaning, 0-based position, heading and unit (None: it stands in the cells).

    ``scale`` makes ``unit`` of counts; ``behind`` is the position of a column with the unit of each cell, -1 for none.
    """

    column: str
    position: int
    header: str
    unit: Unit | None
    scale: Scale | None = None
    behind: int = -1


@dataclass(frozen=True)
class Plan:
    """How every line of the file ``name`` is read.

    ``header`` and ``units`` are the rows above the readings, ``body_line`` the 1-based line from which those stand.
    A row has ``width`` cells and a plain line ``cells`` of them (more where each line ends with a separator).
    ``words`` says that text stands among the numbers, ``labels`` that it does in the first column, ``slow`` that no
    line is plain. ``interval_s`` between rows is stated where there is no column of time, ``found`` is the layout
    that makes the next reading one call.
    """

    name: str
    form: TextForm
    header: RawRow | None
    units: RawRow | None
    body_line: int
    width: int
    cells: int
    headings: tuple[Heading, ...]
    numbers: tuple[NumberColumn, ...]
    dark: DarkMark | None
    clock: IsoClock | None
    words: bool
    labels: bool
    slow: bool
    skip_lines: Mapping[int, str]
    interval_s: float | None
    stated_dark_mw: float | None
    settings: tuple[Setting, ...]
    found: Layout
    notes: tuple[str, ...]

    def number(self, column: str) -> NumberColumn | None:
        """Return the column of numbers that means ``column``, None when there is none."""
        return next((c for c in self.numbers if c.column == column), None)

    def place(self, line: int, header: str = "") -> str:
        """Return file:line, with the column."""
        return f"{self.name}:{line}, column {header!r}" if header else f"{self.name}:{line}"

    @property
    def where(self) -> str:
        """File and line of the headings."""
        return self.place(self.header.line if self.header else self.body_line)

    @property
    def headline(self) -> str:
        """The text of the headings, for messages."""
        return self.header.text if self.header else "no headings"

    @property
    def has_time(self) -> bool:
        """Whether every row has a time, by a column or by the stated interval."""
        return self.clock is not None or self.interval_s is not None or self.number("time_s") is not None


def plan_of(name: str, head: bytes, columns: ColumnMap | None, layout: Layout | None) -> Plan:
    """Return how the file is read, from its first bytes and what is stated.

    Raises ``ReadingError`` for a beginning that cannot be understood, and one without one column of optical power.
    """
    stated = layout or Layout()
    grid = _grid(name, head, stated)
    settings = read_settings(grid.preamble, stated.settings, grid.form.decimal_mark)
    where = f"{name}:{(grid.header or grid.rows[0]).line}"
    scale = read_scale(settings, name) if settings.find("scale") else None
    headers = grid.header.cells if grid.header else tuple(map(position_name, range(len(grid.rows[0].cells))))
    headings = understand_headings(
        headers, where, columns, stated=stated.columns, hints=hints_of(grid, settings), scale=scale, titles=grid.titles,
        wanted=("optical_power_mw",),
    )  # fmt: skip
    time = _one(headings, "time_s", where)
    clock = iso_clock(time, grid) if time is not None and time.clock else None
    numbers = tuple(_number(h, scale) for h in _read(headings, where) if not h.clock)
    if not any(c.column == "optical_power_mw" for c in numbers):
        raise ReadingError(
            "no column that means optical_power_mw", where=where, found=(grid.header or grid.rows[0]).text,
            allowed="a heading such as 'Optical power (mW)'",
            cure='map it in session.toml or in a layout: columns = { optical_power_mw = "..." }',
        )  # fmt: skip
    mark = dark_mark(headings, grid.rows)
    interval = sample_interval_s(settings) if time is None else None
    dark_mw, dark_notes = _stated_dark(settings)
    header = grid.header
    above = max((row.line for row in (header, grid.units) if row), default=0)
    used = {c.position for c in numbers} | ({mark.position} if mark else set()) | ({time.position} if time else set())
    passed = [
        f"column {h.header!r} ({h.column}) is not reduced" for h in headings if h.column and h.position not in used
    ]
    return Plan(
        name, grid.form, header, grid.units, above + 1 if header else grid.rows[0].line, len(headers), _cells(grid),
        headings, numbers, mark, clock, clock is not None or _has_words(grid, {c.position for c in numbers}),
        any(kind_of(row.cells[0]) == "text" for row in grid.rows),
        any(c.unit is None or c.behind >= 0 for c in numbers),
        stated.skip_lines, interval[0] if interval else None,
        dark_mw, tuple(settings.entries), found_layout(grid, headings, stated),
        (*dark_notes, *passed, *([interval[1]] if interval else [])),
    )  # fmt: skip


def _grid(name: str, head: bytes, stated: Layout) -> Grid:
    """Return the first rows in cells; ragged ones among them are left to be counted with those further down."""
    ragged: dict[int, str] = {}
    while True:
        try:
            return split(name, head, replace(stated, skip_lines={**stated.skip_lines, **ragged}))
        except ReadingError as error:
            line = _RAGGED.search(f"{error.where}: {error.what}")
            if line is None or int(line[1]) in ragged or len(ragged) >= _MOST_RAGGED:
                raise
            ragged[int(line[1])] = "ragged"


def _read(headings: Sequence[Heading], where: str) -> list[Heading]:
    """Return the headings of the columns that are read, one for each meaning."""
    wanted = ("time_s", "optical_power_mw", "dark_power_mw", *BESIDE)
    return [h for h in (_one(headings, column, where) for column in wanted) if h is not None]


def _one(headings: Sequence[Heading], column: str, where: str) -> Heading | None:
    """Return the heading of ``column``, None when there is none; raises ``ReadingError`` for several."""
    own = [h for h in headings if h.column == column]
    if len(own) > 1 or any(h.marks.part for h in own):
        raise ReadingError(
            f"{len(own)} columns of {column} in a long log", where=where,
            found=Said(", ".join(repr(h.header) for h in own)), allowed="one column of each meaning",
            cure=f'say which: columns = {{ {column} = "{own[0].header}" }}, and pass the others over with not_used',
        )  # fmt: skip
    return own[0] if own else None


def _number(heading: Heading, scale: Scale | None) -> NumberColumn:
    unit = None if heading.in_cells else heading.unit
    if heading.counts and scale is not None:
        return NumberColumn(heading.column, heading.position, heading.header, scale.unit, scale, heading.behind)
    return NumberColumn(heading.column, heading.position, heading.header, unit, None, heading.behind)


def _cells(grid: Grid) -> int:
    """Return how many cells a plain line has: one more than the headings where a separator ends each line."""
    width = len(grid.rows[0].cells)
    mark = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}.get(grid.form.separator)
    if mark is None:
        return width
    ending = sum(row.text.rstrip(" ").endswith(mark) and bool(row.cells[-1]) for row in grid.rows)
    return width + (2 * ending > len(grid.rows))


def _has_words(grid: Grid, read: set[int]) -> bool:
    """Return whether anything but numbers stands in the columns that are not read as numbers."""
    others = [k for k in range(len(grid.rows[0].cells)) if k not in read]
    return any(row.cells[k].strip("0123456789+-.eE ") for row in grid.rows[:200] for k in others)


def _stated_dark(settings: Settings) -> tuple[float | None, list[str]]:
    """Return the dark in mW that a layout states, and what is said of one that stands above the headings."""
    for setting in settings.entries:
        if plain_words(setting.key) not in _DARK_KEYS:
            continue
        number = settings.number(setting)
        unit = parse_unit(number[1], f"setting {setting.key!r}") if number and number[1] else None
        if number is None or unit is None or unit.kind != "power":
            continue
        dark_mw = number[0] * unit.factor / 1e-3
        if setting.line == 0:
            settings.used(setting, "subtracted from the optical power")
            return dark_mw, []
        return None, [
            f"{setting.key} {setting.value} (line {setting.line}) is not subtracted, as the meter may have done so: "
            f"state dark_mw={dark_mw:g} if it has not"
        ]
    return None, []
