"""Do two measurements of the same RF power differ by a factor that has a name?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.physics.rf import dbm_to_watt, rms_to_watt
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["NAMED_RATIOS", "power_columns_differ", "power_files_differ"]

NAMED_RATIOS: tuple[tuple[float, str], ...] = (
    (2.0, "peak read as rms"),
    (4.0, "scope input not terminated in one of them"),
    (8.0, "peak-to-peak read as rms"),
    (10.0, "a pad of 10 dB not counted"),
    (100.0, "x10 probe counted twice or not at all, or a pad of 20 dB not counted"),
    (1000.0, "a pad of 30 dB not counted, or mW read as W"),
)

_U_SCALE = 0.06
"""Scale between two RF measurements, as a standard uncertainty: gain of the scope and load (common practice)."""

_NEAR = 3.0


def power_files_differ(
    first: Readings, second: Readings, *, supply_tolerance_v: float = 0.03, frequency_tolerance_mhz: float = 0.3
) -> tuple[Suspicion, ...]:
    """Return whether ``rf_power_w`` of ``second`` is a named factor off that of ``first`` at the same settings.

    Rows pair when ``supply_v`` (V) and ``frequency_mhz`` (MHz) agree within the tolerances; a column that both
    tables lack is not asked, one that only one has stops the comparison. The ratio is the mean of the logarithms,
    its u their scatter together with 6 % for gain and load.
    """
    settings = {"supply_v": supply_tolerance_v, "frequency_mhz": frequency_tolerance_mhz}
    have = [{*settings, "rf_power_w"} & set(r.table.columns) for r in (first, second)]
    if have[0] != have[1] or "rf_power_w" not in have[0] or len(have[0]) < 2:
        return ()
    here, there = _pairs(first, second, {c: t for c, t in settings.items() if c in have[0]})
    a, b = numbers(first.table["rf_power_w"])[here], numbers(second.table["rf_power_w"])[there]
    found = _named(a, b)
    if found is None:
        return ()
    rows = sorted({int(r) for r in there[found.used]})
    places = f"{lines_of(second, rows)} against {lines_of(first, sorted({int(r) for r in here[found.used]}))}"
    return (_suspicion(found, places, "at the same supply and frequency", tuple(rows)),)


def power_columns_differ(
    readings: Readings, *, load_ohm: float = 50.0, pad_db: float = 0.0, probe: float = 1.0
) -> tuple[Suspicion, ...]:
    """Return whether two columns of RF power or level that stand side by side in a file differ by a named factor.

    Columns ``rf_power_w``, ``rf_level_dbm`` and ``rf_level_vrms``, when the file itself has them (a receipt says
    so, where there is one). A level in volts is that of the scope: it becomes power with ``load_ohm`` (ohm),
    ``pad_db`` (dB) and ``probe``; where a pad may be missing from these facts, the ratio shows it.
    """
    read = {c.meaning for r in readings.receipts for c in r.columns} if readings.receipts else None
    table = readings.table
    columns = [c for c in ("rf_power_w", "rf_level_dbm", "rf_level_vrms") if c in table and (read is None or c in read)]
    powers: dict[str, Floats] = {}
    for column in columns:
        values = numbers(table[column])
        if column == "rf_level_vrms":
            values = np.asarray(rms_to_watt(values, load_ohm)) * probe**2 * 10.0 ** (pad_db / 10.0)
        powers[column] = np.asarray(dbm_to_watt(np.clip(values, -300.0, 300.0))) if column == "rf_level_dbm" else values
    found = []
    for k, one in enumerate(columns):
        for other in columns[k + 1 :]:
            result = _named(powers[one], powers[other])
            if result is not None:
                rows = tuple(np.flatnonzero(result.used).tolist())
                words = f"{other} over {one}, both as W"
                found.append(_suspicion(result, lines_of(readings, rows), words, rows))
    return tuple(found)


def _pairs(
    first: Readings, second: Readings, tolerances: dict[str, float]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return for each row of ``second`` that has a partner: the nearest row of ``first``, and itself."""
    here = np.stack([numbers(first.table[c]) / t for c, t in tolerances.items()], axis=1)
    there = np.stack([numbers(second.table[c]) / t for c, t in tolerances.items()], axis=1)
    pairs = []
    for row, setting in enumerate(there):
        apart = np.max(np.abs(here - setting), axis=1)
        if np.any(apart <= 1.0):
            pairs.append((int(np.nanargmin(apart)), row))
    both = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    return both[:, 0], both[:, 1]


@dataclass(frozen=True)
class _Ratio:
    """The ratio of two measurements, its u, the named factor, how far it and the next one are, and why."""

    ratio: float
    u: float
    factor: str
    others: str
    cause: str
    used: NDArray[np.bool_]


def _named(a: Floats, b: Floats) -> _Ratio | None:
    """Return the factor between b and a, None where they agree or it has no name."""
    used = np.isfinite(a) & np.isfinite(b) & (a > 0) & (b > 0)
    if not np.any(used):
        return None
    logs = np.log(b[used] / a[used])
    middle = float(np.median(logs))
    scatter = 1.4826 * float(np.median(np.abs(logs - middle))) / math.sqrt(logs.size)
    u = math.hypot(scatter, _U_SCALE)
    signed = [(s * math.log(f), f, s, words) for f, words in NAMED_RATIOS for s in (1.0, -1.0)]
    signed.sort(key=lambda item: abs(item[0] - middle))
    near = [item for item in signed if abs(item[0] - middle) <= _NEAR * u]
    if not near or abs(middle) < 5.0 * u:
        return None
    others = ", ".join(f"{_factor(f, s)} is {abs(log - middle) / u:.1f} u off" for log, f, s, _ in signed[:2])
    side = "the second is too high" if middle > 0 else "the first is too high"
    named = " or ".join(_factor(f, s) for _, f, s, _ in near)
    causes = "; or ".join(words for *_, words in near)
    return _Ratio(
        math.exp(middle), u * math.exp(middle), named, others, f"{causes}; {side}, or the other too low", used
    )  # fmt: skip


def _factor(factor: float, sign: float) -> str:
    return f"{factor:g}" if sign > 0 else f"1/{factor:g}"


def _suspicion(found: _Ratio, where: str, of: str, rows: tuple[int, ...]) -> Suspicion:
    return Suspicion(
        f"two measurements of one RF power differ by a factor of {found.factor}", where,
        f"a ratio of {found.ratio:.3g} +- {found.u:.1g} {of} ({found.others})", found.cause,
        "correct unit, termination, probe or pad of one of them in session.toml", rows, unusable=True,
    )  # fmt: skip
