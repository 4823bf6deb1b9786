"""Watch the oscillator warm up while its log grows: how far it still has to go, and how long to wait."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import numpy as np

from aotf_lab.drawing.panel_warm_up import WarmUpPicture
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.session import Session
from aotf_lab.widgets.controls import button, number, switch, whole_number
from aotf_lab.widgets.panel import Panel
from aotf_lab.widgets.warm_up_state import (
    LogSoFar,
    WarmUpState,
    log_so_far,
    longer_log,
    read_whole_lines,
    warm_up_state,
)

__all__ = ["WarmUpPanel"]

_TYPICAL_FWHM_MHZ = 0.3
"""Where no passband was scanned (common practice, no source: 0.1 to 1 MHz)."""
_EVERY_S = 10
_STOPPED, _WATCHING = "stopped", "watching"


class WarmUpPanel(Panel[WarmUpState]):
    """Read a growing log again and again, or once by hand, and say how long to wait."""

    heading = "Warm-up watcher"

    def __init__(
        self, session: Session, path: str | os.PathLike[str] | None = None, *, started_s: float | None = None
    ) -> None:
        """Watch ``path``, by default the session's own log of the warm-up; ``started_s`` as for ``fit_warm_up``."""
        self.session, self.started_s = session, started_s
        files = session.files("warm_up")
        if path is None and not files:
            session.readings("warm_up")  # raises, with what session.toml lacks
        self.path = Path(path) if path is not None else files[0].path
        widths = [float(scan.fwhm_mhz.n) for scan in (session.part("scans") or {}).values()]
        self.share_percent = number("May still move, of the passband's width", 5.0, 0.5, 50.0, 0.5, "%")
        self.fwhm_mhz = number(
            "Passband's width", round(min(widths, default=_TYPICAL_FWHM_MHZ), 3), 0.01, 5.0, 0.01, "MHz"
        )
        self.every_s = whole_number("Look every", _EVERY_S, 1, 120, "s")
        self.watching = switch("The log is", [_STOPPED, _WATCHING])
        self.look_now = button("Look now")
        super().__init__([[self.share_percent, self.fwhm_mhz], [self.watching, self.every_s, self.look_now]])
        self._seen: tuple[int, int] | None = None
        self._log: LogSoFar | None = None
        self._task: asyncio.Task[None] | None = None
        self._picture = WarmUpPicture()
        self.watch(self.share_percent, self.fwhm_mhz, self.every_s)
        self.watching.observe(lambda _: self._start_or_stop(), names="value")
        self.look_now.on_click(lambda _: self._look_anew())
        self.refresh()

    def look(self) -> bool:
        """Read the log if it has changed since the last look, and say whether it had.

        Its readings are shown at once, with the law so far; then the law is fitted to all of them, and shown.
        """
        if not self.read():
            return False
        self.fit()
        return True

    def read(self) -> bool:
        """Show the readings of the log if it has changed, with the law so far, and say whether it had."""
        if self._log is not None and self._stamp() == self._seen:
            return False
        self.refresh(self._read)
        return True

    def fit(self) -> None:
        """Fit the law to all readings that are shown, where any of them are newer than it."""
        if self._log is not None and self._log.newer:
            self.refresh(self._fit)

    def _read(self) -> None:
        earlier, self._log, self._seen = self._log, None, self._stamp()
        readings = read_whole_lines(self.path, self.session)
        if earlier is not None and earlier.law is not None:
            self._log = longer_log(readings, earlier)
        if self._log is None:
            self._log = log_so_far(readings, self.started_s)

    def _fit(self) -> None:
        if self._log is not None:
            self._log = log_so_far(self._log.readings, self.started_s)

    def _look_anew(self) -> None:
        self._seen = (-1, -1)
        self.look()

    def _stamp(self) -> tuple[int, int] | None:
        try:
            stat = self.path.stat()
        except OSError:
            return None
        return stat.st_size, stat.st_mtime_ns

    def _start_or_stop(self) -> None:
        if self._task is not None:
            self._task.cancel()
            self._task = None
        if self.watching.value == _WATCHING:
            try:
                self._task = asyncio.get_running_loop().create_task(self._watch())
            except RuntimeError:
                self.watching.value = _STOPPED
                self.refuse(AotfLabError(
                    "nothing runs that could look again", found=Said("no event loop"),
                    allowed="a notebook, or a page made of one", cure="press Look now, or call look()",
                ))  # fmt: skip

    async def _watch(self) -> None:
        every_s: float = _EVERY_S
        while True:
            self.look()
            try:
                self.every_s.require_within()
                every_s = self.every_s.value
            except AotfLabError:  # said beside the box: until it is put right the time before it holds
                pass
            await asyncio.sleep(every_s)

    def state(self) -> WarmUpState:
        """Return how far the warm-up has come, by the log as it was when last looked at."""
        if self._log is None:
            self._read()
        assert self._log is not None
        return warm_up_state(self._log, 0.01 * self.share_percent.value, self.fwhm_mhz.value)

    def draw(self, state: WarmUpState | None) -> bytes | None:
        """Return the picture."""
        if state is None:
            return None
        law = state.log.law
        read = state.log.at_mean_temperature
        if law is None:
            return self._picture.drawn(read, None, None, None)
        times = np.linspace(*law.range_s, 120)
        centre, u = law.law_mhz(times)
        curve = (times, centre, law.fit.coverage_factor() * u)
        return self._picture.drawn(read, curve, float(law.final_mhz.n), state.wait_s)
