"""Check the kept calibrations by a few readings typed in, see the verdict at once, and keep what it renews."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from aotf_lab.drawing.panel_opening import OpeningPicture
from aotf_lab.errors import AotfLabError, RecordError, Said
from aotf_lab.record import CrystalRecord, OscillatorRecord, RecordFolder, save_record
from aotf_lab.widgets.controls import button, choice, number, switch, text, tick
from aotf_lab.widgets.opening_state import OpeningState, opening_state, places_to_read
from aotf_lab.widgets.panel import Panel

__all__ = ["OpeningPanel"]

_HIGHEST_MHZ, _ROOM_C, _U_PEAK_KHZ = 500.0, 22.0, 3.0
_SAME, _OTHER = "the counter of the calibration", "another counter"


class OpeningPanel(Panel[OpeningState]):
    """Set the volts proposed, type what the counter shows: a value that is typed is taken in, and can be taken out.

    ``taken``, ``drive_v`` and ``frequency_mhz`` are the three rows; ``keep`` alone writes, what was renewed and only
    that.
    """

    heading = "Opening check"

    def __init__(
        self, oscillator: OscillatorRecord, crystal: CrystalRecord, *, folder: str | os.PathLike[str] = "",
        measured: str | None = None,
    ) -> None:  # fmt: skip
        """Check the two calibrations on ``measured`` (ISO date, by default today); ``keep`` writes into ``folder``."""
        self.oscillator, self.crystal = oscillator, crystal
        self.measured = text("Date of the check")
        self.measured.value = date.today().isoformat() if measured is None else measured
        self.counter = switch("Read with", [_SAME, _OTHER])
        places = places_to_read(oscillator, crystal)
        top = float(np.ceil(2 * oscillator.range_v[1]))
        self.taken = [tick(f"reading {k + 1} taken") for k in range(len(places))]
        self.drive_v = [number(f"Volts {k}", v, 0.0, top, 0.001, "V") for k, v in enumerate(places, start=1)]
        self.frequency_mhz = [
            number(f"Counter {k}", self._expected(v), 0.0, _HIGHEST_MHZ, 0.001, "MHz")
            for k, v in enumerate(places, start=1)
        ]
        lines = [n for n in crystal.lines if crystal.known("peak", n)]
        self.line = choice("Line scanned", lines or ["none"])
        self.peak_taken = tick("peak taken")
        self.peak_mhz = number("Its peak", self._kept_peak(), 0.0, _HIGHEST_MHZ, 0.001, "MHz")
        self.u_peak_khz = number("Its uncertainty", _U_PEAK_KHZ, 0.1, 1000.0, 0.1, "kHz")
        self.peak_taken.disabled = self.peak_mhz.disabled = self.line.disabled = not lines
        self.box_noted, self.crystal_noted = tick("box temperature noted"), tick("crystal temperature noted")
        then_c = (oscillator.conditions.get("temperature_c", _ROOM_C), crystal.conditions.get("crystal_c", _ROOM_C))
        self.box_c = number("Box", round(then_c[0], 1), -20.0, 90.0, 0.1, "C")
        self.crystal_c = number("Crystal", round(then_c[1], 1), -20.0, 90.0, 0.1, "C")
        self.folder = text("Folder of calibrations", "where to keep")
        self.folder.value = os.fspath(folder)
        self.keep = button("Keep what was renewed")
        rows = [list(row) for row in zip(self.drive_v, self.frequency_mhz, self.taken, strict=True)]
        super().__init__([
            [self.measured, self.counter], *rows, [self.line, self.peak_mhz, self.u_peak_khz, self.peak_taken],
            [self.box_c, self.box_noted, self.crystal_c, self.crystal_noted], [self.folder, self.keep],
        ])  # fmt: skip
        self._asked = (
            self.measured, self.counter, *self.taken, *self.drive_v, *self.frequency_mhz, self.line, self.peak_taken,
            self.peak_mhz, self.u_peak_khz, self.box_noted, self.box_c, self.crystal_noted, self.crystal_c, self.folder,
        )  # fmt: skip
        self._kept: tuple[tuple[object, ...], tuple[str, ...]] = (), ()
        self._picture = OpeningPicture(np.linspace(*oscillator.range_v, 120), lines)
        self._follow()
        self.refresh()

    @classmethod
    def of_folder(
        cls, folder: str | os.PathLike[str], *, name: str | None = None, measured: str | None = None
    ) -> OpeningPanel:
        """Return the panel for the newest calibrations in ``folder``, of ``name`` where several benches share it.

        Raises ``RecordError`` where there are none.
        """
        kept = RecordFolder(Path(folder))
        return cls(kept.latest_oscillator(name), kept.latest_crystal(name), folder=folder, measured=measured)

    def _follow(self) -> None:
        for k, (volts, mhz) in enumerate(zip(self.drive_v, self.frequency_mhz, strict=True)):
            self.watch(volts, first=lambda k=k: self._expect(k))  # type: ignore[misc]
            self.watch(mhz, first=lambda k=k: self._press(self.taken[k]))  # type: ignore[misc]
        self.watch(self.line, first=self._other_line)
        self.watch(self.peak_mhz, first=lambda: self._press(self.peak_taken))
        self.watch(self.box_c, first=lambda: self._press(self.box_noted))
        self.watch(self.crystal_c, first=lambda: self._press(self.crystal_noted))
        self.watch(self.measured, self.counter, self.u_peak_khz, *self.taken)
        self.watch(self.peak_taken, self.box_noted, self.crystal_noted)
        self.on_press(self.keep, self._keep)

    def _press(self, taken: object) -> None:
        taken.value = True  # type: ignore[attr-defined]

    def _expect(self, k: int) -> None:
        """Show what the kept curve makes of the volts, until a reading is taken."""
        if not self.taken[k].value:
            self.frequency_mhz[k].value = self._expected(self.drive_v[k].value)

    def _expected(self, drive_v: float) -> float:
        return round(float(self.oscillator.frequency(drive_v).n), 4)

    def _other_line(self) -> None:
        self.peak_taken.value = False
        self.peak_mhz.value = self._kept_peak()

    def _kept_peak(self) -> float:
        return round(float(self.crystal.peak(self.line.value).n), 4) if self.line.value in self.crystal.lines else 0.0

    def state(self) -> OpeningState:
        """Return what today's readings say, and what was kept of exactly that."""
        rows = zip(self.taken, self.drive_v, self.frequency_mhz, strict=True)
        peak = (self.peak_mhz.value, 1e-3 * self.u_peak_khz.value)
        found = opening_state(
            self.oscillator, self.crystal, measured=self.measured.value.strip(),
            read=[(v.value, f.value) for t, v, f in rows if t.value],
            line_peak={self.line.value: peak} if self.peak_taken.value else {},
            box_c=self.box_c.value if self.box_noted.value else None,
            crystal_c=self.crystal_c.value if self.crystal_noted.value else None,
            same_counter=self.counter.value == _SAME,
        )  # fmt: skip
        asked, names = self._kept
        return replace(found, kept=names if asked == self._said() else ())

    def _said(self) -> tuple[object, ...]:
        return tuple(control.value for control in self._asked)

    def _keep(self) -> None:
        found = self.state()
        if not found.renewed:
            raise AotfLabError(
                "nothing to keep", found=Said(found.title), allowed="a link that holds or was corrected",
                cure="take a reading, or measure the link again",
            )  # fmt: skip
        if not self.folder.value.strip():
            raise AotfLabError("no folder to keep in", found=Said("none"), allowed="a folder", cure="type its path")
        home = Path(self.folder.value.strip())
        try:
            names = tuple(save_record(record, home).name for record in found.renewed)
        except OSError as error:
            raise RecordError(
                "the calibrations cannot be written", where=home.name, found=Said(error.strerror or str(error)),
                allowed="a folder that may be written to", cure="name another folder",
            ) from error  # fmt: skip
        self._kept = self._said(), names

    def draw(self, state: OpeningState | None) -> bytes:
        """Return the picture."""
        if state is None:
            return self._picture.png(still_only=True)
        own, peaks = state.gaps_khz
        band = 1e3 * state.oscillator.coverage_factor * state.u_reading_mhz
        drives = np.array([v.value for t, v in zip(self.taken, self.drive_v, strict=True) if t.value])
        renewed = None
        if state.opening is not None and state.opening.oscillator is not state.oscillator:
            now = state.opening.oscillator
            curve = now.weights(state.drive_v)
            half = now.coverage_factor * np.sqrt(np.einsum("ij,jk,ik->i", curve, now.numbers.covariance(), curve))
            moved = curve @ (now.numbers.values - state.oscillator.numbers.values)
            renewed = (1e3 * moved, 1e3 * half)
        return self._picture.drawn(band, (drives, np.array(own)), renewed, state.peak_band_khz, peaks)
