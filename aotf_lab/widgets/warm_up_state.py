"""How far a warm-up has come, by a log that may still be being written, and how long to wait."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.stability import WarmUp, fit_warm_up
from aotf_lab.errors import ReadingError, ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.by_purpose import read_raw_file
from aotf_lab.reading.counted_log import read_counted_log
from aotf_lab.reading.readings import Readings
from aotf_lab.session import Session

__all__ = ["LogSoFar", "WarmUpState", "log_so_far", "longer_log", "read_whole_lines", "warm_up_state"]

_VAGUE, _LONG, _PLACES = 0.3, 12.0, 2000
"""Relative u of a time constant beyond which nothing is forecast, how many of it a forecast looks ahead, its places."""


@dataclass(frozen=True)
class LogSoFar:
    """A log as far as it has come; ``law`` None where it shows none yet, and ``why``.

    ``newer`` is how many of the last readings came after the law was fitted.
    """

    readings: Readings = field(repr=False)
    law: WarmUp | None
    why: str
    newer: int = 0

    @property
    def time_s(self) -> FloatArray:
        """Time of each reading (n,): since power-on where that is known, else since the first."""
        t = self.readings.table["time_s"].to_numpy(dtype=float)
        return np.asarray(t - t[0] + (0.0 if self.law is None else self.law.range_s[0]))

    @property
    def frequency_mhz(self) -> FloatArray:
        """Frequency of each reading (n,)."""
        return np.asarray(self.readings.table["frequency_mhz"].to_numpy(dtype=float))

    @property
    def at_mean_temperature(self) -> tuple[FloatArray, FloatArray]:
        """Times (s) and frequencies (MHz) of the readings in use, less what the temperature did; all without a law."""
        law = self.law
        if law is None:
            return self.time_s, self.frequency_mhz
        t, known = law.times_s, law.log.frequency_mhz - law.by_temperature_mhz()
        if not self.newer:
            return t, known
        newer = self.frequency_mhz[-self.newer :] - self._by_temperature(law)[-self.newer :]
        return np.append(t, self.time_s[-self.newer :]), np.append(known, newer)

    def _by_temperature(self, law: WarmUp) -> FloatArray:
        """Return what its temperature made of each reading (n,), 0 where it was not noted or has no known effect."""
        if law.temperature_mhz_per_k is None or law.temperature_c is None:
            return np.zeros(len(self.readings.table))
        warmer = self.readings.table["temperature_c"].to_numpy(dtype=float) - law.temperature_c.mean()
        return np.asarray(np.nan_to_num(law.temperature_mhz_per_k.n * warmer))


@dataclass(frozen=True)
class WarmUpState:
    """How far a warm-up has come; made by ``warm_up_state``.

    ``left_mhz`` is what the law still expects, ``wait_s`` the time from which less than ``share`` of ``fwhm_mhz`` is
    left for sure (95 %), ``forecast_s`` that from which the law so far expects it; each None where it cannot be said,
    with the reason in ``remarks``.
    """

    log: LogSoFar
    share: float
    fwhm_mhz: float
    now_s: float
    left_mhz: UFloat | None
    wait_s: float | None
    forecast_s: float | None
    remarks: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """Ready, wait so long, or not to be said yet."""
        if self.wait_s is not None:
            return "ready"
        if self.forecast_s is None:
            return "not to be said yet: let the log grow"
        left = self.forecast_s - self.now_s
        if left <= 0:
            return "ready by the law so far, but not yet for sure"
        return f"wait about another {left / 60:.0f} min, by the law so far"

    @property
    def title(self) -> str:
        """The verdict in a line."""
        return f"Warm-up after {self.now_s / 60:.1f} min: {self.verdict}"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""
        mhz = self.log.frequency_mhz
        rows = [("readings", f"{len(mhz)}, the last {mhz[-1]:.4f} MHz")]
        law = self.log.law
        if law is not None and self.left_mhz is not None:
            most = abs(self.left_mhz.n) + law.fit.coverage_factor() * self.left_mhz.s
            lost = light_lost_percent(most, self.fwhm_mhz)
            rows += [
                ("still to go", f"{shown(1e3 * self.left_mhz)} kHz, at most {100 * most / self.fwhm_mhz:.2g} % of the "
                 f"passband's width: up to {lost:.2g} % of the light (95 %)"),
                ("settles at", f"{shown(law.final_mhz)} MHz"),
                ("time constant", f"{shown(law.time_constant_s / 60)} min"),
                ("jitter of one reading", f"{1e3 * law.jitter_mhz:.2g} kHz"),
            ]  # fmt: skip
        return (*rows, ("allowed", f"{1e3 * self.share * self.fwhm_mhz:.1f} kHz"), ("verdict", self.verdict))

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        law = "no law yet" if self.log.law is None else "the law through them with its band"
        return f"Frequency against time: {len(self.log.frequency_mhz)} readings, {law}; {self.verdict}."


def read_whole_lines(path: str | os.PathLike[str], session: Session) -> Readings:
    """Return the readings of a log that may be being written: without a last line that does not end yet.

    The file is opened for reading only. It is read as the session's own file of warm-up says where it is that one.
    Raises ``ReadingError`` when it is not there or cannot be understood.
    """
    source = Path(path)
    try:
        raw = source.read_bytes()
    except OSError as error:
        raise ReadingError(
            "the log cannot be opened", where=source.name, found=Said(error.strerror or "no file"),
            allowed="a log that is being written", cure="start the log, or correct the path",
        ) from error  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / source.name
        copy.write_bytes(raw[: raw.rfind(b"\n") + 1])
        own = [f for f in session.files("warm_up") if f.path.resolve() == source.resolve()]
        if own:
            return read_raw_file(replace(own[0], path=copy), session.instruments)
        return read_counted_log(copy, session.instruments)


def log_so_far(readings: Readings, started_s: float | None = None) -> LogSoFar:
    """Return the readings with the law of their warm-up, where they show one; ``started_s`` as for ``fit_warm_up``.

    Raises ``ReadingsError`` without times and frequencies.
    """
    kept = _known(readings)
    try:
        return LogSoFar(kept, fit_warm_up(kept, started_s=started_s), "")
    except ReadingsError as error:
        return LogSoFar(kept, None, str(error))


def longer_log(readings: Readings, earlier: LogSoFar) -> LogSoFar | None:
    """Return the readings with the law of an ``earlier`` look at them; None where they are no longer the same log.

    Raises ``ReadingsError`` without times and frequencies.
    """
    kept = _known(readings)
    newer = len(kept.table) - len(earlier.readings.table)
    same = newer >= 0 and all(
        np.array_equal(kept.table[c].to_numpy()[: len(earlier.readings.table)], earlier.readings.table[c].to_numpy())
        for c in ("time_s", "frequency_mhz")
    )
    return LogSoFar(kept, earlier.law, earlier.why, earlier.newer + newer) if same else None


def _known(readings: Readings) -> Readings:
    """Return the readings with a time and a frequency."""
    readings.require("time_s", "frequency_mhz")
    known = readings.table["time_s"].notna() & readings.table["frequency_mhz"].notna()
    kept = replace(readings, table=readings.table[known].reset_index(drop=True))
    kept.require("time_s")
    return kept


def warm_up_state(log: LogSoFar, share: float, fwhm_mhz: float) -> WarmUpState:
    """Return how far the warm-up of ``log`` has come, against ``share`` (0 to 1) of a passband of ``fwhm_mhz``.

    Raises ``AotfLabError`` for a share or width without meaning.
    """
    now = float(log.time_s[-1])
    if log.law is None:
        return WarmUpState(log, share, fwhm_mhz, now, None, None, None, (log.why,))
    remarks = [str(c) for c in log.law.fit.failed]
    if log.newer:
        remarks.insert(0, f"the law is still that of before the last {log.newer} readings: it is being fitted anew")
    wait: float | None = None
    try:
        wait = log.law.wait_s(share, fwhm_mhz)
    except ReadingsError as error:
        remarks.insert(0, str(error))
    left: UFloat = log.law.remaining_mhz(min(now, log.law.range_s[1]))
    return WarmUpState(log, share, fwhm_mhz, now, left, wait, _forecast(log.law, share * fwhm_mhz), tuple(remarks))


def _forecast(law: WarmUp, limit_mhz: float) -> float | None:
    """Return the time (s) from which the law expects less than ``limit_mhz``; None with a vague time constant."""
    longest = law.time_constant_s
    if longest.s > _VAGUE * longest.n:
        return None
    times = law.range_s[0] + np.linspace(0.0, _LONG * longest.n + law.range_s[1], _PLACES)
    pairs = zip(law.shifts_mhz, law.time_constants_s, strict=True)
    left = np.abs(np.sum([a.n * np.exp(-times / tau.n) for a, tau in pairs], axis=0))
    above = np.flatnonzero(left > limit_mhz)
    if len(above) == 0:
        return float(times[0])
    return float(times[above[-1] + 1]) if above[-1] + 1 < len(times) else None
