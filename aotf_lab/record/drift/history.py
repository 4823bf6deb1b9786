"""One link's records side by side: how far each was from the last one, at which temperature, on which day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

import numpy as np
import pandas as pd

from aotf_lab.errors import ReadingsError, RecordError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_day, given_list

__all__ = ["History", "Link", "dates_of", "history_of", "history_of_table"]

Link = Literal["oscillator", "crystal"]

_DAY = len("2031-03-02")
_COLUMNS = ("date", "temperature_c", "frequency_mhz", "u_frequency_mhz")


@dataclass(frozen=True, eq=False)
class History:
    """The records of one link in the order of time, made by ``history_of`` or ``history_of_table``.

    ``shift`` (n,) is each record's frequency less that of the last: in MHz for the oscillator, relative for the
    crystal (its lines move in proportion). ``covariance`` (n, n) is that of the shifts' stated errors without what all
    records share. ``temperature_c`` (n,) is the box's or the crystal's, NaN where it was not noted.
    """

    link: Link
    dates: tuple[date, ...]
    temperature_c: FloatArray
    shift: FloatArray
    covariance: FloatArray

    @property
    def days(self) -> FloatArray:
        """Days (n,) since the last record: zero or less."""
        return np.array([float((d - self.dates[-1]).days) for d in self.dates])

    @property
    def span_days(self) -> float:
        """Days from the first record to the last."""
        return float(-self.days[0])

    @property
    def shown(self) -> tuple[float, str]:
        """The factor and the unit by which shifts are printed."""
        return (1e3, "kHz") if self.link == "oscillator" else (1e6, "ppm")

    def __len__(self) -> int:
        return len(self.dates)


def dates_of(dates: Sequence[date | str]) -> tuple[date, ...]:
    """Return ``dates`` as dates, from text such as "2031-03-02" or from dates; a time of day is left out.

    Raises ``ReadingsError`` for anything else.

    >>> dates_of(["2031-03-02T09:15"])
    (datetime.date(2031, 3, 2),)
    """
    found = []
    for k, day in enumerate(given_list(dates, "dates", "dates in a list", "put them into a list")):
        try:
            found.append(date.fromisoformat(given_day(_without_time(day), "date")))
        except (RecordError, ValueError):
            raise ReadingsError(
                f"date of record {k + 1}", found=str(day), allowed="year-month-day, such as 2031-03-02",
                cure="state the day on which it was measured",
            ) from None  # fmt: skip
    return tuple(found)


def _without_time(day: object) -> object:
    """Return the day of ISO text with a time of day, and that of an array's date; anything else as it is."""
    if isinstance(day, np.datetime64):
        return day.astype("datetime64[D]").item()
    if isinstance(day, str) and len(day) > _DAY:
        datetime.fromisoformat(day)
        return day[:_DAY]
    return day


def history_of(
    link: Link,
    dates: Sequence[date | str],
    temperature_c: Sequence[float] | FloatArray,
    values: FloatArray,
    covariance: FloatArray,
) -> History:
    """Return the history of ``values`` (n,), in MHz (oscillator) or relative (crystal), with ``covariance`` (n, n).

    An error that all records share, such as the time base of one counter, shifts all of them alike: it is taken out.
    Raises ``ReadingsError`` for fewer than two records or lists that do not pair up.
    """
    days = dates_of(dates)
    y, t = np.asarray(values, dtype=float), np.asarray(temperature_c, dtype=float)
    if not len(days) == len(y) == len(t) == len(covariance):
        raise ReadingsError(
            "the records' lists do not pair up",
            found=Said(f"{len(days)} dates, {len(t)} temperatures, {len(y)} values"),
            allowed="one of each for every record", cure="leave out what has no partner",
        )  # fmt: skip
    if len(y) < 2:
        raise ReadingsError(
            f"no drift of the {link} from so few records", found=len(y), allowed="2 or more",
            cure="keep a second calibration on another day",
        )  # fmt: skip
    if not (np.isfinite(y).all() and np.isfinite(covariance).all() and np.all(np.diag(covariance) >= 0)):
        bad = next((k for k in range(len(y)) if not (np.isfinite(y[k]) and covariance[k, k] >= 0)), 0)
        raise ReadingsError(
            f"record of {days[bad]}", found=Said(f"{y[bad]:g} with variance {covariance[bad, bad]:g}"),
            allowed="finite numbers, a variance not below zero", cure="leave that record out",
        )  # fmt: skip
    order = np.argsort(np.array(days, dtype="datetime64[D]"), kind="stable")
    y, c = y[order], _without_common(np.asarray(covariance, dtype=float)[np.ix_(order, order)])
    return History(link, tuple(days[k] for k in order), t[order], y - y[-1], c)


def history_of_table(table: pd.DataFrame, link: Link) -> History:
    """Return the history of a table with ``date``, ``temperature_c``, ``frequency_mhz`` and ``u_frequency_mhz``.

    The frequency is the oscillator's at one drive, or the peak of one line. Raises ``ReadingsError`` for a missing
    column and for what ``history_of`` refuses.
    """
    missing = [c for c in _COLUMNS if c not in table]
    if missing:
        raise ReadingsError(
            "a column of the history is missing", found=", ".join(map(str, table.columns)),
            allowed=", ".join(_COLUMNS), cure=f"add {', '.join(missing)}",
        )  # fmt: skip
    temperature, f, u = (table[c].to_numpy(dtype=float) for c in _COLUMNS[1:])
    scale = 1.0 if link == "oscillator" or not len(f) else float(f[-1])
    return history_of(link, list(table["date"]), temperature, f / scale, np.diag((u / scale) ** 2))


def _without_common(covariance: FloatArray) -> FloatArray:
    """Return ``covariance`` (n, n) without the variance that all records share."""
    n = len(covariance)
    shared = float(np.min(covariance[~np.eye(n, dtype=bool)]))
    if shared <= 0:
        return covariance
    rest = covariance - shared
    return rest if float(np.linalg.eigvalsh(rest)[0]) >= -1e-12 * float(np.trace(rest)) else covariance
