"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from aotf_lab.crystal.identity.checks import exchange_check
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.planning.doubts import doubts, drive_check, label_checks
from aotf_lab.planning.one_drive import one_drive
from aotf_lab.planning.one_drive_result import OneDrive
from aotf_lab.planning.park import Park, park_frequency
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.session.light import SessionLight

__all__ = ["Session", "open_session"]

_WHERE_MEASURED = {
    "waveforms": "trace",
    "level": "level",
    "match": "match",
    "safe_supply": "level",
    "warm_up": "warm_up",
    "stability": "warm_up",
    "pushing": "pushing",
}
"""Part of a session that nobody misses -> the purpose of the files that it is computed from."""

_LIGHT_MEASURED = {
    "hunt": "hunt",
    "spectrum": "spectrum",
    "leakage": "leakage",
    "crosstalk": "leakage",
    "angles": "spots",
    "polarisation": "polarisation",
    "beam_size": "beam_size",
}
"""The same for the parts that need the crystal's curves."""


@dataclass(frozen=True)
class Session(SessionLight):
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says. ``vco``, ``tuning`` and ``efficiency`` raise when they cannot be
    computed; ``curves`` leaves them out. ``scans`` holds those that could be fitted. ``troubles`` says
    what is missing, and why.
    """

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """The checks of the session as a whole: labels exchanged, or far from what was found; drive against rating."""
        efficiency, rated = self.part("efficiency"), self.facts.crystal.rated_rf_power_w
        drive = [] if efficiency is None or rated is None else [drive_check(efficiency.own, rated)]
        exchange = self.exchanged
        if exchange is None:
            return (*label_checks(self.facts.lines, self.found_nm), *drive)
        labels = label_checks(self.facts.lines, self.found_nm, exchange.peaks)
        return (*(c for c in [exchange_check(exchange)] if c is not None), *labels, *drive)

    @cached_property
    def curves(self) -> Curves:
        """All curves that could be computed; what is missing stands in ``troubles``."""
        vco, tuning, efficiency = self.part("vco"), self.part("tuning"), self.part("efficiency")
        return Curves(
            vco,
            tuning,
            efficiency,
            self.part("scans") or {},
            self.facts.crystal.rated_rf_power_w,
            doubts(
                self.facts.lines,
                self.found_nm,
                tuning,
                self._troubles.get("tuning"),
                self.checks,
                () if self.exchanged is None else self.exchanged.peaks,
            ),
            {part: str(error) for part, error in self._troubles.items()},
            level=self.part("level") if "level" in self.parts else None,
            safe=self.part("safe_supply") if "safe_supply" in self.parts else None,
            modulators=self.part("modulators") or {},
        )

    @cached_property
    def one_drive(self) -> OneDrive:
        """The one supply of the amplifier that serves the weakest line best."""
        return one_drive(self)

    @cached_property
    def park(self) -> Park:
        """Where to leave the oscillator when no line is wanted."""
        return park_frequency(
            self, self.passbands, harmonics=self.driver_harmonics, oscillator=self.facts.limits.oscillator,
            generator=self.facts.limits.generator,
        )  # fmt: skip

    @property
    def parts(self) -> tuple[str, ...]:
        """What is to be computed from this session, in the order in which one part needs the other."""
        measured = [p for p, purpose in _WHERE_MEASURED.items() if self.files(purpose)]
        if self.facts.crystal.rated_rf_power_w is None and "safe_supply" in measured:
            measured.remove("safe_supply")
        light = [p for p, purpose in _LIGHT_MEASURED.items() if self.files(purpose)]
        if len({f.line for f in self.files("scan")}) > 1:
            light.append("identity")
        if "safe_supply" in measured and self.files("efficiency") and self.files("oscillator"):
            light += ["one_drive", "park"]
        parts = ("all_readings", "vco", *measured, "scans", "tuning", "efficiency", "modulators", *light)
        return tuple(part for part in parts if part not in self.absent)

    @property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error."""
        for part in self.parts:
            self.attempt(part)
        told = {str(error) for part, error in self._troubles.items() if not part.startswith("file ")}
        return {p: e for p, e in self._troubles.items() if not p.startswith("file ") or str(e) not in told}

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)


def open_session(folder: str | os.PathLike[str]) -> Session:
    """Open the session in ``folder`` and return it; raw files are read when they are needed.

    Raises ``SessionError`` when session.toml is missing, contradictory or names files that are not
    there.
    """
    return Session(load_session_file(folder))
