"""What session.toml says of the instruments, against what they wrote above the headings of a file."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np

from aotf_lab.errors import AotfLabError
from aotf_lab.reading.receipt import Setting
from aotf_lab.reading.shape.marks import direction_word
from aotf_lab.reading.units import kinds_of, parse_unit, to_bench
from aotf_lab.reading.words import plain_words
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile
from aotf_lab.session.contradictions.said import factor_in, ohm_in, quantity_in

__all__ = ["against_preamble"]

_SETTING_NM = 5.0
"""A power meter is set to the nearest few nm (common practice, no source)."""

_OVER_RANGE = 1.2
"""Meters show up to a fifth more than their range (common practice, no source)."""

_PAD_DB = 0.5
"""How far the stated and the written attenuation of one pad may differ (common practice, no source)."""

_TERMINATED_OHM = 1e3
"""An input of less is terminated, one of more is open."""

_OTHER = {"up": "down", "down": "up"}
_RANGED = ("optical_power_mw", "drive_v", "supply_v", "rf_level_vrms", "frequency_mhz", "temperature_c")


def against_preamble(read: ReadFile) -> Iterator[Contradiction]:
    """Yield what the settings above the headings of one file contradict."""
    for receipt in read.readings.receipts:
        name = read.name if receipt.file == read.file.path.name else receipt.file
        for setting in receipt.settings:
            yield from _against(read, setting, f"{name}:{setting.line}" if setting.line else f"layout of {name}")


def _against(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    key = set(plain_words(setting.key).split())
    yield from _what_it_is(read, setting, place)
    if read.has("optical_power_mw") and key & {"wavelength", "lambda"}:
        yield from _wavelength(read, setting, place)
    if "range" in key:
        yield from _range(read, setting)
    if "coupling" in key:
        yield from _coupling(read, setting, place)
    if read.has("rf_level_vrms") or read.file.purpose == "trace":
        yield from _scope(read, setting, key, place)


def _what_it_is(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    """Yield where the file itself says that it is of another line or of the other direction."""
    key, value = plain_words(setting.key), setting.value.strip()
    of_direction = key in ("direction", "sweep", "sweep direction", "scan direction")
    line, direction = read.file.line, read.file.direction
    names = {ln.name for ln in read.facts.lines}
    said = re.sub(r"^(?:line|laser)\s+", "", value, flags=re.IGNORECASE)
    if key in ("line", "laser", "laser line", "label") and line is not None and said in names - {line}:
        cure = "correct line, or name the file that was meant"
        yield Contradiction("the file says another line", place, _written(setting), f'line = "{line}"', cure, True)
    words = [word for word in map(direction_word, plain_words(value).split()) if word]
    if of_direction and direction and set(words) == {_OTHER[direction]}:
        cure = "correct direction: it gives the meter's lag its sign"
        stated = f'direction = "{direction}"'
        yield Contradiction("the file says the other direction", place, _written(setting), stated, cure, True)


def _written(setting: Setting) -> str:
    return f"{setting.key} = {setting.value}"


def _wavelength(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    line = next((ln for ln in read.facts.lines if ln.name == read.file.line), None)
    found = quantity_in(setting.value)
    if line is None or line.stated_wavelength_nm is None or found is None:
        return
    try:
        nm = to_bench(found[0], parse_unit(found[1] or "nm"), "wavelength_nm")
    except AotfLabError:
        return
    allowed = max(_SETTING_NM, 3.0 * line.u_wavelength_nm)
    if abs(nm - line.stated_wavelength_nm) > allowed:
        yield Contradiction(
            "the power meter was set to another wavelength", place, _written(setting),
            f'line "{line.name}" at {line.stated_wavelength_nm:g} nm',
            "correct line; if the meter was set wrongly, its powers are off by a factor; it cancels in efficiency",
        )  # fmt: skip


def _range(read: ReadFile, setting: Setting) -> Iterator[Contradiction]:
    found = quantity_in(setting.value)
    if found is None or not found[1] or not found[0] > 0:
        return
    try:
        unit = parse_unit(found[1])
    except AotfLabError:
        return
    columns = [c for c in _RANGED if read.has(c) and unit.kind in kinds_of(c)]
    if len(columns) != 1:
        return  # none, or several instruments: nothing says whose range it is
    values = np.abs(np.nan_to_num(read.readings.table[columns[0]].to_numpy(dtype=float)))
    limit, row = abs(to_bench(found[0], unit, columns[0])), int(np.argmax(values))
    if values[row] > _OVER_RANGE * limit:
        over = int(np.sum(values > _OVER_RANGE * limit))
        yield Contradiction(
            "readings above the range of their meter", read.readings.place(row),
            f"{columns[0]} {values[row]:.6g}, and {over} rows above {_OVER_RANGE:g} times the range", _written(setting),
            "check the unit of the column, and whether the range was changed on the way",
        )  # fmt: skip


def _coupling(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    words = plain_words(setting.value).split()
    grounded = "gnd" in words or "ground" in words
    steady = [c for c in ("drive_v", "supply_v") if read.has(c)]
    if grounded:
        what, cure = "the input was grounded: nothing was measured", "measure again, or leave the file out"
    elif "ac" in words and steady and not read.has("rf_level_vrms"):
        what = "a steady voltage behind AC coupling is not shown"
        cure = "check how the voltage was measured, and state coupling under settings in a layout of the file"
    else:
        return
    stated = f'purpose = "{read.file.purpose}"' + ("" if grounded else f" with {' and '.join(steady)}")
    yield Contradiction(what, place, _written(setting), stated, cure, True)


def _scope(read: ReadFile, setting: Setting, key: set[str], place: str) -> Iterator[Contradiction]:
    if "probe" in key:
        yield from _probe(read, setting, place)
    elif key & {"pad", "attenuator", "attenuation"}:
        yield from _pad(read, setting, place) if quantity_in(setting.value) else ()
    if key & {"impedance", "termination", "terminated", "coupling", "input"}:
        yield from _impedance(read, setting, place)


def _probe(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    found, stated = factor_in(setting.value), read.facts.instruments.scope.probe
    if found is None or not found > 0 or stated is None or math.isclose(found, stated):
        return
    yield Contradiction(
        f"another probe, a factor of {_ratio(found, stated):g} in RF power", place, _written(setting),
        f"[instrument.scope] probe = {stated:g}",
        f"state probe = {found:g} if the volts in the file are those at the scope's input; if the scope has multiplied "
        f'them already, state settings = {{ "{setting.key}" = "{stated:g}" }} in a layout of the file',
        True,
    )  # fmt: skip


def _ratio(a: float, b: float) -> float:
    return round(float(max(a / b, b / a)) ** 2, 3)


def _pad(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    found, unit = quantity_in(setting.value) or (math.nan, "")
    scope = read.facts.instruments.scope
    if unit.lower() not in ("db", "") or (unit == "" and "db" not in plain_words(setting.key).split()):
        factor = factor_in(setting.value)
        if factor is not None and scope.probe is not None:
            yield from _probe(read, setting, place)
        return
    allowed = max(_PAD_DB, 3.0 * (scope.u_pad_db or 0.0))
    if scope.pad_db is not None and abs(abs(found) - scope.pad_db) > allowed:
        yield Contradiction(
            f"another pad, a factor of {10 ** (abs(abs(found) - scope.pad_db) / 10):.3g} in RF power",
            place, _written(setting), f"[instrument.scope] pad_db = {scope.pad_db:g}",
            "state the attenuation between the load and the scope in pad_db; if the scope has it in its volts already, "
            f'state pad_db = 0, and settings = {{ "{setting.key}" = "0 dB" }} in a layout of the file', True,
        )  # fmt: skip


def _impedance(read: ReadFile, setting: Setting, place: str) -> Iterator[Contradiction]:
    found, scope = ohm_in(setting.value), read.facts.instruments.scope
    if found is None or found < 10.0:
        return
    terminated = found < _TERMINATED_OHM
    if scope.input_ohm is not None and terminated != (scope.input_ohm < _TERMINATED_OHM):
        stated = f"[instrument.scope] input_ohm = {scope.input_ohm:g}"
    elif scope.input_ohm is None and not terminated and scope.pad_db:
        stated = f"[instrument.scope] pad_db = {scope.pad_db:g}, and a pad ends in 50 ohm"
    else:
        return
    yield Contradiction(
        "another termination of the scope's input, a factor of 4 in RF power", place, _written(setting),
        stated, "look at the set-up: an open input shows twice the volts of a terminated one; correct input_ohm, or "
        f'state settings = {{ "{setting.key}" = "50 ohm" }} in a layout of the file if a terminator stood outside',
        True,
    )  # fmt: skip
