"""The one table of bench units, and the only place where a number changes its unit.

A spelling is read without regard to case except where case decides the number: m is milli and M
is mega, so ``mw``, ``MW`` and ``mhz`` are refused rather than guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from aotf_lab.errors import ReadingError, Said
from aotf_lab.physics.rf import dbm_to_watt
from aotf_lab.quantities import QUANTITIES

__all__ = ["UNITLESS", "Unit", "bench_unit", "is_unit", "kinds_of", "parse_unit", "to_bench"]


@dataclass(frozen=True)
class Unit:
    """A unit: its ``symbol``, the ``kind`` of quantity, and its ``factor`` to the base of that kind.

    The bases are V, V rms, Hz, W, m, s, degC and 1. The kind "power level" (dBm) is logarithmic
    and has no factor.
    """

    symbol: str
    kind: str
    factor: float = 1.0


UNITLESS = Unit("", "ratio")

_RMS_OF_PP = 8.0**-0.5
_UNITS = (
    Unit("V", "voltage"), Unit("mV", "voltage", 1e-3), Unit("uV", "voltage", 1e-6),
    Unit("Vrms", "rms voltage"), Unit("mVrms", "rms voltage", 1e-3),
    Unit("Vpp", "peak-to-peak voltage", _RMS_OF_PP), Unit("mVpp", "peak-to-peak voltage", 1e-3 * _RMS_OF_PP),
    Unit("Hz", "frequency"), Unit("kHz", "frequency", 1e3), Unit("MHz", "frequency", 1e6),
    Unit("GHz", "frequency", 1e9),
    Unit("W", "power"), Unit("mW", "power", 1e-3), Unit("uW", "power", 1e-6), Unit("nW", "power", 1e-9),
    Unit("dBm", "power level"),
    Unit("um", "length", 1e-6), Unit("nm", "length", 1e-9), Unit("pm", "length", 1e-12),
    Unit("h", "time", 3600.0), Unit("min", "time", 60.0), Unit("s", "time"), Unit("ms", "time", 1e-3),
    Unit("us", "time", 1e-6),
    Unit("degC", "temperature"), Unit("%", "ratio", 1e-2), Unit("1", "ratio"),
)  # fmt: skip
_BY_SYMBOL = {unit.symbol: unit for unit in _UNITS}

_CASE_MATTERS = {"mV", "mVrms", "mVpp", "MHz", "mW", "s", "ms", "us", "um", "nm", "pm", "h"}
_SPELLINGS: dict[str, str] = {u.symbol.lower(): u.symbol for u in _UNITS if u.symbol not in _CASE_MATTERS}
_SPELLINGS |= {"vp-p": "Vpp", "vpk-pk": "Vpp", "vrms": "Vrms", "v_rms": "Vrms", "c": "degC", "°c": "degC", "℃": "degC"}
_SPELLINGS |= {"sec": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "hour": "h", "hours": "h"}
_SPELLINGS |= {"volt": "V", "volts": "V", "watt": "W", "watts": "W", "vac": "Vrms", "vdc": "V", "percent": "%"}
_EXACT = {"mVp-p": "mVpp", "mVpk-pk": "mVpp", "mV_rms": "mVrms"}

_REFUSED = {
    "mw": "m is milli and M is mega", "mhz": "m is milli and M is mega", "mv": "m is milli and M is mega",
    "mvrms": "m is milli and M is mega", "mvpp": "m is milli and M is mega",
    "vp": "a peak value may be counted from zero or from the other peak",
    "vpk": "a peak value may be counted from zero or from the other peak",
    "db": "a ratio in dB says nothing without its reference", "a.u.": "arbitrary units have no size",
    "arb": "arbitrary units have no size", "k": "kelvin and kilo look alike",
    "f": "degrees Fahrenheit are not converted", "°f": "degrees Fahrenheit are not converted",
}  # fmt: skip

_KINDS = {
    "drive_v": ("voltage",),
    "supply_v": ("voltage",),
    "rf_level_vrms": ("rms voltage", "peak-to-peak voltage"),
    "rf_level_dbm": ("power level",),
    "rf_power_w": ("power", "power level"),
}


def _canonical(text: str) -> str:
    squeezed = re.sub(r"\s+", "", text).replace("\u00b5", "u").replace("\u03bc", "u").replace("deg.", "deg")
    if squeezed in _BY_SYMBOL:
        return squeezed
    return _EXACT.get(squeezed) or _SPELLINGS.get(squeezed.lower(), "")


def is_unit(text: str) -> bool:
    """Return whether ``text`` is meant as a unit: a known one, or one that is refused by name.

    >>> is_unit("kHz"), is_unit("mhz"), is_unit("counter")
    (True, True, False)
    """
    return bool(_canonical(text)) or text.strip().lower() in _REFUSED


def parse_unit(text: str, where: str = "") -> Unit:
    """Return the unit that ``text`` spells; micro may be u, U+00B5 or U+03BC.

    Raises ``ReadingError`` for a unit that is not in the table or that two units share.

    >>> parse_unit("µW").factor, parse_unit("KHz").symbol
    (1e-06, 'kHz')
    """
    symbol = _canonical(text)
    if symbol:
        return _BY_SYMBOL[symbol]
    reason = _REFUSED.get(text.strip().lower())
    raise ReadingError(
        f"ambiguous unit: {reason}" if reason else "unknown unit",
        where=where,
        found=text,
        allowed=", ".join(_BY_SYMBOL),
        cure="write the unit as in this list, capitals included",
    )


def bench_unit(column: str) -> Unit:
    """Return the unit in which ``column`` (or the column whose u it is) stands in a table.

    Raises ``AotfLabError`` (from the table of quantities) for a column that has none.

    >>> bench_unit("u_frequency_mhz").symbol, bench_unit("rf_level_vrms").symbol
    ('MHz', 'Vrms')
    """
    column = column.removeprefix("u_")
    if column == "rf_level_vrms":
        return _BY_SYMBOL["Vrms"]
    if column == "rf_level_dbm":
        return _BY_SYMBOL["dBm"]
    if column == "wavelength_stated_nm":
        return _BY_SYMBOL["nm"]
    unit = QUANTITIES[column].unit
    return _BY_SYMBOL["degC"] if unit == "°C" else _BY_SYMBOL[unit] if unit else UNITLESS


def kinds_of(column: str) -> tuple[str, ...]:
    """Return the kinds of unit from which ``column`` can be read; a u cannot be read from dBm."""
    base = column.removeprefix("u_")
    kinds = _KINDS.get(base, (bench_unit(base).kind,))
    return tuple(k for k in kinds if k != "power level") if column.startswith("u_") else kinds


def to_bench(value: float, unit: Unit, column: str, where: str = "") -> float:
    """Return ``value`` in ``unit`` as a number of the bench unit of ``column``.

    Peak-to-peak volts become rms volts of a sine. Raises ``ReadingError`` for a unit of another kind.

    >>> round(to_bench(62500.0, parse_unit("kHz"), "frequency_mhz"), 6)
    62.5
    >>> round(to_bench(20.0, parse_unit("Vpp"), "rf_level_vrms"), 4)
    7.0711
    """
    if unit.kind not in kinds_of(column):
        raise ReadingError(
            f"a {unit.kind} cannot be {column}",
            where=where,
            found=unit.symbol or Said("no unit"),
            allowed=", ".join(u.symbol for u in _UNITS if u.kind in kinds_of(column)),
            cure="correct the unit in the header, or map another column under columns in session.toml",
        )
    bench = bench_unit(column)
    if unit.kind == "power level":
        return value if bench.kind == "power level" else float(dbm_to_watt(value)) / bench.factor
    return value * (unit.factor / bench.factor)
