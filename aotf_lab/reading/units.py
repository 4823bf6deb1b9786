"""The one table of bench units, and the only place where a number changes its unit.

A spelling is read without regard to case except where case decides the number: m is milli and M
is mega, so ``mw``, ``MW`` and ``mhz`` are refused rather than guessed. The prefixes are those of
the SI (BIPM, The International System of Units, 9th ed., table 7), kelvin and degree Celsius as in
its section 2.3.1. pint 0.25 was tried on bench cells and left: it reads "1,25 V" as
125 V, "850u" as atomic masses and "1 kS/s" as siemens, and rejects Vrms, KHz and "-3.2 dBm".
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.physics.rf import dbm_to_watt
from aotf_lab.quantities import QUANTITIES

__all__ = [
    "UNITLESS",
    "Unit",
    "bench_unit",
    "bench_values",
    "is_unit",
    "kinds_of",
    "optical_column",
    "parse_unit",
    "to_bench",
]


@dataclass(frozen=True)
class Unit:
    """A unit: its ``symbol``, the ``kind`` of quantity, and what makes a number one of the base of that kind.

    number in the base = number * ``factor`` + ``offset``. The bases are V, V rms, A, ohm, Hz, W, dBm,
    dB, m, rad, s, samples per second, degC, counts and 1. The kinds "power level" (dBm) and "level ratio"
    (dB) are logarithmic. Ohm, dB and samples per second serve settings; no column has them.
    """

    symbol: str
    kind: str
    factor: float = 1.0
    offset: float = 0.0


UNITLESS = Unit("", "ratio")

_RMS_OF_PP = 8.0**-0.5
_UNITS = (
    Unit("V", "voltage"), Unit("mV", "voltage", 1e-3), Unit("uV", "voltage", 1e-6),
    Unit("Vrms", "rms voltage"), Unit("mVrms", "rms voltage", 1e-3),
    Unit("Vpp", "peak-to-peak voltage", _RMS_OF_PP), Unit("mVpp", "peak-to-peak voltage", 1e-3 * _RMS_OF_PP),
    Unit("A", "current"), Unit("mA", "current", 1e-3), Unit("uA", "current", 1e-6),
    Unit("ohm", "resistance"), Unit("kohm", "resistance", 1e3), Unit("Mohm", "resistance", 1e6),
    Unit("Hz", "frequency"), Unit("kHz", "frequency", 1e3), Unit("MHz", "frequency", 1e6),
    Unit("GHz", "frequency", 1e9),
    Unit("W", "power"), Unit("mW", "power", 1e-3), Unit("uW", "power", 1e-6), Unit("nW", "power", 1e-9),
    Unit("pW", "power", 1e-12),
    Unit("dBm", "power level"), Unit("dBW", "power level", 1.0, 30.0), Unit("dB", "level ratio"),
    Unit("m", "length"), Unit("cm", "length", 1e-2), Unit("mm", "length", 1e-3), Unit("um", "length", 1e-6),
    Unit("nm", "length", 1e-9), Unit("pm", "length", 1e-12), Unit("Angstrom", "length", 1e-10),
    Unit("inch", "length", 0.0254),
    Unit("deg", "angle", math.pi / 180.0), Unit("rad", "angle"), Unit("mrad", "angle", 1e-3),
    Unit("h", "time", 3600.0), Unit("min", "time", 60.0), Unit("s", "time"), Unit("ms", "time", 1e-3),
    Unit("us", "time", 1e-6), Unit("ns", "time", 1e-9),
    Unit("S/s", "sample rate"), Unit("kS/s", "sample rate", 1e3), Unit("MS/s", "sample rate", 1e6),
    Unit("GS/s", "sample rate", 1e9),
    Unit("degC", "temperature"), Unit("K", "temperature", 1.0, -273.15),
    Unit("%", "ratio", 1e-2), Unit("ppm", "ratio", 1e-6), Unit("1", "ratio"), Unit("counts", "counts"),
)  # fmt: skip
_BY_SYMBOL = {unit.symbol: unit for unit in _UNITS}

_CASE_MATTERS = {"mV", "mVrms", "mVpp", "MHz", "mW", "pW", "s", "ms", "us", "ns", "m", "cm", "mm", "um", "nm", "pm"}
_CASE_MATTERS |= {"mrad", "h", "A", "mA", "Mohm", "K", "S/s", "kS/s", "MS/s", "GS/s"}
_SPELLINGS: dict[str, str] = {u.symbol.lower(): u.symbol for u in _UNITS if u.symbol not in _CASE_MATTERS}
_SPELLINGS |= {"vp-p": "Vpp", "vpk-pk": "Vpp", "vrms": "Vrms", "v_rms": "Vrms", "c": "degC", "°c": "degC", "℃": "degC"}
_SPELLINGS |= {"sec": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "hour": "h", "hours": "h"}
_SPELLINGS |= {"volt": "V", "volts": "V", "watt": "W", "watts": "W", "vac": "Vrms", "vdc": "V", "percent": "%"}
_SPELLINGS |= {"amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "ohms": "ohm", "hertz": "Hz", "kelvin": "K"}
_SPELLINGS |= {"angstroms": "Angstrom", "ångström": "Angstrom", "samples/s": "S/s", "sa/s": "S/s", "celsius": "degC"}
_SPELLINGS |= {"count": "counts", "cts": "counts", "lsb": "counts", "adc": "counts", "adccounts": "counts"}
_SPELLINGS |= {"°": "deg", "degree": "deg", "degrees": "deg", "radian": "rad", "radians": "rad", "inches": "inch"}
_EXACT = {"mVp-p": "mVpp", "mVpk-pk": "mVpp", "mV_rms": "mVrms", "MOhm": "Mohm", "Å": "Angstrom"}
_EXACT |= {"Veff": "Vrms", "mVeff": "mVrms", "kSa/s": "kS/s", "MSa/s": "MS/s", "GSa/s": "GS/s"}
_LETTERS = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u2126": "ohm", "\u03a9": "ohm", "\u212b": "Å"})

_MILLI_OR_MEGA = "m is milli and M is mega"
_REFUSED = dict.fromkeys(("mw", "mhz", "mv", "mvrms", "mvpp", "ma", "mohm", "mrad"), _MILLI_OR_MEGA)
_REFUSED |= dict.fromkeys(("vp", "vpk"), "a peak value may be counted from zero or from the other peak")
_REFUSED |= dict.fromkeys(("a.u.", "arb"), "arbitrary units have no size")
_REFUSED |= dict.fromkeys(("f", "°f"), "degrees Fahrenheit are not converted")
_REFUSED |= dict.fromkeys(("s/s", "ks/s", "ms/s", "gs/s"), "S is a sample and s a second")
_REFUSED["k"] = "kelvin and kilo look alike"

_NO_COLUMN = {
    "dB": "a ratio in dB says nothing without its reference",
    "A": "A is ampere; Angstrom is written out or \u00c5",
    "m": "m is metre; minutes are min",
}

_KINDS = {
    "drive_v": ("voltage",),
    "supply_v": ("voltage",),
    "forward_v": ("voltage", "rms voltage", "peak-to-peak voltage"),
    "reflected_v": ("voltage", "rms voltage", "peak-to-peak voltage"),
    "rf_level_vrms": ("rms voltage", "peak-to-peak voltage"),
    "rf_level_dbm": ("power level",),
    "rf_power_w": ("power", "power level"),
    "dark_power_mw": ("power", "power level"),
    "incident_power_mw": ("power", "power level"),
}


def _canonical(text: str) -> str:
    squeezed = re.sub(r"\s+", "", text).translate(_LETTERS).replace("deg.", "deg")
    if squeezed in _BY_SYMBOL:
        return squeezed
    return _EXACT.get(squeezed) or _SPELLINGS.get(squeezed.lower(), "")


def is_unit(text: str) -> bool:
    """Return whether ``text`` is meant as a unit: a known one, or one that is refused by name.

    >>> is_unit("kHz"), is_unit("mhz"), is_unit("counter")
    (True, True, False)
    """
    return bool(_canonical(text)) or text.strip().translate(_LETTERS).lower() in _REFUSED


def parse_unit(text: str, where: str = "") -> Unit:
    """Return the unit that ``text`` spells; micro may be u, U+00B5 or U+03BC.

    Raises ``ReadingError`` for a unit that is not in the table or that two units share.

    >>> parse_unit("µW").factor, parse_unit("KHz").symbol
    (1e-06, 'kHz')
    """
    symbol = _canonical(text)
    if symbol:
        return _BY_SYMBOL[symbol]
    reason = _REFUSED.get(text.strip().translate(_LETTERS).lower())
    raise ReadingError(
        f"ambiguous unit: {reason}" if reason else "unknown unit",
        where=where,
        found=text,
        allowed=", ".join(_BY_SYMBOL),
        cure="state the unit of the column in a layout, written as in this list, capitals included",
    )


def bench_unit(column: str) -> Unit:
    """Return the unit in which ``column`` (or the column whose u it is) stands in a table.

    The name "counts" serves the readings of a converter before their scale is applied.

    Raises ``AotfLabError`` (from the table of quantities) for a column that has none.

    >>> bench_unit("u_frequency_mhz").symbol, bench_unit("rf_level_vrms").symbol
    ('MHz', 'Vrms')
    """
    if column == "u_optical_power_dbm":
        return _BY_SYMBOL["dB"]
    column = column.removeprefix("u_")
    if column == "rf_level_vrms":
        return _BY_SYMBOL["Vrms"]
    if column == "rf_level_dbm":
        return _BY_SYMBOL["dBm"]
    if column == "counts":
        return _BY_SYMBOL["counts"]
    if column == "wavelength_stated_nm":
        return _BY_SYMBOL["nm"]
    unit = QUANTITIES[column].unit
    unit = {"°C": "degC", "°": "deg"}.get(unit, unit)
    return _BY_SYMBOL[unit] if unit else UNITLESS


def kinds_of(column: str) -> tuple[str, ...]:
    """Return the kinds of unit from which ``column`` can be read; a u cannot be read from dBm."""
    base = column.removeprefix("u_")
    if column == "u_optical_power_dbm":
        return ("level ratio",)
    kinds = _KINDS.get(base, (bench_unit(base).kind,))
    return tuple(k for k in kinds if k != "power level") if column.startswith("u_") else kinds


def optical_column(column: str, unit: Unit) -> str:
    """Return the column of an optical power in ``unit``: on a log scale it is a level, kept as such.

    >>> optical_column("optical_power_mw", parse_unit("dBm")), optical_column("frequency_mhz", parse_unit("MHz"))
    ('optical_power_dbm', 'frequency_mhz')
    """
    levels = {"power level": "optical_power_dbm", "level ratio": "optical_level_db"}
    return levels.get(unit.kind, column) if column == "optical_power_mw" else column


def to_bench(value: float, unit: Unit, column: str, where: str = "") -> float:
    """Return ``value`` in ``unit`` as a number of the bench unit of ``column``.

    Peak-to-peak volts become rms volts of a sine. Raises ``ReadingError`` for a unit of another kind.

    >>> round(to_bench(62500.0, parse_unit("kHz"), "frequency_mhz"), 6)
    62.5
    >>> round(to_bench(20.0, parse_unit("Vpp"), "rf_level_vrms"), 4)
    7.0711
    """
    return float(bench_values(np.array([value]), unit, column, where)[0])


def bench_values(values: NDArray[np.float64], unit: Unit, column: str, where: str = "") -> NDArray[np.float64]:
    """Return an array of ``values`` in ``unit`` in the bench unit of ``column``: ``to_bench`` for many.

    >>> bench_values(np.array([0.0, 30.0]), parse_unit("dBm"), "rf_power_w").round(6).tolist()
    [0.001, 1.0]
    """
    if unit.kind not in kinds_of(column):
        article = "an" if unit.kind == "angle" else "a"
        why = f": {_NO_COLUMN[unit.symbol]}" if unit.symbol in _NO_COLUMN else ""
        raise ReadingError(
            f"{article} {unit.kind} cannot be {column}{why}",
            where=where,
            found=unit.symbol or Said("no unit"),
            allowed=", ".join(u.symbol for u in _UNITS if u.kind in kinds_of(column)),
            cure="state the unit of the column in a layout, or map another column under columns",
        )
    bench = bench_unit(column)
    offset = 0.0 if column.startswith("u_") else unit.offset
    if unit.kind == "power level":
        level = values + offset
        return level if bench.kind == "power level" else np.asarray(dbm_to_watt(level), dtype=float) / bench.factor
    scaled = values * (unit.factor / bench.factor)
    return scaled + offset if offset else scaled
